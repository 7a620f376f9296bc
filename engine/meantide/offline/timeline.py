"""A score laid out in samples: events for a performance, and the log of what became of them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.offline.logged_voice import (
    Moved,
    Regrid,
    Spectra,
    follows_scale,
    logged_voice,
    with_movement,
)
from meantide.offline.score import Change, Score, ScoreNote, ScorePart
from meantide.offline.score_events import Order, Placed, note_events, part_events
from meantide.offline.takelog import LoggedTuning
from meantide.offline.takelog_note import LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import LoggedVoice
from meantide.perform.event import Event, Held, Kind, Outcome, OutcomeKind, PitchKind
from meantide.perform.performance import Performance
from meantide.perform.sounding_pitch import bent, can_sound, pitch_hz
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
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
        placed.extend(part_events(number, part, rate, numbered))
        for note in part.notes:
            _check_sounds(note, score, rate)
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
    for touch in note.touches:
        tuning = tuning_at(score.tuning, score.changes, touch.at_s)
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
    told: dict[int, list[Outcome]] = {}
    for outcome in outcomes:
        told.setdefault(outcome.note, []).append(outcome)
    seeds = seeds_of(outcomes)
    labels = voice_labels(_voices_of(timeline.score))
    notes = []
    for planned in timeline.notes:
        voice = planned.voice
        gone_samples = math.ceil(voice.gone_s * timeline.rate)
        history = history_of(told[planned.id], gone_samples, frames)
        note = _logged_note(planned, labels[voice], history, level_db)
        seed = seeds[planned.id, note.start]
        note = with_movement(note, Moved(voice, seed, history.touched, history.revoiced))
        notes.append(spectra.drawn(note, voice, _regrids(timeline, planned, note)))
    return tuple(notes)


def seeds_of(outcomes: Iterable[Outcome]) -> dict[tuple[int, int], int]:
    """Return the seed of each note by its id and first sample: notes are counted as they begin."""
    begun = [outcome for outcome in outcomes if outcome.kind == OutcomeKind.BEGAN]
    return {(outcome.note, outcome.sample): seed for seed, outcome in enumerate(begun)}


def _regrids(timeline: Timeline, planned: PlannedNote, note: LoggedNote) -> list[Regrid]:
    """Return where a note's partials are drawn to: at first, and as the tuning changes."""
    score, rate, pitch = timeline.score, timeline.rate, planned.note.pitch
    if not follows_scale(planned.voice):
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
    """When a note began, was let go and fell silent (samples), and its frequencies.

    `touched` is where pressure or timbre first acted on it, `revoiced` where its voice took on
    other numbers; None where they never did.
    """

    start: int
    release: int
    end: int
    pitches: tuple[LoggedPitch, ...]
    touched: int | None = None
    revoiced: int | None = None


def history_of(told: list[Outcome], gone_samples: int, frames: int) -> NoteHistory:
    """Return a note's history from what was reported of it, beginning with BEGAN.

    `gone_samples` after its release it is silent; nothing lasts beyond `frames`.
    """
    pitches: list[LoggedPitch] = []
    first: dict[OutcomeKind, int] = {}
    release = end = frames
    for outcome in told:
        first.setdefault(outcome.kind, outcome.sample)
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
        first.get(OutcomeKind.TOUCHED),
        first.get(OutcomeKind.REVOICED),
    )


def _logged_note(
    planned: PlannedNote, voice: str, history: NoteHistory, level_db: float
) -> LoggedNote:
    part, note = planned.part, planned.note
    gain = planned.voice.velocity_gain(note.velocity)
    side = math.cos((1.0 - abs(part.pan)) * math.pi / 4.0)  # the louder channel's share
    return LoggedNote(
        planned.id,
        part.name,
        voice,
        dict(note.asked),
        note.velocity,
        level_db + part.level_db + 20.0 * math.log10(gain * side),
        history.start,
        history.release,
        history.end,
        history.pitches,
    )
