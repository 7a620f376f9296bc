"""The limiter at the end of the line: no true peak leaves above the ceiling.

It looks ahead, so the gain is down before the peak comes, and moves in curves (`limiter_gain.py`).
It measures the wave with the filter of BS.1770-5 Annex 2, with a longer and a shorter one, and at
the samples themselves. Around a peak the gain stands still, so a peak is measured as it leaves; on
its way down it bends the wave by less than the margin, which tests try hard to disprove.

What needs no gain passes bit for bit, `latency_samples` later. Both channels get the same gain.
"""

import math
from collections.abc import Callable

import numpy as np

from meantide.perform.interpolation import Interpolator
from meantide.perform.limiter_gain import Gain
from meantide.perform.true_peak import ANNEX_2
from meantide.voice.kernel import F32
from meantide.voice.kernels import COMPILED, NUMPY

CEILING_DBTP = -1.0
"""No true peak leaves above this (EBU R 128)."""
MARGIN_DB = 0.2
"""The gain is made for so much less: near half the rate no finite filter sees the whole of a wave,
and meters differ."""
LARGEST = 2.0**12
"""+72 dBFS: what comes louder is a fault, and is cut down to this before it is limited."""

CELLS_AHEAD = 10
"""How many cells the gain takes to fall: 1.7 ms at 48 kHz."""
LONGER_TAPS, LONGER_SHAPE = 24, 4.0
"""The longer filters are right to 0.25 dB up to 0.45 of the rate."""
SHORTER_REACH = 6.125
"""Samples to each side: a sinc of 49 taps at four times the rate is a usual meter's."""


def detecting_filters() -> F32:
    """Return the filters (11, LONGER_TAPS) whose largest value is what must stay under the target.

    The sample itself; the wave 1/4, 1/2 and 3/4 of the way to the next one, by a longer filter (a
    sinc under a Kaiser window) and by a shorter one (under a Hann window), which read differently
    near half the rate, as meters do; and the four phases of Annex 2.
    """
    middle = LONGER_TAPS // 2 - 1
    taps = np.arange(LONGER_TAPS) - middle
    filters = np.zeros((11, LONGER_TAPS))
    filters[0, middle] = 1.0
    for row, place in enumerate((0.25, 0.5, 0.75), 1):
        away = taps - place
        inside = np.maximum(0.0, 1.0 - (away / (LONGER_TAPS / 2)) ** 2)
        longer = np.sinc(away) * np.i0(LONGER_SHAPE * np.sqrt(inside))
        filters[row] = longer / longer.sum()
        hann = 0.5 + 0.5 * np.cos(np.pi * away / SHORTER_REACH)
        filters[row + 3] = np.where(np.abs(away) < SHORTER_REACH, np.sinc(away) * hann, 0.0)
    edge = (LONGER_TAPS - ANNEX_2.shape[1]) // 2
    filters[7:, edge:-edge] = ANNEX_2
    return filters.astype(np.float32)


def in_db(nepers: float) -> float:
    """Return nepers in dB."""
    return nepers * 20.0 / math.log(10.0)


def tame(out: F32) -> bool:
    """Make all of `out`, not empty, finite and at most LARGEST, in place; tell if it was not.

    What is not finite becomes silence.
    """
    # not >, since a comparison with what is not a number is false
    if max(float(out.max()), -float(out.min())) <= LARGEST:
        return False
    np.nan_to_num(out, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
    np.clip(out, -LARGEST, LARGEST, out=out)
    return True


class Limiter:
    """A look-ahead limiter for blocks of two channels.

    `rate` in Hz, `longest` block in samples, `kernel` by name.
    """

    def __init__(self, rate: int, longest: int, kernel: str = NUMPY) -> None:
        self._target = 10.0 ** ((CEILING_DBTP - MARGIN_DB) / 20.0)
        self._interpolator = Interpolator(detecting_filters(), longest, kernel)
        self._gain = Gain(rate, longest, CELLS_AHEAD, self._target)
        self._parts = tuple(self._gain.parts)  # a plain tuple is sooner handed over
        # the wave after a sample is made of half the taps that follow it
        self.latency_samples = self._gain.delay_samples + LONGER_TAPS // 2
        """What goes in comes out so many samples later, always: 107 at 48 kHz, 2.2 ms."""
        room = self.latency_samples + longest + Interpolator.room(longest)
        self._line = np.zeros((2, room), np.float32)
        self.faults = 0
        """Blocks so far in which something was not finite or above LARGEST."""
        self._compiled = self._made_compiled() if kernel == COMPILED else None

    @property
    def taken_db(self) -> float:
        """How much is taken off now, in dB, 0 or more; any thread may read it."""
        return in_db(self._gain.taken_nepers)

    @property
    def most_taken_db(self) -> float:
        """The most that was taken off so far, in dB, 0 or more; any thread may read it."""
        return in_db(self._gain.most_taken_nepers)

    def apply(self, out: F32) -> None:
        """Limit `out` (2, samples) in place. Safe in the audio callback.

        What is not finite becomes silence.
        """
        if not out.shape[1]:
            return
        self.faults += tame(out)
        self.apply_tame(out)

    def apply_tame(self, out: F32) -> None:
        """Limit `out`, not empty, finite and not far above LARGEST, in place."""
        samples, late, line = out.shape[1], self.latency_samples, self._line
        line[:, late : late + samples] = out
        if self._compiled is None:
            self._limit(out)
        else:
            self._run(self._compiled, samples)
            out[:] = self._interpolator.found[:, :samples]

    def pass_silence(self, samples: int) -> None:
        """Be where `apply` would be after so many samples more of long silence."""
        self._gain.advance(samples)

    def _limit(self, out: F32) -> None:
        """Write the next samples out and move the line on, by numpy."""
        samples, late, line = out.shape[1], self.latency_samples, self._line
        gain = self._gain.over(self._interpolator.largest(line, late, samples, self._target))
        if gain is None:
            out[:] = line[:, :samples]
        else:
            np.multiply(line[:, :samples], gain, out=out)
        line[:, :late] = line[:, samples : samples + late]

    def _run(self, limit: Callable[..., None], samples: int) -> None:
        between = self._interpolator
        limit(
            self._line, self.latency_samples, samples,
            between.filters, between.quiet(self._target), between.found, between.sums,
            tuple(self._gain.advance(samples)), self._parts,
        )  # fmt: skip

    def _made_compiled(self) -> Callable[..., None]:
        from meantide.voice.compiled_master import limit  # noqa: PLC0415  # loads numba

        made: Callable[..., None] = limit
        self._run(made, 0)  # compiled now, not later
        return made
