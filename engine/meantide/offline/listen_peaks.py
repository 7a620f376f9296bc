"""The lines that stand out of a spectrum, found roughly: where to look, not yet what to report."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Reals, fitting_size, window

LOWEST_HZ = 15.0
HIGHEST_OF_RATE = 0.45
FAINTEST_DB = -60.0  # re the strongest line, unless asked for otherwise
MOST_PEAKS = 120

_BLOCK_BINS = 128
# Between harmonics as near as ten bins only one bin in five is free of their main lobes, so the
# noise is read low down in the ranked bins: a tenth of them lie under 0.105 of its mean power.
_QUANTILE = 0.1
_QUANTILE_OF_MEAN = -np.log(1.0 - _QUANTILE)
_OVER_NOISE = 25.0  # in power; noise alone comes so high in e^-25 of all bins


@dataclass(frozen=True, slots=True)
class Peaks:
    """Lines by rising frequency: arrays (lines,) of Hz and peak amplitude; the width of a bin."""

    hz: Reals
    amplitude: Reals
    bin_hz: float

    def __len__(self) -> int:
        return len(self.hz)

    def only(self, kept: NDArray[np.bool_] | NDArray[np.int64]) -> "Peaks":
        """Return the lines marked in `kept` (lines,), or those at its places."""
        return Peaks(self.hz[kept], self.amplitude[kept], self.bin_hz)


def find_peaks(
    samples: Reals, rate: int, faintest_db: float = FAINTEST_DB, most: int = MOST_PEAKS
) -> Peaks:
    """Return the strongest lines, at most so many, that stand 14 dB or more out of the noise.

    Those fainter than `faintest_db` re the strongest are left out; the window's own side lobes
    begin at -82 dB. `samples` is (size,) float64, at least 64 of them. Each line is put between
    bins by a parabola through its logarithm: good to some hundredths of a bin.
    """
    size = fitting_size(len(samples))
    weights = window(size)[0]
    power = np.abs(np.fft.rfft(samples[:size] * weights)) ** 2
    bin_hz = rate / size
    noise = _noise_power(power)
    middle = power[1:-1]
    hz = np.arange(1, len(power) - 1) * bin_hz
    tops = (middle >= power[:-2]) & (middle > power[2:]) & (middle > _OVER_NOISE * noise[1:-1])
    tops &= (hz >= LOWEST_HZ) & (hz <= HIGHEST_OF_RATE * rate)
    places = np.flatnonzero(tops) + 1
    if len(places):
        loud = power[places] >= power[places].max() * 10.0 ** (faintest_db / 10.0)
        places = places[loud]
        places = np.sort(places[np.argsort(-power[places])[:most]])
    left, top, right = (np.log(np.maximum(power[places + step], 1e-300)) for step in (-1, 0, 1))
    bend = left - 2.0 * top + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0.0, 0.5 * (left - right) / bend, 0.0)
    height: Reals = np.exp(0.5 * (top - 0.25 * (left - right) * shift))
    amplitude: Reals = 2.0 * height / weights.sum()
    place_hz = (places + shift).astype(np.float64) * bin_hz
    return Peaks(place_hz, amplitude, bin_hz)


def _noise_power(power: Reals) -> Reals:
    """Return the mean power of the noise about each bin, from the lower ones of a block."""
    count = max(len(power) // _BLOCK_BINS, 1)
    blocks = np.array_split(power, count)
    level = np.array([np.quantile(block, _QUANTILE) for block in blocks]) / _QUANTILE_OF_MEAN
    beside = np.pad(level, 1, mode="edge")  # noise may begin or end within a block
    level = np.maximum(np.maximum(beside[:-2], beside[2:]), beside[1:-1])
    edges = np.cumsum([len(block) for block in blocks])
    centres = edges - np.array([len(block) for block in blocks]) / 2.0
    noise: Reals = np.interp(np.arange(len(power)), centres, level)
    return noise
