"""Level over time and frequency, as a picture shows it.

The window is that of `partials.py`: Nuttall's four terms (IEEE Trans. ASSP 29, 1981), whose main
lobe is four bins of rate / size to either side and whose side lobes lie 82.6 dB down and fall. In
a window of s seconds lines 8 / s Hz apart stand clear of each other; events s / 2 seconds apart are
told apart, and those within s / 4 seconds run together.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.errors import InvalidValue
from meantide.offline.partials import Reals, fitting_size, window

SILENCE_DB = -200.0
"""Nothing is told as quieter."""
_FINER = 4
"""Bins are so many times finer than the window needs: a line between two loses 0.06 dB at most."""

Levels = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Spectrogram:
    """Levels (bins, frames) in dB at rising `hz` (bins,) and `times_s` (frames,).

    A steady sine of amplitude 1 is at 0 dB. A time is that of a window's middle, the first sample
    being at 0.
    """

    times_s: Reals
    hz: Reals
    levels_db: Levels


def spectrogram(samples: Reals, rate: int, window_s: float, hop_s: float) -> Spectrogram:
    """Return the levels of mono `samples` (size,), one frame every `hop_s` from the first sample.

    The sound counts as silent before its first sample and after its last. Windows are
    shortened by up to 3 % to what transforms fast, and hops rounded to whole samples. Raises
    InvalidValue for a window under 64 samples, or a hop under one.
    """
    size, hop = fitting_size(round(window_s * rate)), round(hop_s * rate)
    if size < 64:
        raise InvalidValue("window_s", window_s, f"{64 / rate:g} s or more")
    if hop < 1:
        raise InvalidValue("hop_s", hop_s, f"{1 / rate:g} s or more")
    frames = 1 + max(len(samples) - 1, 0) // hop
    padded = np.zeros(size + frames * hop + len(samples))
    padded[size // 2 : size // 2 + len(samples)] = samples
    weights = window(size)[0]
    length = _FINER * size
    levels = np.empty((length // 2 + 1, frames), np.float32)
    for frame in range(frames):
        piece = padded[frame * hop : frame * hop + size] * weights
        levels[:, frame] = decibels(np.abs(np.fft.rfft(piece, length)) * (2.0 / weights.sum()))
    hz = np.arange(length // 2 + 1, dtype=np.float64) * (rate / length)
    times_s = np.arange(frames, dtype=np.float64) * (hop / rate)
    return Spectrogram(times_s, hz, levels)


def decibels(amplitudes: Reals) -> Reals:
    """Return amplitudes, of any shape, in dB, `SILENCE_DB` at least."""
    levels: Reals = 20.0 * np.log10(np.maximum(amplitudes, 10.0 ** (SILENCE_DB / 20.0)))
    return levels


def on_log_axis(found: Spectrogram, low_hz: float, high_hz: float, bands: int) -> Spectrogram:
    """Return `found` with `bands` bands of equal width in cents between two frequencies.

    A band's level is the highest in it, so that no line is lost however narrow it is; where bins
    lie further apart than bands it runs straight in dB from bin to bin. Its `hz` are the bands'
    middles. Raises InvalidValue unless 0 < low_hz < high_hz <= half the rate.
    """
    if not 0.0 < low_hz < high_hz <= found.hz[-1]:
        raise InvalidValue("low_hz, high_hz", (low_hz, high_hz), f"0 .. {found.hz[-1]:g} rising")
    edges = np.geomspace(low_hz, high_hz, bands + 1)
    middles = np.sqrt(edges[:-1] * edges[1:])
    places = middles / found.hz[1]
    below = np.minimum(places.astype(np.intp), len(found.hz) - 2)
    share = (places - below)[:, None].astype(np.float32)
    levels = found.levels_db[below] * (1.0 - share) + found.levels_db[below + 1] * share
    first = np.ceil(edges[:-1] / found.hz[1]).astype(np.intp)
    last = np.ceil(edges[1:] / found.hz[1]).astype(np.intp)
    for band in np.flatnonzero(last > first):
        highest = found.levels_db[first[band] : last[band]].max(axis=0)
        np.maximum(levels[band], highest, out=levels[band])
    return Spectrogram(found.times_s, middles, levels)


def level_over_time(samples: Reals, rate: int, hz: float, hop_s: float) -> tuple[Reals, Reals]:
    """Return times (frames,) in s and the level in dB of mono `samples` of a note at `hz`.

    It is that of a sine of equal power (amplitude 1: 0 dB), averaged under a raised cosine
    `averaging_s` long.
    """
    size = max(round(averaging_s(hz) * rate), 2)
    weights = np.sin(math.pi * (np.arange(size) + 0.5) / size) ** 2
    power = np.convolve(samples**2, weights * (2.0 / weights.sum()))
    hop = max(round(hop_s * rate), 1)
    frames = 1 + max(len(samples) - 1, 0) // hop
    chosen = np.arange(frames) * hop
    return chosen / rate, decibels(np.sqrt(power[chosen + size // 2]))


def averaging_s(hz: float) -> float:
    """Return a whole even number of periods, 20 ms or more: harmonics then leave no ripple."""
    return 2 * math.ceil(0.02 * hz / 2.0) / hz
