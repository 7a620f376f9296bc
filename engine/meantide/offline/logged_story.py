"""All that the log says of a note that was played, from what is known of it and was reported."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from meantide.offline.logged_balance import LoggedBalance, standing_note
from meantide.offline.logged_voice import Moved, Spectra, follows_scale, with_movement
from meantide.offline.stories import Story, TuningStep, Turn, regrids_of
from meantide.offline.takelog_note import LoggedNote, LoggedTurn
from meantide.perform.event import OutcomeKind, Pitch
from meantide.perform.sounding_pitch import pitch_hz
from meantide.voice.voices import Voice

Asked = tuple[Pitch, Mapping[str, object]]
"""A pitch as an event carries it, and as the mapping that names it in the log."""


@dataclass(frozen=True, slots=True)
class Played:
    """A note that was played: its story, voice and pitch, those it went on for, and its part.

    `steps` are the tunings of its part, the first not after its start.
    """

    story: Story
    voice: Voice
    pitch: Pitch
    turned_to: Sequence[Asked]
    steps: Sequence[TuningStep]
    balance: LoggedBalance


def told_in_full(note: LoggedNote, played: Played, rate: int, spectra: Spectra) -> LoggedNote:
    """Return `note`, whose level is yet without its part's and touch's, with all that is known."""
    story, voice = played.story, played.voice
    span = range(note.start, note.end)
    tuning = [step.tuning for step in played.steps if step.sample <= note.start][-1]
    hz = pitch_hz(tuning, played.pitch, rate) or note.pitches[0].hz
    note = standing_note(note, played.balance.over(span, hz))
    turns = [
        Turn(told.sample, pitch, told.hz, told.samples)
        for told, (pitch, _) in zip(story.turns, played.turned_to, strict=True)
    ]
    legato = [
        LoggedTurn(told.sample, mapping)
        for told, (_, mapping) in zip(story.turns, played.turned_to, strict=True)
    ]
    note = replace(note, legato=tuple(legato))
    moved = Moved(
        voice,
        story.seed,
        story.first(OutcomeKind.TOUCHED),
        story.first(OutcomeKind.REVOICED),
    )
    note = with_movement(note, moved)
    if not follows_scale(voice):
        return note
    regrids = regrids_of(played.steps, turns, played.pitch, span, rate)
    return spectra.drawn(note, voice, regrids)
