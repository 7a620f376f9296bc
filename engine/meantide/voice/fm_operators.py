"""The sound of operators that move each other, in plain numpy and float64."""

import math

import numpy as np

from meantide.voice.fm_points import path_place
from meantide.voice.kepler import fed_back_sine, reduced
from meantide.voice.kernel import F64

TURN = 2.0 * math.pi


def sum_of_operators(cycles: F64, heard: F64, feedback: F64, indices: F64) -> F64:
    """Return the sum (samples,) of the operators whose own phases are `cycles` (count, samples).

    `heard` and `feedback` (count, samples) or (count, 1), `indices` (MOST_PATHS, samples) or
    (MOST_PATHS, 1): radians, by `path_place`.
    """
    total = np.zeros(cycles.shape[1])
    sounds: list[F64] = []
    for target, own in enumerate(cycles):
        angles = own
        for source, sound in enumerate(sounds):
            index = indices[path_place(source, target)]
            if index.any():
                angles = angles + index * sound * (1.0 / TURN)
        if feedback[target].any():
            sound = fed_back_sine(angles, feedback[target])
        else:
            sound = np.sin(TURN * reduced(angles))
        sounds.append(sound)
        if heard[target].any():
            total += heard[target] * sound
    return total
