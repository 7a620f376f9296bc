"""The samples of a cell whose frequencies bend slowly, compiled: not much dearer than a steady one.

The frequency of a partial runs straight through the cell, by α a sample, and is ω0 in its middle.
In the middle of a run (see `compiled_cells.py`), D samples from there, it is ω0 + δ with δ = αD,
and the phase θ is θ0 + ω0·D + αD²/2. l samples from there the phase is θ + ω0·l + φ, with
φ = δl + αl²/2.
To second order in l,

    (g + d·l) · exp(iφ) = g + (d + iδg)·l + (ih - m)·l²,     h = gα/2 + δd,  m = gδ²/2,

and so the even and odd parts of a steady cell become

    even = (g sin θ + (h cos θ - m sin θ)·l²) · cos ω0·l + (d cos θ - δg sin θ) · l sin ω0·l,
    odd  = (g cos θ - (h sin θ + m cos θ)·l²) · sin ω0·l + (d sin θ + δg cos θ) · l cos ω0·l.

What is left out is largest at the ends of the cell, |D| = 28 and |l| = 7/2: of g, δαl³/2 = 600 α²,
(δl)³/6 = 157,000 α³ and α²l⁴/8 = 19 α²; of d, αl³/2 = 21 α.

Where that is as good, l² is left out too, and the sums are those of a steady cell. Then αl²/2 is up
to 3.1 α off its middle, which is put into θ; ml² is 4,800 α², and δd·l² is 343 αd. `bending_errors`
bounds what either leaves out.
"""

import numpy as np

from meantide.voice.compiled_cells import (
    ACROSS,
    ALPHA,
    BENT_COS,
    BENT_SIN,
    COS,
    HALF_RUN,
    MIDDLE,
    OF_RUN,
    ROW,
    RUNS,
    SIN,
    STEP,
    TO_MIDDLE,
    WITHIN,
    ZERO,
)
from meantide.voice.compiled_sines import ONE, TURN, cosine, reduced, sine
from meantide.voice.compiling import Single, inlined
from meantide.voice.kernel import CELL, F32, F64

FIRST, SECOND = 4, 6
"""Rows of the work a run: what stands before cos, sin, l cos and l sin of ω0·l, and before l²."""
MEAN_SQUARE = np.float32(0.5 * (0.5**2 + 3.5**2))
"""The middle of all l²."""
BY_ALPHA, BY_SQUARE_AT_FIRST, BY_CHANGE_AT_FIRST = (np.float32(c) for c in (3.1, 5_000.0, 5.5))
BY_SQUARE, BY_SIXTH_POWER = np.float32(1_000.0), np.float32(5.1e12)
"""Of α² and α⁶, a bound of what is left out of g: the latter takes in the short sines below."""
BY_CHANGE = np.float32(0.34)
"""Of α, the same for d, which is a cell's change of amplitude / CELL."""
HALF, SIXTH = np.float32(1.0 / 2.0), np.float32(1.0 / 6.0)
TWENTY_FOURTH, HUNDRED_AND_TWENTIETH = np.float32(1.0 / 24.0), np.float32(1.0 / 120.0)


@inlined
def bending_errors(
    increments: F64, next_increments: F64, amplitudes: F32, next_amplitudes: F32, work: F32
) -> tuple[Single, Single, Single]:
    """Write α of the next cell; return how far from the truth it may be without l², and with it.

    The third is the sum of the amplitudes.
    """
    first, second, whole = ZERO, ZERO, ZERO
    for k in range(len(increments)):
        alpha = np.float32(next_increments[k] - increments[k]) * (TURN / np.float32(CELL))
        start, goal = amplitudes[k], next_amplitudes[k]
        work[ALPHA * ROW + k] = alpha
        square = alpha * alpha
        of_gain = square * (BY_SQUARE + BY_SIXTH_POWER * square * square)
        most, change = max(start, goal), abs(goal - start) * abs(alpha)
        second += most * of_gain + change * BY_CHANGE
        of_gain = abs(alpha) * (BY_ALPHA + BY_SQUARE_AT_FIRST * abs(alpha))
        first += most * of_gain + change * BY_CHANGE_AT_FIRST
        whole += most
    return first, second, whole


@inlined
def write_middles(increments: F64, next_increments: F64, middles: F64) -> None:
    """Write the increments in the middle of the cell: those of its basis."""
    for k in range(len(increments)):
        change = next_increments[k] - increments[k]
        middles[k] = increments[k] + change * (TO_MIDDLE / CELL)


