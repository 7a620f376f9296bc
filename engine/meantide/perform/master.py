"""The end of the line: the level everything passes through, and the ceiling above it."""

import numpy as np

from meantide.errors import InvalidValue
from meantide.voice.kernel import F32, F64

CEILING = 10.0 ** (-1.0 / 20.0)
"""Nothing leaves above -1 dBFS."""
KNEE = 10.0 ** (-3.0 / 20.0)
"""Up to here the ceiling changes nothing at all."""
SHORTEST_RAMP_S = 0.02
QUIETEST_DB, LOUDEST_DB = -100.0, 0.0
"""The range of levels; the quietest is silence."""


def level_gain(level_db: float) -> float:
    """Return the factor of a level in dB; QUIETEST_DB and below is silence."""
    if not level_db <= LOUDEST_DB:
        raise InvalidValue("level", level_db, f"dB, {QUIETEST_DB:g} (silent) to {LOUDEST_DB:g}")
    return 0.0 if level_db <= QUIETEST_DB else float(10.0 ** (level_db / 20.0))


class Level:
    """A gain that moves in straight lines, as a function of the sample count alone."""

    def __init__(self, gain: float) -> None:
        self._from = self._to = gain
        self._start = 0
        self._length = 0
        self._step: F64 = np.arange(8192.0)
        self._ramp = np.zeros(8192)

    @property
    def goal(self) -> float:
        """The gain that the level stands at or moves to."""
        return self._to

    def move(self, sample: int, gain: float, samples: int) -> None:
        """From `sample` on, move to `gain` within `samples`."""
        self._from = self.at(sample)
        self._to, self._start, self._length = gain, sample, samples

    def at(self, sample: int) -> float:
        """Return the gain at `sample`, which is not before the last move."""
        if sample >= self._start + self._length:
            return self._to
        return self._from + (self._to - self._from) * (sample - self._start) / self._length

    def apply(self, sample: int, out: F32) -> None:
        """Multiply `out` (channels, samples), which begins at `sample`, by the level."""
        since = sample - self._start
        if since >= self._length:
            out *= np.float32(self._to)
            return
        ramp = self._ramp[: out.shape[1]]
        np.add(self._step[: out.shape[1]], since, out=ramp)
        ramp *= (self._to - self._from) / self._length
        ramp += self._from
        low, high = sorted((self._from, self._to))
        np.clip(ramp, low, high, out=ramp)
        np.multiply(out, ramp, out=out, casting="same_kind")


def soften(out: F32) -> int:
    """Bend what lies above the knee so that it stays under the ceiling; return how many samples.

    Below the knee samples are untouched, bit for bit; above it the curve goes on with the same
    slope and approaches the ceiling (a hyperbolic tangent). What is not a number becomes silence.
    """
    peak = max(float(out.max()), -float(out.min()))
    if peak <= KNEE:
        return 0
    if not np.isfinite(peak):
        np.nan_to_num(out, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
    over = np.abs(out) > KNEE
    room = CEILING - KNEE
    high = out[over].astype(np.float64)
    bent = KNEE + room * np.tanh((np.abs(high) - KNEE) / room)
    # float32 could round the ceiling itself upwards
    limit = np.nextafter(np.float32(CEILING), np.float32(0.0))
    out[over] = np.copysign(np.minimum(bent.astype(np.float32), limit), high)
    return int(over.sum())
