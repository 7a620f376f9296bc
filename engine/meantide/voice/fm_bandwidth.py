"""How high an FM voice reaches, found by its spectrum: control side."""

import math

import numpy as np

from meantide.voice.fm_operators import sum_of_operators
from meantide.voice.kernel import F64

HIGHEST_LINE_DB = -90.0
"""Lines below that, relative to the whole, count for nothing: 10 dB less than may fold."""
BINS = 6
"""Between two harmonics: the window spreads a line over five either way."""
WINDOW_SHAPE = 16.0
"""Kaiser's: what it spreads further is 110 dB down."""
SHORTEST, LONGEST = 1 << 10, 1 << 16
"""Samples: harmonics up to number 85 and 5461."""


def reaches(
    limit: float, ratios: F64, phases: F64, heard: F64, feedback: F64, indices: F64
) -> bool:
    """Tell whether a line that counts lies above `limit`, a ratio over the note.

    `ratios`, `phases` (cycles), `heard`, `feedback` (operators,), `indices` (MOST_PATHS,). Looks up
    to twice the limit: a spectrum that reaches further has lines on its way there.
    """
    wanted = 2.0 * BINS * max(2.0 * limit, 2.0 * float(ratios.max()))
    length = int(min(max(2 ** math.ceil(math.log2(wanted)), SHORTEST), LONGEST))
    cycles = np.outer(ratios, np.arange(length) * (BINS / length)) + phases[:, None]
    sound = sum_of_operators(cycles, heard[:, None], feedback[:, None], indices[:, None])
    window = np.kaiser(length, WINDOW_SHAPE)
    levels = np.abs(np.fft.rfft(sound * window)) * (2.0 / window.sum())
    counting = math.sqrt(float(heard @ heard)) * 10.0 ** (HIGHEST_LINE_DB / 20.0)
    first = int(min(limit * BINS, 0.75 * len(levels)))  # the top tells of what lies beyond it
    return bool((levels[first:] > counting).any())
