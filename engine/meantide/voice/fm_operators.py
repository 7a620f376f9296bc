"""The sound of operators that move each other, in plain numpy and float64."""

import math
from collections.abc import Sequence

import numpy as np

from meantide.voice.fm_points import path_place
from meantide.voice.kepler import fed_back_sine, reduced
from meantide.voice.kernel import F32, F64

TURN = 2.0 * math.pi


MOST_ERRORS = 12.0
"""A float32 sine is exact to 2e-7: so many times that is 112 dB down, and enough."""
Numbers = F64 | Sequence[F64]
"""For each operator or path a row: a number for every sample, or one for all."""


def sum_of_operators(
    cycles: F64, heard: Numbers, feedback: Numbers, indices: Numbers, single: bool = False
) -> F64:
    """Return the sum (samples,) of the operators whose own phases are `cycles` (count, samples).

    `heard` and `feedback` are those of operators, `indices` (radians) of paths by `path_place`.
    `single`: sines that are not fed back are those of float32, a twentieth of the work.
    """
    total = np.zeros(cycles.shape[1])
    sounds: list[F32 | F64] = []
    sound: F32 | F64
    for target, own in enumerate(cycles):
        angles = own
        for source, sound in enumerate(sounds):
            index = indices[path_place(source, target)]
            if index.any():
                angles = angles + index * sound * (1.0 / TURN)
        if feedback[target].any():
            sound = fed_back_sine(angles, feedback[target])
        elif single:
            sound = np.sin((TURN * reduced(angles)).astype(np.float32))
        else:
            sound = np.sin(TURN * reduced(angles))
        sounds.append(sound)
        if heard[target].any():
            total += heard[target] * sound
    return total


def errors_of(count: int, indices: Sequence[float]) -> float:
    """Return how many times an error of one sine counts at most in the sound of any operator.

    Each passes on its own and, times the index, those of the operators that move it.
    """
    errors: list[float] = []
    for target in range(count):
        moved = (indices[path_place(source, target)] * errors[source] for source in range(target))
        errors.append(1.0 + sum(moved))
    return max(errors)
