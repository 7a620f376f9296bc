"""The level that everything passes through, and how fast it may rise."""

import math

import numpy as np

from meantide.errors import InvalidValue
from meantide.voice.kernel import F32, F64

SHORTEST_RAMP_S = 0.02
QUIETEST_DB, LOUDEST_DB = -100.0, 0.0
"""The range of levels; the quietest is silence."""
RISE_FROM_DB = -80.0
"""Up to here a level comes within the shortest ramp."""
RISE_DB_PER_S = 40.0
"""Above it a level rises no faster, whatever is asked for: there is time to take the headphones
off. It falls as fast as it is asked to."""


def level_gain(level_db: float) -> float:
    """Return the factor of a level in dB; QUIETEST_DB and below is silence."""
    if not level_db <= LOUDEST_DB:
        raise InvalidValue("level", level_db, f"dB, {QUIETEST_DB:g} (silent) to {LOUDEST_DB:g}")
    return 0.0 if level_db <= QUIETEST_DB else float(10.0 ** (level_db / 20.0))


def rise_samples(from_gain: float, to_gain: float, rate: int) -> int:
    """Return the fewest samples in which a level may come from one gain to another."""
    low = level_gain(RISE_FROM_DB)
    rise_db = 20.0 * math.log10(max(to_gain, low) / max(from_gain, low))
    return math.ceil(max(SHORTEST_RAMP_S, rise_db / RISE_DB_PER_S) * rate)


class Level:
    """A gain that moves, as a function of the sample count alone.

    It rises so many dB a second, the same throughout, from RISE_FROM_DB at least; it falls in a
    straight line, so that it comes to silence.
    """

    def __init__(self, gain: float) -> None:
        self._from = self._to = gain
        self._start = 0
        self._length = 0
        self._nepers = 0.0
        """What a whole rise adds; 0 for a fall."""
        self._step: F64 = np.arange(8192.0)
        self._ramp = np.zeros(8192)

    @property
    def goal(self) -> float:
        """The gain that the level stands at or moves to."""
        return self._to

    def move(self, sample: int, gain: float, samples: int) -> None:
        """From `sample` on, move to `gain` within `samples`, which `rise_samples` allows."""
        self._from = self.at(sample)
        self._to, self._start, self._length = gain, sample, samples
        self._nepers = 0.0
        if gain > self._from and gain > (low := level_gain(RISE_FROM_DB)):
            self._from = max(self._from, low)
            self._nepers = math.log(gain / self._from)

    def at(self, sample: int) -> float:
        """Return the gain at `sample`, which is not before the last move."""
        if sample >= self._start + self._length:
            return self._to
        way = (sample - self._start) / self._length
        if self._nepers:
            return self._from * math.exp(self._nepers * way)
        return self._from + (self._to - self._from) * way

    def apply(self, sample: int, out: F32) -> None:
        """Multiply `out` (channels, samples), which begins at `sample`, by the level."""
        since = sample - self._start
        if since >= self._length:
            out *= np.float32(self._to)
            return
        ramp = self._ramp[: out.shape[1]]
        np.add(self._step[: out.shape[1]], since, out=ramp)
        if self._nepers:
            ramp *= self._nepers / self._length
            np.exp(ramp, out=ramp)
            ramp *= self._from
        else:
            ramp *= (self._to - self._from) / self._length
            ramp += self._from
        low, high = sorted((self._from, self._to))
        np.clip(ramp, low, high, out=ramp)
        np.multiply(out, ramp, out=out, casting="same_kind")
