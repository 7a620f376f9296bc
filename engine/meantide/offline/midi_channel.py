"""One channel of a MIDI file: its keys and pedals, its bend and pressure, and the notes they make.

Messages as in MIDI 1.0; what resetting all controllers does as in its recommended practice RP-015
(both from memory).
"""

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from meantide.perform.event import Kind

SUSTAIN, SOSTENUTO = 64, 66
_DATA, _DATA_FINE, _RPN_FINE, _RPN, _RESET = 6, 38, 100, 101, 121
_NRPN = (98, 99)
_DOWN = 64
"""The lowest value of a pedal that means "down"."""
_BEND_RANGE = (0, 0)
"""The registered parameter that says how far a bend goes: semitones, and cents as its fine part."""
_NO_PARAMETER = (127, 127)
_HALF_WAY = 8192
"""What a bend is at its lowest, below the middle."""


@dataclass(frozen=True, slots=True)
class MidiTouch:
    """From `at_s` on a note is bent by `amount` cents, or pressed so much (0..1)."""

    kind: Kind
    at_s: Fraction
    amount: float


@dataclass(slots=True)
class Sounding:
    """A note that has begun; `released_s` is when its key came up, if it has."""

    track: int
    channel: int
    key: int
    velocity: float
    start_s: Fraction
    released_s: Fraction = Fraction(0)
    caught: bool = False
    """Whether the sostenuto pedal keeps it."""
    touches: list[MidiTouch] = field(default_factory=list)


Ended = Iterable[Sounding]


class Channel:
    """What one channel holds: keys that are down, in order, and notes that a pedal keeps."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.down: defaultdict[int, deque[Sounding]] = defaultdict(deque)
        self.kept: defaultdict[int, list[Sounding]] = defaultdict(list)
        self._sustain = self._sostenuto = False
        self._bend_cents = self._pressure = 0.0
        self._parameter = _NO_PARAMETER
        self._range = [2, 0]
        """Semitones and cents of a whole bend: two semitones until the file says otherwise."""

    def __iter__(self) -> Iterator[Sounding]:
        """Yield the notes that have not ended."""
        for held in (self.down, self.kept):
            for notes in held.values():
                yield from notes

    def note_on(self, track: int, key: int, velocity: int, now_s: Fraction) -> Ended:
        """Begin a note; return what the pedal kept of its key, which ends there."""
        note = Sounding(track, self.number, key, velocity / 127, now_s)
        for kind, amount in ((Kind.BEND, self._bend_cents), (Kind.PRESSURE, self._pressure)):
            if amount:
                note.touches.append(MidiTouch(kind, now_s, amount))
        self.down[key].append(note)
        return self.kept.pop(key, ())

    def note_off(self, key: int, now_s: Fraction) -> Ended:
        """Let a key come up; return the note if it ends there."""
        if not self.down[key]:
            return ()
        note = self.down[key].popleft()
        note.released_s = now_s
        if self._sustain or note.caught:
            self.kept[key].append(note)
            return ()
        return (note,)

    def bend(self, pitch: int, now_s: Fraction) -> None:
        """Bend what sounds and what comes; `pitch` is -8192 to 8191."""
        semitones, cents = self._range
        self._bend_cents = pitch / _HALF_WAY * (100.0 * semitones + cents)
        self._touch(self, Kind.BEND, self._bend_cents, now_s)

    def press(self, value: int, now_s: Fraction) -> None:
        """Press all the channel's keys."""
        self._pressure = value / 127
        self._touch(self, Kind.PRESSURE, self._pressure, now_s)

    def press_key(self, key: int, value: int, now_s: Fraction) -> None:
        """Press one key."""
        notes = [note for note in self if note.key == key]
        self._touch(notes, Kind.PRESSURE, value / 127, now_s)

    def control(self, controller: int, value: int, now_s: Fraction) -> Ended | None:
        """Obey a controller; return the notes that end by it, or None if it means nothing here."""
        if controller == SUSTAIN:
            self._sustain = value >= _DOWN
        elif controller == SOSTENUTO:
            self._catch(value >= _DOWN)
        elif controller == _RESET:
            self._sustain = False
            self._catch(False)
            self._parameter = _NO_PARAMETER
            self.bend(0, now_s)
            self.press(0, now_s)
        else:
            return () if self._parameter_moved(controller, value) else None
        return self._dropped()

    def _touch(self, notes: Iterable[Sounding], kind: Kind, amount: float, now_s: Fraction) -> None:
        for note in notes:
            note.touches.append(MidiTouch(kind, now_s, amount))

    def _catch(self, down: bool) -> None:
        if down != self._sostenuto:
            self._sostenuto = down
            for note in self:
                note.caught = down

    def _dropped(self) -> list[Sounding]:
        """Return, and forget, the notes whose keys are up and that no pedal keeps any more."""
        if self._sustain:
            return []
        dropped = [note for notes in self.kept.values() for note in notes if not note.caught]
        for key, notes in self.kept.items():
            self.kept[key] = [note for note in notes if note.caught]
        return dropped

    def _parameter_moved(self, controller: int, value: int) -> bool:
        """Take in which registered parameter is meant, and the range of bends; tell if it was."""
        coarse, fine = self._parameter
        if controller == _RPN:
            self._parameter = (value, fine)
        elif controller == _RPN_FINE:
            self._parameter = (coarse, value)
        elif controller in _NRPN:
            self._parameter = _NO_PARAMETER
            return False
        elif self._parameter == _BEND_RANGE and controller in (_DATA, _DATA_FINE):
            self._range[controller == _DATA_FINE] = value
        else:
            return False
        return True
