"""The deterministic state machine that turns events into samples.

Same events and same blocks give the same samples, bit for bit, live and offline. The control side
calls `hand_over`; all else happens on the side that makes the sound.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.perform.event import (
    ALL_PARTS,
    AT_ONCE,
    Event,
    Held,
    Kind,
    Outcome,
    OutcomeKind,
    Pitch,
    PitchKind,
)
from meantide.perform.master import SHORTEST_RAMP_S, Level, level_gain, soften
from meantide.perform.note import Note, Notes
from meantide.perform.queue import EventQueue
from meantide.pitch import NoteName, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice
from meantide.voice.envelope import Stage
from meantide.voice.kernel import F32, LONGEST_READ, Kernel
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.prepared import PreparedVoice
from meantide.voice.voices import prepare

LOWEST_RATE, HIGHEST_RATE = 8_000, 192_000
MOST_NOTES = 4096
LOWEST_HZ = 0.01


@dataclass(slots=True)
class Part:
    """What a part's next notes are made of."""

    voice: PreparedVoice | None = None
    pan: float = 0.0
    gain: float = 1.0

    @property
    def sides(self) -> tuple[float, float]:
        """The gains of the left and the right channel: constant power, so cos and sin."""
        angle = (self.pan + 1.0) * math.pi / 4.0
        return self.gain * math.cos(angle), self.gain * math.sin(angle)


@dataclass(slots=True)
class Counts:
    """What happened so far, for whoever asks."""

    events: int = 0
    late: int = 0
    refused: int = 0
    taken: int = 0
    softened_samples: int = 0


