"""What differs between two takes of one piece, by their logs: notes that move, intervals that do.

Another anchor moves every note by the same cents and no interval; another scale moves intervals.
Notes are paired by part, start and place in the log; intervals are those of two notes that sound
together for a while. Frequencies are those that notes begin with.
"""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_note import LoggedNote
from meantide.voice.beats import HIGHEST_HZ, WIDEST_HZ
from meantide.voice.roughness import roughness

SAME_CENTS = 1e-6
"""What is less comes of Hz in floats."""
LEAST_TOGETHER_S = 0.1
MOST_PARTIALS = 24
"""Of a note, the strongest, that beats and roughness are reckoned from."""

Key = tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class NoteMove:
    """A note in both takes: what was asked for, its start in s, Hz, and cents it moves."""

    part: str
    pitch: str
    start_s: float
    hz: float
    other_hz: float
    cents: float


@dataclass(frozen=True, slots=True)
class Dyad:
    """Two notes together: cents between them, the beats of the strongest near partials, roughness.

    `beats_hz` is None where no two partials come within 20 Hz. Roughness has no unit; the strongest
    partial of the two notes has the amplitude 1.
    """

    cents: float
    beats_hz: float | None
    roughness: float


@dataclass(frozen=True, slots=True)
class IntervalMove:
    """An interval of the piece in both takes, `seconds` long in all, and by how much it widens."""

    lower: str
    upper: str
    seconds: float
    first: Dyad
    other: Dyad

    @property
    def change_cents(self) -> float:
        """How much wider it is in the other take."""
        return self.other.cents - self.first.cents


@dataclass(frozen=True, slots=True)
class TakeMoves:
    """Everything that moves from one take to the other; intervals by how far, the most first.

    `unpaired` counts notes that only one of the takes has.
    """

    notes: tuple[NoteMove, ...]
    intervals: tuple[IntervalMove, ...]
    unpaired: int

    @property
    def common_cents(self) -> float | None:
        """By how much all notes move, if alike; None if they do not."""
        cents = [note.cents for note in self.notes]
        if not cents or max(cents) - min(cents) > SAME_CENTS:
            return None
        return sum(cents) / len(cents)

    @property
    def moved(self) -> tuple[IntervalMove, ...]:
        """The intervals that are not the same in both."""
        return tuple(each for each in self.intervals if abs(each.change_cents) > SAME_CENTS)


def moves_between(first: TakeLog, other: TakeLog) -> TakeMoves:
    """Return what differs between two takes of one piece."""
    notes, others = dict(_keyed(first)), dict(_keyed(other))
    both = [key for key in notes if key in others]
    moves = [_note_move(notes[key], others[key], first.rate) for key in both]
    unpaired = len(notes) + len(others) - 2 * len(both)
    return TakeMoves(tuple(moves), _intervals(first, other, notes, others), unpaired)


def pitch_text(note: LoggedNote) -> str:
    """Return a pitch as it was asked for."""
    if set(note.pitch) == {"note"}:
        return str(note.pitch["note"])
    return " ".join(f"{kind} {value}" for kind, value in note.pitch.items())


def _keyed(log: TakeLog) -> Iterator[tuple[Key, LoggedNote]]:
    """Give each note with what it is called in every take: part, start, and its place there."""
    seen: Counter[tuple[str, int]] = Counter()
    for note in sorted(log.notes, key=lambda note: (note.start, note.id)):
        place = note.part, note.start
        yield (*place, seen[place]), note
        seen[place] += 1


def _note_move(note: LoggedNote, other: LoggedNote, rate: int) -> NoteMove:
    hz, other_hz = note.pitches[0].hz, other.pitches[0].hz
    cents = 1200.0 * math.log2(other_hz / hz)
    return NoteMove(note.part, pitch_text(note), note.start / rate, hz, other_hz, cents)


def _intervals(
    first: TakeLog, other: TakeLog, notes: dict[Key, LoggedNote], others: dict[Key, LoggedNote]
) -> tuple[IntervalMove, ...]:
    """Return each interval once: equal pairs of pitches and parts are one, their times summed."""
    found: dict[tuple[object, ...], tuple[float, Key, Key]] = {}
    keys = [key for key in notes if key in others]
    for one, two in combinations(keys, 2):
        low, high = sorted((one, two), key=lambda key: notes[key].pitches[0].hz)
        lower, upper = notes[low], notes[high]
        seconds = (min(lower.release, upper.release) - max(lower.start, upper.start)) / first.rate
        if seconds < LEAST_TOGETHER_S:
            continue
        sounding = (lower, upper, others[low], others[high])
        hz = [note.pitches[0].hz for note in sounding]
        same = (lower.part, upper.part, *(round(each, 6) for each in hz))
        before = found.get(same, (0.0, low, high))
        found[same] = (before[0] + seconds, *before[1:])
    intervals = [
        IntervalMove(
            f"{notes[low].part} {pitch_text(notes[low])}",
            f"{notes[high].part} {pitch_text(notes[high])}",
            seconds,
            dyad(first, notes[low], notes[high]),
            dyad(other, others[low], others[high]),
        )
        for seconds, low, high in found.values()
    ]
    return tuple(sorted(intervals, key=lambda each: (-abs(each.change_cents), -each.seconds)))


def dyad(log: TakeLog, lower: LoggedNote, upper: LoggedNote) -> Dyad:
    """Return what two notes of a take make together, each with the partials of its voice."""
    low_hz, low = _partials(log, lower)
    high_hz, high = _partials(log, upper)
    apart = np.abs(low_hz[:, None] - high_hz[None, :])
    weaker = np.where(apart <= WIDEST_HZ, np.minimum.outer(low, high), 0.0)
    beats_hz = None
    if weaker.size and weaker.max() > 0.0:
        beats_hz = float(apart.flat[int(np.argmax(weaker))])
    amplitudes = np.concatenate([low, high])
    strongest = amplitudes.max(initial=0.0) or 1.0
    rough = roughness(np.concatenate([low_hz, high_hz]), amplitudes / strongest)
    cents = 1200.0 * math.log2(upper.pitches[0].hz / lower.pitches[0].hz)
    return Dyad(cents, beats_hz, rough)


def _partials(log: TakeLog, note: LoggedNote) -> tuple[np.ndarray, np.ndarray]:
    """Return the Hz and amplitudes of a note's strongest partials, those that can be heard."""
    spectrum = note.pitches[0].spectrum
    partials = log.voices[note.voice].partials if spectrum is None else log.spectra[spectrum]
    hz = np.array([note.pitches[0].hz * each.ratio + each.offset_hz for each in partials])
    level_db = np.array([note.level_db + each.level_db for each in partials])
    heard = np.flatnonzero((hz > 0.0) & (hz <= min(HIGHEST_HZ, log.rate / 2.0)))
    strongest = heard[np.argsort(-level_db[heard], kind="stable")[:MOST_PARTIALS]]
    amplitudes = 10.0 ** (level_db[strongest] / 20.0)
    return hz[strongest], amplitudes
