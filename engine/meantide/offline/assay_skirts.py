"""What no log tells of a neighbour: how far its skirts reach when its amplitude moves.

Envelopes that rise, sink or come round again put lines and skirts about every line of their note,
for FM by laws that no log holds. But a real envelope turns no phase: what it puts above a line it
puts as strongly below. So what a neighbour adds to the line looked at is seen, by itself, at the
mirror image of that line about the neighbour, wherever nothing else is told to sound.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_masking import Crowd
from meantide.offline.partials import MAIN_LOBE_BINS, Reals, Stretch

_FARTHEST_BINS = 60.0
_FAINTEST = 0.01  # amplitude over that of the line looked at


def skirts(
    stretch: Stretch, crowd: Crowd, own: NDArray[np.bool_], hz: Reals, amplitude: Reals
) -> tuple[Reals, Reals]:
    """Return the leak and the push of skirts on lines at `hz`, as `Pressure` has them in all.

    `own` (lines, crowd) marks a line as itself; `amplitude` is what is to be expected of each.
    They are of the neighbour that does most, 0 where no mirror image lies free.
    """
    place = hz[:, None]
    low, high = np.broadcast_to(crowd.low_hz, own.shape), np.broadcast_to(crowd.high_hz, own.shape)
    away = np.maximum(low - place, place - high) / stretch.bin_hz
    loud = ~own & (crowd.amplitude > _FAINTEST * amplitude[:, None])
    lines, rivals = np.nonzero(loud & (away < _FARTHEST_BINS))
    mirror_hz = low[lines, rivals] + high[lines, rivals] - hz[lines]
    inside = (mirror_hz > 0.0) & (mirror_hz < stretch.rate / 2.0)
    lines, rivals, mirror_hz = lines[inside], rivals[inside], mirror_hz[inside]
    leak, push = np.zeros(len(hz)), np.zeros(len(hz))
    for line in np.unique(lines):
        mirrors = mirror_hz[lines == line]
        reach_hz = MAIN_LOBE_BINS * stretch.bin_hz
        heard = loud[line] | own[line]
        heard_low, heard_high = low[line, heard] - reach_hz, high[line, heard] + reach_hz
        taken = (mirrors[:, None] > heard_low) & (mirrors[:, None] < heard_high)
        free = mirrors[~taken.any(axis=1)]
        if len(free):
            leaks, pushes = stretch.seen_at(free)
            leak[line], push[line] = leaks.max(), pushes.max()
    return leak, push
