"""The noise that breath is made of: bands an octave apart, made once for a sample rate.

A note mixes the bands, reading all from a place of its own; they go round after some seconds. Both
kernels read the same numbers, so a note's noise is the same in both, and in every rendering.
"""

from functools import lru_cache

import numpy as np

from meantide.voice.kernel import CELL, F32

BANDS = 9
LOWEST_HZ = 62.5
"""The middle of the lowest band; the highest is at 16 kHz."""
LENGTH = 1 << 17


@lru_cache(maxsize=2)
def noise_bands(rate: int) -> F32:
    """Return the bands, (BANDS, LENGTH + CELL), each of the power of a sine at full scale.

    The last samples are the first again, so that a cell is never cut by the end. The bands are
    cos(π/2 · octaves from the middle), so that neighbours of equal gain add up to an even power an
    octave; what has no room under the Nyquist frequency is silent.
    """
    size = LENGTH // 2 + 1
    hz = np.arange(size) * (rate / LENGTH)
    phases = np.exp(2j * np.pi * _scattered(size * BANDS)).reshape(BANDS, size)
    bands = np.zeros((BANDS, LENGTH + CELL), np.float32)
    for band in range(BANDS):
        off = np.log2(np.maximum(hz, 1e-9) / (LOWEST_HZ * 2.0**band))
        shape = np.where(np.abs(off) < 1.0, np.cos(0.5 * np.pi * off), 0.0)
        shape /= np.sqrt(np.maximum(hz, 1.0))  # even power an octave
        shape[hz >= 0.45 * rate] = 0.0
        if not shape.any():
            continue
        wave = np.fft.irfft(shape * phases[band], LENGTH)
        bands[band, :LENGTH] = wave * (np.sqrt(0.5) / np.sqrt(np.mean(wave * wave)))
    bands[:, LENGTH:] = bands[:, :CELL]
    bands.flags.writeable = False
    return bands


def band_gains(hz: float, octaves: float, rate: int) -> F32:
    """Return the gains (BANDS,) that make a hump at `hz`, `octaves` wide, of unit power."""
    middles = LOWEST_HZ * 2.0 ** np.arange(BANDS)
    off = np.log2(middles / hz) / (octaves / 2.0)
    gains = np.exp(-0.5 * off * off)
    gains[middles / 2.0 >= 0.45 * rate] = 0.0
    whole = np.sqrt(np.sum(gains * gains))
    unit: F32 = (gains / whole if whole > 0.0 else gains).astype(np.float32)
    return unit


def place_of(seed: int) -> int:
    """Return where in the noise a note of that seed begins: neighbours far from each other."""
    return seed * 0x9E3779B1 % LENGTH


def _scattered(count: int) -> "np.ndarray[tuple[int, ...], np.dtype[np.float64]]":
    """Return numbers 0..1 without order that are the same everywhere (splitmix64).

    Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
    """
    with np.errstate(over="ignore"):
        z = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z ^= z >> np.uint64(31)
    return z / 2.0**64
