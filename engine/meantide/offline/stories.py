"""What became of each note of a performance, put together from what was reported."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from meantide.offline.logged_voice import Regrid
from meantide.perform.event import Held, Outcome, OutcomeKind, Pitch
from meantide.perform.sounding_pitch import followed_pitch, pitch_hz
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid


@dataclass(slots=True)
class Story:
    """One note from its beginning, by the id it began with.

    `seed` is that of its strike; `told` all that was reported of it, BEGAN first; `turns` where it
    went on for another key (PASSED).
    """

    id: int
    start: int
    seed: int
    told: list[Outcome] = field(default_factory=list)

    @property
    def turns(self) -> list[Outcome]:
        """Where it went on for another key."""
        return [each for each in self.told if each.kind == OutcomeKind.PASSED]

    def first(self, kind: OutcomeKind) -> int | None:
        """Return the sample where something was first told of it, or None."""
        return next((each.sample for each in self.told if each.kind == kind), None)


def stories_of(outcomes: Iterable[Outcome]) -> list[Story]:
    """Return the stories of all notes that began, in the order in which they did.

    Players use ids again, and a note may come to have another: each outcome belongs to the note
    that has its id then. Notes are counted as they begin: that is their seed.
    """
    stories: list[Story] = []
    sounding: dict[int, Story] = {}
    for outcome in outcomes:
        if outcome.kind == OutcomeKind.BEGAN:
            sounding[outcome.note] = Story(outcome.note, outcome.sample, len(stories))
            stories.append(sounding[outcome.note])
        elif outcome.kind == OutcomeKind.PASSED and outcome.former in sounding:
            sounding[outcome.note] = sounding.pop(outcome.former)
        elif outcome.kind == OutcomeKind.REFUSED:
            continue
        if outcome.note in sounding:
            sounding[outcome.note].told.append(outcome)
    return stories


@dataclass(frozen=True, slots=True)
class TuningStep:
    """From `sample` on a part is tuned so; its held notes follow, or stay."""

    sample: int
    tuning: Tuning
    glide_samples: int
    held: Held


@dataclass(frozen=True, slots=True)
class Turn:
    """From `sample` on a note goes on for another key, to `hz` without its bend."""

    sample: int
    pitch: Pitch
    hz: float
    glide_samples: int


def regrids_of(
    steps: Sequence[TuningStep], turns: Sequence[Turn], pitch: Pitch, span: range, rate: int
) -> list[Regrid]:
    """Return where the partials of a note that sounds for `span` are drawn to, first at its start.

    `steps`, in order of time, begin at or before its start.
    """
    first = [step for step in steps if step.sample <= span.start][-1]
    later: list[TuningStep | Turn] = [
        *(step for step in steps if span.start < step.sample < span.stop),
        *(turn for turn in turns if span.start <= turn.sample < span.stop),
    ]
    tuning, asked = first.tuning, pitch
    places = [(span.start, 0, pitch_hz(tuning, pitch, rate), tuning)]
    for each in sorted(later, key=lambda each: each.sample):
        if isinstance(each, Turn):
            pitch = asked = each.pitch
            places.append((each.sample, each.glide_samples, each.hz, tuning))
            continue
        pitch = followed_pitch(asked, pitch, each.held, tuning, each.tuning)
        if each.held == Held.FOLLOW:
            hz = pitch_hz(each.tuning, pitch, rate)
            places.append((each.sample, each.glide_samples, hz, each.tuning))
        tuning = each.tuning
    return [
        Regrid(sample, glide, hz, DegreeGrid.of(tuned))
        for sample, glide, hz, tuned in places
        if hz is not None
    ]
