"""The true peak: the largest value of the wave that the samples stand for.

Recommendation ITU-R BS.1770-5, Annex 2: oversample by four, take the largest absolute value. The
wave may pass the samples by 3 dB and more; converters and lossy codecs then distort.
"""

import math

import numpy as np

from meantide.perform.interpolation import Interpolator
from meantide.voice.kernel import F32
from meantide.voice.kernels import NUMPY

LOWEST_DB = -200.0
"""What stands for the level of silence, in dBFS, dBTP and LUFS."""


def _annex_2() -> F32:
    """Return the interpolating filter of Annex 2, four phases of twelve taps (from memory).

    Its coefficients are whole 8192nds; phases 2 and 3 are 1 and 0 turned round. The phases stand
    1/8, 3/8, 5/8 and 7/8 of the way between two samples; tests hold it to that.
    """
    phases = [
        [14, 90, -161, 272, -487, 1125, 7964, -838, 390, -218, 122, -68],
        [-239, 240, -424, 730, -1364, 3810, 6388, -1641, 832, -477, 271, -155],
    ]
    table = np.array(phases + [phase[::-1] for phase in reversed(phases)], np.float32)
    return table / np.float32(8192.0)


ANNEX_2 = _annex_2()


def level_db(amplitude: float) -> float:
    """Return an amplitude in dB relative to full scale, LOWEST_DB at least."""
    return 20.0 * math.log10(amplitude) if amplitude > 1e-10 else LOWEST_DB


class TruePeak:
    """A meter of sample peak and true peak for two channels, at any sample rate.

    The true peak is never told lower than the sample peak, which the filter's own phases pass by.
    `longest` block in samples, `kernel` by name.
    """

    def __init__(self, longest: int, kernel: str = NUMPY) -> None:
        filters = np.pad(ANNEX_2, ((0, 0), (2, 2)))  # to a multiple of 8
        self._interpolator = Interpolator(filters, longest, kernel)
        self._before = self._interpolator.taps - 1
        room = self._before + longest + Interpolator.room(longest)
        self._line = np.zeros((2, room), np.float32)

    def read(self, block: F32) -> tuple[float, float]:
        """Return the sample peak and the true peak, as amplitudes, of `block` (2, samples).

        Both are infinite, and the block is passed over, if anything in it is not finite. A peak
        between its last samples is told with the next block, which brings what the filters still
        need. Safe in the audio callback.
        """
        samples, before, line = block.shape[1], self._before, self._line
        if not samples:
            return 0.0, 0.0
        peak = max(float(block.max()), -float(block.min()))
        if not math.isfinite(peak):
            return math.inf, math.inf
        line[:, before : before + samples] = block
        true_peak = max(peak, float(self._interpolator.largest(line, before, samples).max()))
        line[:, :before] = line[:, samples : samples + before]
        return peak, true_peak