@inlined
def write_bent_runs(
    rows: int, increments: F64, next_increments: F64, phases: F64, basis: F32, work: F32
) -> None:
    """Write what is true of each run of a bending cell, and move the phases on.

    `rows`, a constant, is FIRST or SECOND.
    """
    middle_turn = HALF * MEAN_SQUARE if rows == FIRST else ZERO
    count = len(increments)
    for k in range(count):
        phase, w = phases[k], increments[k]
        change = next_increments[k] - w
        to_middle = (w + change * (TO_MIDDLE / (2 * CELL))) * TO_MIDDLE
        work[COS * ROW + k] = np.float32(reduced(phase + to_middle))
        phases[k] = reduced(phase + (w + 0.5 * change) * CELL)
    for k in range(count):
        angle = work[COS * ROW + k]
        work[COS * ROW + k] = cosine(angle)
        work[SIN * ROW + k] = sine(angle)
    for pair in range(RUNS // 2):  # of runs as far after the middle as before it
        distance = np.float32((2 * pair + 1) * HALF_RUN)
        for k in range(count):
            x = work[ALPHA * ROW + k] * (HALF * distance * distance + middle_turn)  # of both
            z = x * x
            sin_by = x * (ONE - z * (SIXTH - z * HUNDRED_AND_TWENTIETH))
            cos_by = ONE - z * (HALF - z * TWENTY_FOURTH)
            sin, cos = work[SIN * ROW + k], work[COS * ROW + k]
            work[BENT_SIN * ROW + k] = sin * cos_by + cos * sin_by
            work[BENT_COS * ROW + k] = cos * cos_by - sin * sin_by
        across = (ACROSS + 2 * pair) * ROW
        write_bent_run(rows, RUNS // 2 + pair, distance, ONE, across, count, basis, work)
        mirrored = (RUNS // 2 - 1 - pair) & (RUNS // 2 - 1)  # & says: not negative
        write_bent_run(rows, mirrored, -distance, -ONE, across, count, basis, work)


@inlined
def write_bent_run(
    rows: int,
    run: int,
    distance: Single,
    sign: Single,
    across: int,
    count: int,
    basis: F32,
    work: F32,
) -> None:
    """Write what is true of a run whose middle is `distance` samples after the cell's.

    By itself: a loop that writes more rows does not become vectors.
    """
    of_run = (OF_RUN + rows * run) * ROW
    for k in range(count):
        cos_by, sin_by = basis[across + k], sign * basis[across + ROW + k]
        sin_0, cos_0 = work[BENT_SIN * ROW + k], work[BENT_COS * ROW + k]
        sin, cos = sin_0 * cos_by + cos_0 * sin_by, cos_0 * cos_by - sin_0 * sin_by
        alpha, step = work[ALPHA * ROW + k], work[STEP * ROW + k]
        gain, delta = work[MIDDLE * ROW + k] + distance * step, alpha * distance
        bend = gain * delta
        h, m = HALF * gain * alpha + delta * step, HALF * bend * delta
        work[of_run + k] = gain * sin
        work[of_run + ROW + k] = gain * cos
        work[of_run + 2 * ROW + k] = step * sin + bend * cos
        work[of_run + 3 * ROW + k] = step * cos - bend * sin
        if rows == SECOND:
            work[of_run + 4 * ROW + k] = h * cos - m * sin
            work[of_run + 5 * ROW + k] = h * sin + m * cos


@inlined
def sum_bent_runs(count: int, basis: F32, work: F32, cell: F32) -> None:
    """Sum the partials of a bending cell, as `sum_runs` does those of a steady one."""
    within = WITHIN * ROW
    square_0, square_1 = np.float32(0.25), np.float32(2.25)
    square_2, square_3 = np.float32(6.25), np.float32(12.25)
    for run in range(RUNS):
        of_run = (OF_RUN + SECOND * run) * ROW
        even_0 = even_1 = even_2 = even_3 = ZERO
        odd_0 = odd_1 = odd_2 = odd_3 = ZERO
        for k in range(count):
            g_sin, g_cos = work[of_run + k], work[of_run + ROW + k]
            d_sin, d_cos = work[of_run + 2 * ROW + k], work[of_run + 3 * ROW + k]
            even, odd = work[of_run + 4 * ROW + k], work[of_run + 5 * ROW + k]
            i = within + k
            even_0 += (g_sin + square_0 * even) * basis[i] + d_cos * basis[i + 3 * ROW]
            odd_0 += (g_cos - square_0 * odd) * basis[i + ROW] + d_sin * basis[i + 2 * ROW]
            even_1 += (g_sin + square_1 * even) * basis[i + 4 * ROW] + d_cos * basis[i + 7 * ROW]
            odd_1 += (g_cos - square_1 * odd) * basis[i + 5 * ROW] + d_sin * basis[i + 6 * ROW]
            even_2 += (g_sin + square_2 * even) * basis[i + 8 * ROW] + d_cos * basis[i + 11 * ROW]
            odd_2 += (g_cos - square_2 * odd) * basis[i + 9 * ROW] + d_sin * basis[i + 10 * ROW]
            even_3 += (g_sin + square_3 * even) * basis[i + 12 * ROW] + d_cos * basis[i + 15 * ROW]
            odd_3 += (g_cos - square_3 * odd) * basis[i + 13 * ROW] + d_sin * basis[i + 14 * ROW]
        first = 2 * HALF_RUN * run
        cell[first], cell[first + 7] = even_3 - odd_3, even_3 + odd_3
        cell[first + 1], cell[first + 6] = even_2 - odd_2, even_2 + odd_2
        cell[first + 2], cell[first + 5] = even_1 - odd_1, even_1 + odd_1
        cell[first + 3], cell[first + 4] = even_0 - odd_0, even_0 + odd_0
