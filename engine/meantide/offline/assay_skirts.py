"""What no log tells of a neighbour: how far its skirts reach when its amplitude moves.

The levels of FM sidebands rise, sink and come round again by laws that no log holds, and that puts
lines and skirts about every line of the note. But a real envelope turns no phase: what it puts
above a line it puts as strongly below. So what a neighbour adds to the line looked at is seen, by
itself, at the mirror image of that line about the neighbour, wherever nothing else is told to
sound.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_masking import Crowd
from meantide.offline.partials import MAIN_LOBE_BINS, Reals, Stretch

_FARTHEST_BINS = 60.0
_ASTRAY = 2.0 ** (5.0 / 1200.0) - 1.0  # a neighbour may be out too


def skirts(
    stretch: Stretch,
    crowd: Crowd,
    own: NDArray[np.bool_],
    loud: NDArray[np.bool_],
    untold: NDArray[np.bool_],
    hz: Reals,
) -> tuple[Reals, Reals]:
    """Return the leak and the push of skirts on lines at `hz`, as the totals of `Pressure`.

    `own` (lines, crowd) marks a line as itself, `loud` what matters beside it, `untold` (crowd,)
    whose levels move as no log tells. They are of the neighbour that does most, and 0 where no
    mirror image lies free.
    """
    low, high = np.broadcast_to(crowd.low_hz, own.shape), np.broadcast_to(crowd.high_hz, own.shape)
    away_hz = np.maximum(low - hz[:, None], hz[:, None] - high)
    near = untold & loud & ~own & (away_hz < _FARTHEST_BINS * stretch.bin_hz)
    lobe_hz = MAIN_LOBE_BINS * stretch.bin_hz
    leak, push = np.zeros(len(hz)), np.zeros(len(hz))
    for line in np.flatnonzero(near.any(axis=1)):
        rival, heard = near[line], loud[line] | own[line]
        mirror_hz = 2.0 * _seen_hz(stretch, low[line, rival], high[line, rival]) - hz[line]
        taken = mirror_hz[:, None] > low[line, heard] - lobe_hz
        taken &= mirror_hz[:, None] < high[line, heard] + lobe_hz
        free = ~taken.any(axis=1) & (mirror_hz > 0.0) & (mirror_hz < stretch.rate / 2.0)
        if free.any():
            leaks, pushes = stretch.seen_at(mirror_hz[free])
            leak[line], push[line] = leaks.max(), pushes.max()
    return leak, push


def _seen_hz(stretch: Stretch, low_hz: Reals, high_hz: Reals) -> Reals:
    """Return where neighbours are seen, or where they are told to be if they are not."""
    middle_hz = (low_hz + high_hz) / 2.0
    reach_hz = np.maximum(_ASTRAY * np.abs(middle_hz), stretch.bin_hz)
    return stretch.peaks(middle_hz, middle_hz - reach_hz, middle_hz + reach_hz)[0]
