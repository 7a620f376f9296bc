"""How high an FM voice reaches, found by its spectrum: control side."""

import math

import numpy as np

from meantide.voice.fm_operators import sum_of_operators
from meantide.voice.kernel import F64

HIGHEST_LINE_DB = -90.0
"""Lines below that, relative to the whole, count for nothing: 10 dB less than may fold."""
BINS = 12
"""Between two harmonics: the window spreads a line over five either way."""
WINDOW_SHAPE = 16.0
"""Kaiser's: what it spreads further is 110 dB down."""
SHORTEST, LONGEST = 1 << 11, 1 << 17
"""Samples: harmonics up to number 85 and 5461."""


def highest_line(ratios: F64, phases: F64, heard: F64, feedback: F64, indices: F64) -> float:
    """Return the ratio over the note of the highest line that counts; inf if it cannot be found.

    `ratios`, `phases` (cycles), `heard`, `feedback` (operators,), `indices` (MOST_PATHS,).
    """
    length = SHORTEST
    while length <= LONGEST:
        if length / BINS > 4.0 * ratios.max():
            found = _highest_line(length, ratios, phases, heard, feedback, indices)
            if found is not None:
                return found
        length *= 2
    return math.inf


def _highest_line(
    length: int, ratios: F64, phases: F64, heard: F64, feedback: F64, indices: F64
) -> float | None:
    """Look in so many samples; None if lines in the top quarter tell of others that folded."""
    cycles = np.outer(ratios, np.arange(length) * (BINS / length)) + phases[:, None]
    sound = sum_of_operators(cycles, heard[:, None], feedback[:, None], indices[:, None])
    window = np.kaiser(length, WINDOW_SHAPE)
    levels = np.abs(np.fft.rfft(sound * window)) * (2.0 / window.sum())
    whole = math.sqrt(float(heard @ heard))
    counting = np.flatnonzero(levels > whole * 10.0 ** (HIGHEST_LINE_DB / 20.0))
    top = int(counting[-1]) if len(counting) else 0
    return top / BINS if top < len(levels) * 3 // 4 else None
