"""A score laid out in samples: events for a performance, and the log of what became of them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.offline.logged_balance import LoggedBalance
from meantide.offline.logged_story import Played, told_in_full
from meantide.offline.logged_voice import Spectra, logged_voice
from meantide.offline.score import Change, Score, ScoreNote, ScorePart
from meantide.offline.score_events import (
    Order,
    Placed,
    note_events,
    part_events,
    part_tunings,
    tuning_steps,
)
from meantide.offline.stories import stories_of
from meantide.offline.takelog import LoggedTuning
from meantide.offline.takelog_note import LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import LoggedVoice
from meantide.perform.event import Event, Kind, Outcome, OutcomeKind, PitchKind
from meantide.perform.performance import Performance
from meantide.perform.sounding_pitch import bent, can_sound, pitch_hz
from meantide.pitch import Tuning
from meantide.voice.voices import Voice


@dataclass(frozen=True, slots=True)
class PlannedNote:
    """A note of the score with its id, its part, and the voice it begins with."""

    id: int
    part: ScorePart
    note: ScoreNote
    voice: Voice


@dataclass(frozen=True, slots=True)
class Timeline:
    """Events in order, the values they name, and the notes they play, at one sample rate."""

    rate: int
    events: tuple[Event, ...]
    values: dict[int, Tuning | Voice]
    notes: tuple[PlannedNote, ...]
    score: Score

    def hand_over_to(self, performance: Performance) -> None:
        """Make the values ready on a performance."""
        for number, value in self.values.items():
            performance.hand_over(number, value)


def lay_out(score: Score, rate: int) -> Timeline:
    """Lay `score` out at `rate` samples a second; InvalidValue for a note that cannot sound.

    Notes on keys that play nothing in the layout are left out; the timeline's score is without
    them, and one notice of it says so.
    """
    score = _without_silent_keys(score)
    values: dict[int, Tuning | Voice] = {}

    def numbered(value: Tuning | Voice) -> int:
        values[len(values) + 1] = value
        return len(values)

    changes = (Change(Fraction(0), score.tuning), *score.changes)
    placed = [
        Placed(
            Event(
                Kind.TUNING,
                round(change.at_s * rate),
                samples=round(change.glide_s * rate),
                value=numbered(change.tuning),
                held=change.held,
            ),
            Order.MAKING,
        )
        for change in changes
    ]
    notes: list[PlannedNote] = []
    for number, part in enumerate(score.parts):
        placed.extend(part_events(number, part, changes, rate, numbered))
        for note in part.notes:
            _check_sounds(note, part, score, rate)
            notes.append(PlannedNote(len(notes) + 1, part, note, _voice_at(part, note, rate)))
            placed.extend(note_events(note, notes[-1].id, number, rate))
    placed.sort(key=lambda each: each.key)
    return Timeline(rate, tuple(each.event for each in placed), values, tuple(notes), score)


def _voice_at(part: ScorePart, note: ScoreNote, rate: int) -> Voice:
    """Return the voice that a part has where a note begins, by the sample."""
    voice = part.voice
    for setting in part.settings:
        if round(setting.at_s * rate) > round(note.start_s * rate):
            break
        voice = setting.voice
    return voice


def _without_silent_keys(score: Score) -> Score:
    """Return `score` without the notes on keys that play nothing when they begin."""
    silent: list[int] = []
    layouts: dict[str, None] = {}

    def plays(note: ScoreNote, part: ScorePart) -> bool:
        if note.pitch.kind != PitchKind.KEY:
            return True
        key, tuning = int(note.pitch.value), _tuning_of(part, score, note.start_s)
        if tuning.degree_of_key(key) is not None:
            return True
        silent.append(key)
        layouts[tuning.layout.label] = None
        return False

    parts = tuple(
        replace(part, notes=tuple(note for note in part.notes if plays(note, part)))
        for part in score.parts
    )
    if not silent:
        return score
    keys = ", ".join(map(str, sorted(set(silent))))
    where = " and ".join(layouts)
    if not any(part.notes for part in parts):
        raise InvalidValue("notes", f"keys {keys}", f"keys that play something in {where}")
    notes = "1 note" if len(silent) == 1 else f"{len(silent)} notes"
    notice = f"{notes} left out: in {where} nothing is on the keys {keys}"
    return replace(score, parts=parts, notices=(*score.notices, notice))


def _check_sounds(note: ScoreNote, part: ScorePart, score: Score, rate: int) -> None:
    tuning = _tuning_of(part, score, note.start_s)
    if pitch_hz(tuning, note.pitch, rate) is None:
        asked = " ".join(f"{kind} {value}" for kind, value in note.asked.items())
        raise InvalidValue(
            note.field,
            asked,
            f"a pitch that {tuning.scale.label} has, between 0.01 Hz and half the sample rate",
            note.where,
        )
    for touch in note.touches:
        tuning = _tuning_of(part, score, touch.at_s)
        hz = pitch_hz(tuning, note.pitch, rate)
        if (
            touch.kind == Kind.BEND
            and hz is not None
            and not can_sound(bent(hz, touch.amount), rate)
        ):
            allowed = "cents that leave the note between 0.01 Hz and half the sample rate"
            raise InvalidValue(touch.field, touch.amount, allowed, touch.where)


def tuning_at(first: Tuning, changes: tuple[Change, ...], at_s: Fraction) -> Tuning:
    """Return the tuning in force at `at_s`."""
    tuning = first
    for change in changes:
        if change.at_s > at_s:
            break
        tuning = change.tuning
    return tuning


def _tuning_of(part: ScorePart, score: Score, at_s: Fraction) -> Tuning:
    """Return the tuning of a part at `at_s`."""
    return part.tuned(tuning_at(score.tuning, score.changes, at_s))


# -- the log --------------------------------------------------------------------------------


def logged_tunings(score: Score, rate: int) -> tuple[LoggedTuning, ...]:
    """Return the tunings of a take, each from its sample on."""
    return tuple(
        LoggedTuning(
            round(change.at_s * rate),
            change.tuning.scale.to_mapping(),
            change.tuning.anchor.to_mapping(),
            change.tuning.layout.to_mapping(),
            round(change.glide_s * rate),
            change.held.name.lower(),
        )
        for change in (Change(Fraction(0), score.tuning), *score.changes)
    )


def voice_labels(voices: Iterable[Voice]) -> dict[Voice, str]:
    """Return a name for each of `voices`: its own, and a number where another has that too."""
    labels: dict[Voice, str] = {}
    for voice in voices:
        if voice in labels:
            continue
        label, number = voice.name, 1
        while label in labels.values():
            number += 1
            label = f"{voice.name} ({number})"
        labels[voice] = label
    return labels


def logged_voices(score: Score) -> dict[str, LoggedVoice]:
    """Return what the log says of each voice of a score."""
    labels = voice_labels(_voices_of(score))
    return {label: logged_voice(voice) for voice, label in labels.items()}


def _voices_of(score: Score) -> Iterable[Voice]:
    for part in score.parts:
        yield part.voice
        yield from (setting.voice for setting in part.settings)


def logged_notes(
    timeline: Timeline,
    outcomes: Iterable[Outcome],
    level_db: float,
    frames: int,
    spectra: Spectra,
) -> tuple[LoggedNote, ...]:
    """Return what became of each note of a take of `frames` samples, by what was reported.

    `spectra` receives the partials that notes have in place of their voice's.
    """
    score, rate = timeline.score, timeline.rate
    stories = {story.id: story for story in stories_of(outcomes)}
    labels = voice_labels(_voices_of(score))
    asked = {each.id: (each.note.pitch, each.note.asked) for each in timeline.notes}
    changes = (Change(Fraction(0), score.tuning), *score.changes)
    steps = {
        part.name: part_tunings(part, changes, rate) or tuning_steps(changes, rate)
        for part in score.parts
    }
    balances = {
        part.name: LoggedBalance(event for event in timeline.events if event.part == number)
        for number, part in enumerate(score.parts)
    }
    notes = []
    for planned in timeline.notes:
        story = stories.get(planned.id)
        if story is None:  # the note before it went on for its key
            continue
        voice, part = planned.voice, planned.part.name
        history = history_of(story.told, math.ceil(voice.gone_s * rate), frames)
        turned_to = [asked[each.note] for each in story.turns]
        played = Played(story, voice, planned.note.pitch, turned_to, steps[part], balances[part])
        note = _logged_note(planned, labels[voice], history, level_db)
        notes.append(told_in_full(note, played, rate, spectra))
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class NoteHistory:
    """When a note began, was let go and fell silent (samples), and its frequencies."""

    start: int
    release: int
    end: int
    pitches: tuple[LoggedPitch, ...]


def history_of(told: list[Outcome], gone_samples: int, frames: int) -> NoteHistory:
    """Return a note's history from what was reported of it, beginning with BEGAN.

    `gone_samples` after its release it is silent; nothing lasts beyond `frames`.
    """
    pitches: list[LoggedPitch] = []
    release = end = frames
    for outcome in told:
        if outcome.kind in (OutcomeKind.BEGAN, OutcomeKind.MOVED):
            while pitches and pitches[-1].sample > outcome.sample:  # told ahead, and then not so
                pitches.pop()
            pitches.append(LoggedPitch(outcome.sample, outcome.samples, outcome.hz))
        elif outcome.kind == OutcomeKind.RELEASED:
            release = min(release, outcome.sample)
            end = min(end, outcome.sample + gone_samples)
        elif outcome.kind in (OutcomeKind.ENDED, OutcomeKind.TAKEN, OutcomeKind.THINNED):
            end = min(end, outcome.sample)
    return NoteHistory(
        told[0].sample,
        min(release, end),
        end,
        tuple(pitch for pitch in pitches if pitch.sample < end or pitch.sample == told[0].sample),
    )


def _logged_note(
    planned: PlannedNote, voice: str, history: NoteHistory, level_db: float
) -> LoggedNote:
    note = planned.note
    gain_db = 20.0 * math.log10(planned.voice.note_gain(note.velocity, history.pitches[0].hz))
    return LoggedNote(
        planned.id,
        planned.part.name,
        voice,
        dict(note.asked),
        note.velocity,
        level_db + gain_db,
        history.start,
        history.release,
        history.end,
        history.pitches,
    )
