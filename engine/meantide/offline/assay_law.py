"""How a note moves about its pitch by the laws in the log, and how far that spreads its lines.

A vibrato moves all partials of a note together, a drift each by itself; see `LoggedVibrato` and
`LoggedDrift`. Where a law is told to the last number it is taken out of the samples before
anything is measured: multiplied by e^(-i·phase), where the phase is the integral of what the law
adds to a partial's frequency, a line under the law is a steady one.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Complexes, Reals
from meantide.offline.takelog_note import LoggedDepth, LoggedNote
from meantide.offline.takelog_voice import LoggedDrift, LoggedVibrato, LoggedVoice

_OCTAVE_CENTS = 1200.0
_FAINTEST_SIDEBAND = 1e-6
_MOST_SIDEBANDS = 4000
_BEYOND = 1.03  # with more sidebands than that, of the index: 4000 reach 1.024 of it


@dataclass(frozen=True, slots=True)
class Law:
    """The movement of one note; `known` says that nothing about it is left open.

    `depths` are steps of the vibrato's depth, from the note's `start` on. Of the drift, partial k
    has the rate `drift_hz[k]` and the phase `drift_phases[k]`, or they are empty: untold.
    """

    rate: int
    start: int
    vibrato: LoggedVibrato | None = None
    depths: tuple[LoggedDepth, ...] = ()
    drift: LoggedDrift | None = None
    drift_hz: tuple[float, ...] = ()
    drift_phases: tuple[float, ...] = ()
    told_until: int | None = None

    @classmethod
    def of(cls, note: LoggedNote, voice: LoggedVoice, rate: int) -> "Law":
        """Return the law of a note of `voice`."""
        vibrato, depths, drift = voice.vibrato, note.depths, voice.drift
        if vibrato is None or not (vibrato.depth_cents or vibrato.touched_cents or depths):
            vibrato, depths = None, ()
        elif not depths:
            depths = (LoggedDepth(note.start, 0, vibrato.depth_cents),)
        if drift is not None and not drift.cents:
            drift = None
        rates = tuple(each.drift_hz for each in voice.partials if each.drift_hz is not None)
        told = drift and len(rates) == len(voice.partials) == len(note.drift_phases)
        return cls(
            rate,
            note.start,
            vibrato,
            depths,
            drift,
            rates if told else (),
            note.drift_phases if told else (),
            note.told_until,
        )

    @property
    def drift_is_told(self) -> bool:
        """Say whether every partial's drift is known."""
        return bool(self.drift_phases)

    @property
    def untold_drift_cents(self) -> float:
        """Return how far a partial may be from its place without anyone knowing where."""
        return 0.0 if self.drift is None or self.drift_is_told else self.drift.cents

    @property
    def moves(self) -> bool:
        """Say whether there is something that can be taken out."""
        return self.vibrato is not None or self.drift_is_told

    @property
    def together(self) -> tuple[object, ...] | None:
        """Return what is equal of notes whose partials move as one, None if they are still."""
        if self.vibrato is None:
            return None
        return self.vibrato, self.depths, self.start, self.told_until

    def cents(self, first: int, last: int) -> Reals:
        """Return the vibrato at the middle of each sample from `first` up to `last`."""
        if self.vibrato is None:
            return np.zeros(last - first)
        sample = np.arange(first, last) + 0.5
        after_s = np.maximum((sample - self.start) / self.rate - self.vibrato.delay_s, 0.0)
        rise_s = max(self.vibrato.rise_s, 1.0 / self.rate)
        risen = np.sin(0.5 * math.pi * np.minimum(after_s / rise_s, 1.0)) ** 2
        at, depth = self._knots()
        turned = np.sin(2.0 * math.pi * (self.vibrato.rate_hz * after_s % 1.0))
        cents: Reals = np.interp(sample, at, depth) * risen * turned
        return cents

    def drift_cents(self, partial: int, first: int, last: int) -> Reals:
        """Return the drift of a partial (from 0) at the middle of each sample; it must be told."""
        age_s = (np.arange(first, last) + 0.5 - self.start) / self.rate
        turns = self.drift_hz[partial] * age_s + self.drift_phases[partial]
        drift: Reals = (self.drift.cents if self.drift else 0.0) * np.sin(2.0 * math.pi * turns)
        return drift

    def stillness(
        self, partial: int, hz: float, first: int, last: int, vibrato: Reals
    ) -> Complexes:
        """Return the factors on samples first..last under which a partial at `hz` stands still.

        `hz` is where it lies without the law; `vibrato` is what `cents` says of these samples.
        """
        cents = vibrato + self.drift_cents(partial, first, last) if self.drift_is_told else vibrato
        above = np.expm1(cents * (math.log(2.0) / _OCTAVE_CENTS))
        cycles = hz / self.rate * (np.cumsum(above) - above)  # those of the samples before
        still: Complexes = np.exp(-2j * math.pi * np.mod(cycles, 1.0))
        return still

    def vibrato_share(self, first: int, last: int) -> float:
        """Return how far, as a share of itself, the vibrato may move a frequency in a stretch."""
        if self.vibrato is None:
            return 0.0
        if self.told_until is not None and last > self.told_until:
            most = abs(self.vibrato.depth_cents) + self.vibrato.touched_cents
            most = max(most, *(abs(each.cents) for each in self.depths))
        else:
            at, depth = self._knots()
            inside = np.interp([first, last], at, depth)
            between = depth[(at >= first) & (at <= last)]
            most = float(np.abs(np.concatenate([inside, between])).max())
        after_s = max((last - self.start) / self.rate - self.vibrato.delay_s, 0.0)
        rise_s = max(self.vibrato.rise_s, 1.0 / self.rate)
        risen = math.sin(0.5 * math.pi * min(after_s / rise_s, 1.0)) ** 2
        return math.expm1(most * risen * math.log(2.0) / _OCTAVE_CENTS)

    def vibrato_reach(self, moved_hz: Reals) -> Reals:
        """Return how far lines that the vibrato moves by `moved_hz` either way spread, in Hz."""
        return _reach(moved_hz, self.vibrato.rate_hz if self.vibrato else 0.0)

    def drift_reach(self, hz: Reals) -> Reals:
        """Return how far lines at `hz` spread by their drift, in Hz."""
        if self.drift is None:
            return np.zeros_like(hz)
        moved = np.abs(hz) * math.expm1(self.drift.cents * math.log(2.0) / _OCTAVE_CENTS)
        return _reach(moved, self.drift.fastest_hz)

    def _knots(self) -> tuple[Reals, Reals]:
        """Return the samples at which the depth bends or jumps, and the depths there."""
        at, depth = [float(self.start)], [self.depths[0].cents]
        for place, step in enumerate(self.depths[1:], start=1):
            if at[-1] > step.sample:  # a ramp cut short
                depth[-1] = float(np.interp(step.sample, at[-2:], depth[-2:]))
                at[-1] = float(step.sample)
            else:
                at.append(float(step.sample))
                depth.append(depth[-1])
            at.append(float(step.sample + step.ramp_samples))
            depth.append(self.depths[place].cents)
        return np.array(at), np.array(depth)


def _reach(moved_hz: Reals, rate_hz: float) -> Reals:
    """Return how far the sidebands of lines moved so far, so often a second, reach.

    They are counted up to where they are a millionth.
    """
    if not rate_hz:
        return np.zeros_like(moved_hz)
    index = _index_with_sidebands()
    count = np.searchsorted(index, moved_hz / rate_hz)
    reach: Reals = np.where(count < len(index), count * rate_hz, _BEYOND * moved_hz)
    return reach


@lru_cache(maxsize=1)
def _index_with_sidebands() -> NDArray[np.float64]:
    """Return, for n from 0, the greatest index at which all sidebands after the n-th are faint.

    By Kapteyn's inequality |J_n(n sech a)| <= e^(-n (a - tanh a)) (DLMF 10.14.8, from memory).
    """
    number = np.arange(1, _MOST_SIDEBANDS + 1)
    wanted = -math.log(_FAINTEST_SIDEBAND) / number
    low, high = np.zeros(len(number)), np.full(len(number), 20.0)
    for _ in range(60):
        middle = (low + high) / 2.0
        enough = middle - np.tanh(middle) >= wanted
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    index: Reals = number / np.cosh(high)
    index.flags.writeable = False
    return index
