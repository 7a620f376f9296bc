"""A high-pass against infrasound and DC: they cannot be heard, eat headroom and move cones far."""

import math

import numpy as np

from meantide.perform.recursive import RecursiveFilter
from meantide.voice.kernel import F32, F64
from meantide.voice.kernels import NUMPY

CORNER_HZ = 10.0
"""Where 3.01 dB are lost; 20 Hz loses 0.26 dB, the lowest A of a piano (27.5 Hz) 0.08 dB."""


def second_order_high_pass(corner_hz: float, quality: float, rate: int) -> F64:
    """Return b0, b1, b2, a1, a2 of s²/(s² + s/Q + 1) by the bilinear transform, true at the corner.

    Oppenheim and Schafer, Discrete-Time Signal Processing, ch. 7 (from memory).
    """
    k = math.tan(math.pi * corner_hz / rate)
    a0 = 1.0 + k / quality + k * k
    return np.array([1.0, -2.0, 1.0, 2.0 * (k * k - 1.0), 1.0 - k / quality + k * k]) / a0


class HighPass:
    """A Butterworth high-pass of second order for blocks of two channels.

    `rate` in Hz, `longest` block in samples, `kernel` by name. Its response is
    1/sqrt(1 + (10 Hz/f)^4); it delays nothing that is steady and changes no frequency.
    """

    def __init__(self, rate: int, longest: int, kernel: str = NUMPY) -> None:
        section = second_order_high_pass(CORNER_HZ, math.sqrt(0.5), rate)
        self._filter = RecursiveFilter(section[np.newaxis], kernel)
        self._block = np.zeros((2, longest))

    def apply(self, out: F32) -> None:
        """Filter `out` (2, samples), finite, in place. Safe in the audio callback."""
        samples = out.shape[1]
        block = self._block[:, :samples]
        block[:] = out
        self._filter.apply(self._block, samples)
        out[:] = block
