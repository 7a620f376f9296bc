"""The samples of a cell, compiled: the arithmetic of the compiled kernel.

A steady cell is eight runs of eight samples, b = 8v + 7/2 + l with l = ±1/2 .. ±7/2. With the phase
θ and the amplitude g of a partial in the middle of run v, ω and d their change a sample,

    (g + d·l) · sin(θ + ωl) = even + odd,    (g - d·l) · sin(θ - ωl) = even - odd,
    even = g sin θ · cos ωl + d cos θ · l sin ωl,
    odd  = g cos θ · sin ωl + d sin θ · l cos ωl,

so two samples of a note are two sums over its partials, of products of what is true of a run (the
work) and what is true of the note (its basis): four multiplications a partial for two samples, and
nothing carried from one sample to the next. The runs' phases are reached from the middle of the
cell in the same way. Every angle is reduced in float64 before it becomes float32, and each cell
starts anew from the float64 phase. The basis is made again in each call: that costs less than to
fetch it.
"""

import numpy as np

from meantide.voice.compiled_sines import cosine, reduced, sine
from meantide.voice.compiling import inlined
from meantide.voice.description import MOST_PARTIALS
from meantide.voice.kernel import CELL, F32, F64

RUNS, HALF_RUN = 8, 4
"""Runs in a cell; samples in half a run."""
ROW = MOST_PARTIALS + 16
"""Numbers in a row of scratch: a power of two would put all rows on the same lines of the cache."""

# Rows of the basis: what is true of a note as long as its frequency stays.
STEP_COS, STEP_SIN = 0, 1  # of ω
RUN_STEP_COS, RUN_STEP_SIN = 2, 3  # of 8ω
WITHIN = 4  # for each of 4 l: cos ωl, sin ωl, l cos ωl, l sin ωl
ACROSS = WITHIN + 4 * HALF_RUN  # for each of 4 distances from a cell's middle to a run's: cos, sin
BASIS_ROWS = ACROSS + 2 * RUNS // 2

# Rows of the work: what is true of a cell.
MIDDLE, GOAL, STEP, SIN, COS = 0, 1, 2, 3, 4
ALPHA, BENT_SIN, BENT_COS = 5, 6, 7  # of a bending cell
OF_RUN = 8  # for each run: g sin θ, g cos θ, d sin θ, d cos θ; two more if it bends
WORK_ROWS = OF_RUN + 6 * RUNS

ZERO = np.float32(0.0)
TO_MIDDLE = (CELL - 1) / 2.0
"""Samples from a cell's first to its middle."""


@inlined
def sum_moving(increments: F64, next_increments: F64, phases: F64, work: F32, cell: F32) -> None:
    """Sum partials whose increments run straight to others, and move the phases on."""
    cell[:] = ZERO
    for k in range(len(increments)):
        phase, begun, change = phases[k], increments[k], next_increments[k] - increments[k]
        middle, step = work[MIDDLE * ROW + k], work[STEP * ROW + k]
        if middle != ZERO or step != ZERO:
            bend = change / (2 * CELL)
            for b in range(CELL):
                angle = np.float32(reduced(phase + (begun + bend * b) * b))
                cell[b] += (middle + step * np.float32(b - TO_MIDDLE)) * sine(angle)
        phases[k] = reduced(phase + (begun + 0.5 * change) * CELL)