class Performance:
    """Notes in time, at one sample rate, two channels.

    `rate` in samples a second, `longest` the largest block that will be asked for, `notes` the
    most that sound at once, `level_db` the level at the start. `outcomes` receives what becomes
    of each note (a list offline; live a bounded deque). `kernel` does the arithmetic: numpy's, if
    none is given.
    """

    def __init__(
        self,
        rate: int,
        longest: int = 1024,
        notes: int = 64,
        level_db: float = 0.0,
        outcomes: list[Outcome] | deque[Outcome] | None = None,
        kernel: Kernel | None = None,
    ) -> None:
        _check_whole("rate", rate, LOWEST_RATE, HIGHEST_RATE)
        _check_whole("block", longest, 1, LONGEST_READ)
        _check_whole("notes", notes, 1, MOST_NOTES)
        self.rate, self.longest = rate, longest
        self.sample = 0
        """Samples made so far: the clock everything is dated by."""
        self.counts = Counts()
        self.outcomes = [] if outcomes is None else outcomes
        self.notes = Notes(notes, rate, longest, kernel or NumpyKernel())
        self.level = Level(level_gain(level_db))
        self.tuning: Tuning | None = None
        self._values: dict[int, tuple[Tuning, DegreeGrid] | PreparedVoice] = {}
        self._grid: DegreeGrid | None = None
        self._parts: dict[int, Part] = {}
        self._queue = EventQueue()
        self._acts: dict[Kind, Callable[[Event], None]] = {
            Kind.NOTE_ON: self._note_on,
            Kind.NOTE_OFF: self._note_off,
            Kind.TUNING: self._retune,
            Kind.VOICE: self._change_voice,
            Kind.PAN: self._pan,
            Kind.PART_LEVEL: self._change_part_level,
            Kind.LEVEL: self._change_level,
            Kind.NOTES_OFF: self._notes_off,
            Kind.SOUND_OFF: self._sound_off,
        }

    # -- control side -----------------------------------------------------------------------

    def hand_over(self, number: int, value: Tuning | AdditiveVoice) -> None:
        """Make `value` ready under `number`, to be taken by the one event that names it."""
        if isinstance(value, AdditiveVoice):
            prepared = prepare(value, self.rate)
            self.notes.provide(prepared)
            self._values[number] = prepared
        else:
            self._values[number] = (value, DegreeGrid.of(value))

    # -- audio side -------------------------------------------------------------------------

    def schedule(self, event: Event) -> Event | None:
        """Take an event in; one dated in the past, or AT_ONCE, acts at the next sample made.

        Returns the event as dated, or None, counting it, if too many wait already.
        """
        if event.sample < self.sample:
            if event.sample != AT_ONCE:
                self.counts.late += 1
            event = event._replace(sample=self.sample)
        if not self._queue.put(event):
            self.counts.refused += 1
            return None
        return event

    @property
    def waiting(self) -> int:
        """How many events wait for their sample."""
        return len(self._queue)

    def fill(self, out: F32) -> None:
        """Make the next block into `out` (2, samples), at most `longest` samples."""
        out[:] = 0.0
        start, end = self.sample, self.sample + out.shape[1]
        while True:
            self._act_until_now()
            upcoming = self._queue.next_sample()
            upto = end if upcoming is None else min(upcoming, end)
            if upto > self.sample:
                piece = out[:, self.sample - start : upto - start]
                self.notes.sound(piece)
                self.level.apply(self.sample, piece)
                self.sample = upto
                self._sweep()
            if upto == end:
                break
        self.counts.softened_samples += soften(out)

    # -- inside -----------------------------------------------------------------------------

    def _act_until_now(self) -> None:
        while (event := self._queue.take(self.sample)) is not None:
            self.counts.events += 1
            self._acts[event.kind](event)

    def _sweep(self) -> None:
        for note in self.notes.sweep():
            self._tell(OutcomeKind.ENDED, note.id)

    def _tell(self, kind: OutcomeKind, note: int, hz: float = 0.0, samples: int = 0) -> None:
        self.outcomes.append(Outcome(kind, self.sample, note, hz, samples))

    def _refuse(self, event: Event) -> None:
        self.counts.refused += 1
        self._tell(OutcomeKind.REFUSED, event.note)

    def _part(self, number: int) -> Part:
        return self._parts.setdefault(number, Part())

    def _note_on(self, event: Event) -> None:
        voice = self._part(event.part).voice
        hz = pitch_hz(self.tuning, event.pitch, self.rate)
        if voice is None or hz is None or not 0.0 < event.amount <= 1.0:
            self._refuse(event)
            return
        former = self.notes.get(event.note)
        if former is not None:
            self._let_go([former] if former.held else [])
            self.notes.rename(former, self._spare_id())
        note = Note(event.note, event.part, event.pitch, voice.count, 0, self.sample)
        strike = Strike(hz, event.amount, self._grid, self.counts.events)
        taken = self.notes.start(note, voice, strike, self._part(event.part).sides)
        if taken is not None:
            self.counts.taken += 1
            self._tell(OutcomeKind.TAKEN, taken.id)
        self._tell(OutcomeKind.BEGAN, note.id, hz)

    def _spare_id(self) -> int:
        """Return an id below all that sound, for a note whose id has gone to its successor."""
        return min(note.id for note in self.notes) - (1 << 40)

    def _note_off(self, event: Event) -> None:
        """End the note of that id; else those that were begun by that pitch."""
        note = self.notes.get(event.note)
        if note is not None:
            self._let_go([note] if note.held else [])
        elif event.pitch.kind != PitchKind.NONE:
            self._let_go(
                [
                    n
                    for n in self.notes
                    if n.held and n.pitch == event.pitch and n.part == event.part
                ]
            )

    def _let_go(self, notes: list[Note], stage: Stage = Stage.RELEASED) -> None:
        if notes:
            self.notes.release(notes, stage)
            for note in notes:
                self._tell(OutcomeKind.RELEASED, note.id)

    def _retune(self, event: Event) -> None:
        value = self._values.pop(event.value, None)
        if not isinstance(value, tuple):
            self._refuse(event)
            return
        self.tuning, self._grid = tuning, _ = value
        if event.held == Held.STAY:
            return
        following: list[Note] = []
        goals: list[float] = []
        for note in self.notes:
            hz = pitch_hz(tuning, note.pitch, self.rate)
            if hz is not None and hz != self.notes.hz(note):
                following.append(note)
                goals.append(hz)
                self._tell(OutcomeKind.MOVED, note.id, hz, event.samples)
        if following:
            self.notes.retune(following, goals, event.samples, self._grid)

    def _change_voice(self, event: Event) -> None:
        voice = self._values.pop(event.value, None)
        if isinstance(voice, PreparedVoice):
            self._part(event.part).voice = voice
        else:
            self._refuse(event)

    def _pan(self, event: Event) -> None:
        self._part(event.part).pan = min(max(event.amount, -1.0), 1.0)

    def _change_part_level(self, event: Event) -> None:
        self._part(event.part).gain = level_gain(event.amount)

    def _change_level(self, event: Event) -> None:
        samples = max(event.samples, round(SHORTEST_RAMP_S * self.rate))
        self.level.move(self.sample, level_gain(event.amount), samples)

    def _notes_off(self, event: Event) -> None:
        self._let_go([n for n in self.notes if n.held and event.part in (ALL_PARTS, n.part)])

    def _sound_off(self, _: Event) -> None:
        self._queue.forget_notes()
        self._let_go(list(self.notes), Stage.SILENCED)


def pitch_hz(tuning: Tuning | None, pitch: Pitch, rate: int) -> float | None:
    """Return the frequency of `pitch` in `tuning`, or None where it has none that can sound."""
    if pitch.kind == PitchKind.HERTZ:
        hz = pitch.value
    elif tuning is None:
        return None
    else:
        try:
            hz = _tuned_hz(tuning, pitch)
        except (InvalidValue, OverflowError):
            return None
    return hz if LOWEST_HZ <= hz < rate / 2 else None


def _tuned_hz(tuning: Tuning, pitch: Pitch) -> float:
    if pitch.kind == PitchKind.KEY:
        return tuning.hz_of_key(int(pitch.value))
    if pitch.kind == PitchKind.DEGREE:
        return tuning.hz_of_degree(int(pitch.value))
    if pitch.kind == PitchKind.NAME:
        return tuning.hz_of_name(NoteName.from_chain(int(pitch.value), pitch.octave))
    return tuning.anchor.hz * math.exp2(pitch.value)


def _check_whole(field: str, value: object, low: int, high: int) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise InvalidValue(field, value, f"a whole number from {low} to {high}")
