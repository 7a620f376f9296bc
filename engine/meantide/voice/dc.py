"""Taking away what stands at 0 Hz, where the spectra of FM notes fold."""

import math

import numpy as np

from meantide.voice.kernel import F32, LONGEST_READ

CORNER_HZ = 2.0
"""3 dB down there: 0.02 dB and 4 degrees at 27.5 Hz."""


class DcBlocker:
    """Takes from a sound its slow mean: y = x - l, l[n] = a·l[n-1] + (1 - a)·x[n].

    For mixes of `channels` channels, one after another in time; safe in the audio callback. A piece
    is done in closed form, l[n] = aⁿ⁺¹·l[-1] + (1 - a)·Σ aⁿ⁻ᵏ·x[k], in float64: for the longest
    one at the lowest rate a⁻ⁿ is under 10⁶.
    """

    def __init__(self, rate: int, channels: int = 2) -> None:
        self._keep = math.exp(-2.0 * math.pi * CORNER_HZ / rate)
        self._fading = self._keep ** np.arange(1.0, LONGEST_READ + 1.0)
        self._mean = np.zeros((channels, 1))
        self._work = np.zeros((channels, LONGEST_READ))

    def apply(self, sound: F32) -> None:
        """Block what stands in the next `sound` (channels, samples), in place."""
        length = sound.shape[1]
        if length == 0:
            return
        work, fading = self._work[:, :length], self._fading[:length]
        np.divide(sound, fading, out=work)
        np.cumsum(work, axis=1, out=work)
        work *= 1.0 - self._keep
        work += self._mean
        work *= fading
        self._mean[:, 0] = work[:, -1]
        sound -= work.astype(np.float32)