@inlined
def write_basis(increments: F64, basis: F32) -> None:
    """Write what is true of a note of these frequencies: the turns within a run and to a run."""
    count = len(increments)
    within, across = WITHIN * ROW, ACROSS * ROW
    for k in range(count):
        w = increments[k]
        basis[within + k] = np.float32(reduced(0.5 * w))
        basis[across + k] = np.float32(reduced(HALF_RUN * w))
        basis[STEP_COS * ROW + k] = np.float32(reduced(w))
        basis[RUN_STEP_COS * ROW + k] = np.float32(reduced(2 * HALF_RUN * w))
    for first in (within, across, STEP_COS * ROW, RUN_STEP_COS * ROW):
        for k in range(count):
            angle = basis[first + k]
            basis[first + k] = cosine(angle)
            basis[first + ROW + k] = sine(angle)
    for step in range(HALF_RUN - 1):
        turn(basis, within + 4 * step * ROW, 4 * ROW, STEP_COS * ROW, count)
    for step in range(RUNS // 2 - 1):
        turn(basis, across + 2 * step * ROW, 2 * ROW, RUN_STEP_COS * ROW, count)
    for step in range(HALF_RUN):
        distance = np.float32(step + 0.5)
        first = within + 4 * step * ROW
        for k in range(count):
            basis[first + 2 * ROW + k] = distance * basis[first + k]
            basis[first + 3 * ROW + k] = distance * basis[first + ROW + k]


@inlined
def turn(basis: F32, start: int, ahead: int, by: int, count: int) -> None:
    """Write `ahead` of the rows at `start`, which are cos and sin, those of the angle turned."""
    for k in range(count):
        cos, sin = basis[start + k], basis[start + ROW + k]
        cos_by, sin_by = basis[by + k], basis[by + ROW + k]
        basis[start + ahead + k] = cos * cos_by - sin * sin_by
        basis[start + ahead + ROW + k] = sin * cos_by + cos * sin_by


@inlined
def write_runs(increments: F64, phases: F64, basis: F32, work: F32) -> None:
    """Write what is true of each run of a steady cell, and move the phases on."""
    count = len(increments)
    for k in range(count):
        phase, w = phases[k], increments[k]
        work[COS * ROW + k] = np.float32(reduced(phase + w * TO_MIDDLE))
        phases[k] = reduced(phase + w * CELL)
    for k in range(count):
        angle = work[COS * ROW + k]
        work[COS * ROW + k] = cosine(angle)
        work[SIN * ROW + k] = sine(angle)
    for pair in range(RUNS // 2):  # of runs as far after the middle as before it
        distance = np.float32((2 * pair + 1) * HALF_RUN)
        across = (ACROSS + 2 * pair) * ROW
        after = (OF_RUN + 4 * (RUNS // 2 + pair)) * ROW
        before = (OF_RUN + 4 * (RUNS // 2 - 1 - pair)) * ROW
        for k in range(count):
            sin, cos = work[SIN * ROW + k], work[COS * ROW + k]
            middle, step = work[MIDDLE * ROW + k], work[STEP * ROW + k]
            cos_by, sin_by = basis[across + k], basis[across + ROW + k]
            gain = middle + distance * step
            turned_sin, turned_cos = sin * cos_by + cos * sin_by, cos * cos_by - sin * sin_by
            work[after + k] = gain * turned_sin
            work[after + ROW + k] = gain * turned_cos
            work[after + 2 * ROW + k] = step * turned_sin
            work[after + 3 * ROW + k] = step * turned_cos
            gain = middle - distance * step
            turned_sin, turned_cos = sin * cos_by - cos * sin_by, cos * cos_by + sin * sin_by
            work[before + k] = gain * turned_sin
            work[before + ROW + k] = gain * turned_cos
            work[before + 2 * ROW + k] = step * turned_sin
            work[before + 3 * ROW + k] = step * turned_cos


@inlined
def sum_runs(count: int, basis: F32, work: F32, cell: F32) -> None:
    """Sum the partials of a steady cell, two samples of a run at a time: here the time goes.

    The eight sums of a run stay in vector registers while its partials pass.
    """
    within = WITHIN * ROW
    for run in range(RUNS):
        of_run = (OF_RUN + 4 * run) * ROW
        even_0 = even_1 = even_2 = even_3 = ZERO
        odd_0 = odd_1 = odd_2 = odd_3 = ZERO
        for k in range(count):
            g_sin, g_cos = work[of_run + k], work[of_run + ROW + k]
            d_sin, d_cos = work[of_run + 2 * ROW + k], work[of_run + 3 * ROW + k]
            i = within + k
            even_0 += g_sin * basis[i] + d_cos * basis[i + 3 * ROW]
            odd_0 += g_cos * basis[i + ROW] + d_sin * basis[i + 2 * ROW]
            even_1 += g_sin * basis[i + 4 * ROW] + d_cos * basis[i + 7 * ROW]
            odd_1 += g_cos * basis[i + 5 * ROW] + d_sin * basis[i + 6 * ROW]
            even_2 += g_sin * basis[i + 8 * ROW] + d_cos * basis[i + 11 * ROW]
            odd_2 += g_cos * basis[i + 9 * ROW] + d_sin * basis[i + 10 * ROW]
            even_3 += g_sin * basis[i + 12 * ROW] + d_cos * basis[i + 15 * ROW]
            odd_3 += g_cos * basis[i + 13 * ROW] + d_sin * basis[i + 14 * ROW]
        first = 2 * HALF_RUN * run
        cell[first], cell[first + 7] = even_3 - odd_3, even_3 + odd_3
        cell[first + 1], cell[first + 6] = even_2 - odd_2, even_2 + odd_2
        cell[first + 2], cell[first + 5] = even_1 - odd_1, even_1 + odd_1
        cell[first + 3], cell[first + 4] = even_0 - odd_0, even_0 + odd_0
