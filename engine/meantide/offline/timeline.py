"""A score laid out in samples: events for a performance, and the log of what became of them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.offline.logged_voice import Moved, Regrid, Spectra, logged_voice, with_movement
from meantide.offline.score import Change, Score, ScoreNote, ScorePart
from meantide.offline.takelog import LoggedTuning
from meantide.offline.takelog_note import LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import LoggedVoice
from meantide.perform.event import Event, Held, Kind, Outcome, OutcomeKind, PitchKind
from meantide.perform.performance import Performance, pitch_hz
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice

_ORDER = {Kind.TUNING: 0, Kind.VOICE: 0, Kind.PAN: 0, Kind.PART_LEVEL: 0, Kind.NOTE_OFF: 1}
"""At one sample: what notes are made of, then the ends of notes, then new ones."""


@dataclass(frozen=True, slots=True)
class PlannedNote:
    """A note of the score with its id and part."""

    id: int
    part: ScorePart
    note: ScoreNote


@dataclass(frozen=True, slots=True)
class Timeline:
    """Events in order, the values they name, and the notes they play, at one sample rate."""

    rate: int
    events: tuple[Event, ...]
    values: dict[int, Tuning | AdditiveVoice]
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
    values: dict[int, Tuning | AdditiveVoice] = {}

    def numbered(value: Tuning | AdditiveVoice) -> int:
        values[len(values) + 1] = value
        return len(values)

    events = [Event(Kind.TUNING, 0, value=numbered(score.tuning))]
    events.extend(
        Event(
            Kind.TUNING,
            round(change.at_s * rate),
            samples=round(change.glide_s * rate),
            value=numbered(change.tuning),
            held=change.held,
        )
        for change in score.changes
    )
    notes: list[PlannedNote] = []
    for number, part in enumerate(score.parts):
        events.append(Event(Kind.VOICE, 0, number, value=numbered(part.voice)))
        events.append(Event(Kind.PAN, 0, number, amount=part.pan))
        events.append(Event(Kind.PART_LEVEL, 0, number, amount=part.level_db))
        for note in part.notes:
            notes.append(PlannedNote(len(notes) + 1, part, note))
            events.extend(_note_events(notes[-1], number, rate))
            _check_sounds(note, score, rate)
    events.sort(key=lambda event: (event.sample, _ORDER.get(event.kind, 2)))
    return Timeline(rate, tuple(events), values, tuple(notes), score)


def _without_silent_keys(score: Score) -> Score:
    """Return `score` without the notes on keys that play nothing when they begin."""
    silent: list[int] = []
    layouts: dict[str, None] = {}

    def plays(note: ScoreNote) -> bool:
        if note.pitch.kind != PitchKind.KEY:
            return True
        key, tuning = int(note.pitch.value), tuning_at(score.tuning, score.changes, note.start_s)
        if tuning.degree_of_key(key) is not None:
            return True
        silent.append(key)
        layouts[tuning.layout.label] = None
        return False

    parts = tuple(
        replace(part, notes=tuple(note for note in part.notes if plays(note)))
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


def _note_events(planned: PlannedNote, part: int, rate: int) -> Iterable[Event]:
    note = planned.note
    start = round(note.start_s * rate)
    end = max(round((note.start_s + note.length_s) * rate), start + 1)
    yield Event(Kind.NOTE_ON, start, part, planned.id, note.pitch, note.velocity)
    yield Event(Kind.NOTE_OFF, end, part, planned.id)


def _check_sounds(note: ScoreNote, score: Score, rate: int) -> None:
    tuning = tuning_at(score.tuning, score.changes, note.start_s)
    if pitch_hz(tuning, note.pitch, rate) is None:
        asked = " ".join(f"{kind} {value}" for kind, value in note.asked.items())
        raise InvalidValue(
            note.field,
            asked,
            f"a pitch that {tuning.scale.label} has, between 0.01 Hz and half the sample rate",
            note.where,
        )


def tuning_at(first: Tuning, changes: tuple[Change, ...], at_s: Fraction) -> Tuning:
    """Return the tuning in force at `at_s`."""
    tuning = first
    for change in changes:
        if change.at_s > at_s:
            break
        tuning = change.tuning
    return tuning


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


def logged_voices(score: Score) -> dict[str, LoggedVoice]:
    """Return what the log says of each voice of a score."""
    return {part.voice.name: logged_voice(part.voice) for part in score.parts}


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
    told: dict[int, list[Outcome]] = {}
    for outcome in outcomes:
        told.setdefault(outcome.note, []).append(outcome)
    seeds = seeds_of(outcomes)
    notes = []
    for planned in timeline.notes:
        voice = planned.part.voice
        gone_samples = math.ceil(voice.envelope.gone_s * timeline.rate)
        history = history_of(told[planned.id], gone_samples, frames)
        note = _logged_note(planned, history, level_db)
        note = with_movement(note, Moved(voice, seeds[planned.id, note.start]))
        notes.append(spectra.drawn(note, voice, _regrids(timeline, planned, note)))
    return tuple(notes)


def seeds_of(outcomes: Iterable[Outcome]) -> dict[tuple[int, int], int]:
    """Return the seed of each note by its id and first sample: notes are counted as they begin."""
    begun = [outcome for outcome in outcomes if outcome.kind == OutcomeKind.BEGAN]
    return {(outcome.note, outcome.sample): seed for seed, outcome in enumerate(begun)}


def _regrids(timeline: Timeline, planned: PlannedNote, note: LoggedNote) -> list[Regrid]:
    """Return where a note's partials are drawn to: at first, and as the tuning changes."""
    score, rate, pitch = timeline.score, timeline.rate, planned.note.pitch
    if not planned.part.voice.drawn:
        return []
    found = []
    first = tuning_at(score.tuning, score.changes, planned.note.start_s)
    steps = [(note.start, 0, first)]
    for change in score.changes:
        sample = round(change.at_s * rate)
        if note.start < sample < note.end and change.held == Held.FOLLOW:
            steps.append((sample, round(change.glide_s * rate), change.tuning))
    for sample, glide_samples, tuning in steps:
        hz = pitch_hz(tuning, pitch, rate)
        if hz is not None:
            found.append(Regrid(sample, glide_samples, hz, DegreeGrid.of(tuning)))
    return found


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
            pitches.append(LoggedPitch(outcome.sample, outcome.samples, outcome.hz))
        elif outcome.kind == OutcomeKind.RELEASED:
            release = min(release, outcome.sample)
            end = min(end, outcome.sample + gone_samples)
        else:
            end = min(end, outcome.sample)
    return NoteHistory(told[0].sample, min(release, end), end, tuple(pitches))


def _logged_note(planned: PlannedNote, history: NoteHistory, level_db: float) -> LoggedNote:
    part, note = planned.part, planned.note
    gain = part.voice.velocity_gain(note.velocity)
    side = math.cos((1.0 - abs(part.pan)) * math.pi / 4.0)  # the louder channel's share
    return LoggedNote(
        planned.id,
        part.name,
        part.voice.name,
        dict(note.asked),
        note.velocity,
        level_db + part.level_db + 20.0 * math.log10(gain * side),
        history.start,
        history.release,
        history.end,
        history.pitches,
    )
