"""The form of a cell for slow bends against sines in float64, and its error bound."""

import numba
import numpy as np
import pytest
from numpy.typing import NDArray

from meantide.voice import compiled_bending, compiled_cells
from meantide.voice.compiled_bending import FIRST, SECOND
from meantide.voice.compiled_cells import BASIS_ROWS, MIDDLE, ROW, STEP, TO_MIDDLE, WORK_ROWS
from meantide.voice.kernel import CELL

Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]
bending_errors, write_middles = compiled_bending.bending_errors, compiled_bending.write_middles
write_bent_runs, write_basis = compiled_bending.write_bent_runs, compiled_cells.write_basis
sum_bent_runs, sum_runs = compiled_bending.sum_bent_runs, compiled_cells.sum_runs


@numba.njit(error_model="numpy")
def bent_cell(
    second_order: bool, increments: Doubles, ending: Doubles, phases: Doubles, amplitudes: Singles,
    next_amplitudes: Singles, basis: Singles, work: Singles, middles: Doubles, cell: Singles,
) -> float:  # fmt: skip
    first, second, _ = bending_errors(increments, ending, amplitudes, next_amplitudes, work)
    write_middles(increments, ending, middles)
    write_basis(middles, basis)
    if second_order:
        write_bent_runs(SECOND, increments, ending, phases, basis, work)
        sum_bent_runs(len(increments), basis, work, cell)
    else:
        write_bent_runs(FIRST, increments, ending, phases, basis, work)
        sum_runs(len(increments), basis, work, cell)
    return float(second if second_order else first)


def made(
    second_order: bool, w0: float, w1: float, phase: float, start: float, goal: float
) -> tuple[Doubles, float]:
    """Return a cell of one partial, and how far it says it may be off."""
    work = np.zeros(WORK_ROWS * ROW, np.float32)
    work[STEP * ROW] = step = (goal - start) / CELL
    work[MIDDLE * ROW] = start + step * TO_MIDDLE
    cell = np.zeros(CELL, np.float32)
    error = bent_cell(
        second_order, np.array([w0]), np.array([w1]), np.array([phase]),
        np.array([start], np.float32), np.array([goal], np.float32),
        np.zeros(BASIS_ROWS * ROW, np.float32), work, np.zeros(1), cell,
    )  # fmt: skip
    return cell.astype(np.float64), error


def plain(w0: float, w1: float, phase: float, start: float, goal: float) -> Doubles:
    b = np.arange(CELL)
    turns = phase + w0 * b + (w1 - w0) * b * b / (2 * CELL)
    return (start + (goal - start) * b / CELL) * np.sin(2 * np.pi * turns)


@pytest.mark.parametrize("bend", [0.0, 1e-7, 1e-5, 1e-4, 3e-4, 1e-3, 1e-2, 3e-2])
@pytest.mark.parametrize("second_order", [False, True])
@pytest.mark.parametrize(("start", "goal"), [(1.0, 1.0), (0.0, 1.0), (1.0, 0.25)])
def test_what_is_left_out_is_within_its_bound_and_near_it(
    bend: float, start: float, goal: float, second_order: bool
) -> None:
    random = np.random.default_rng(1)
    worst, bound = 0.0, 0.0
    for _ in range(400):
        w0, phase = random.uniform(0.0, 0.5), random.uniform(-0.5, 0.5)
        w1 = w0 + bend * random.choice([-1.0, 1.0])
        cell, bound = made(second_order, w0, w1, phase, start, goal)
        worst = max(worst, float(np.abs(cell - plain(w0, w1, phase, start, goal)).max()))
    slack = 1e-6  # float32: a few roundings of 2^-24 of the angles and the sines
    assert worst < bound + slack
    assert worst > bound / 3.0 - slack  # nor is it timid


def test_the_phase_goes_on_exactly() -> None:
    phases = np.array([0.2])
    work = np.zeros(WORK_ROWS * ROW, np.float32)
    one = np.ones(1, np.float32)
    cell = np.zeros(CELL, np.float32)
    basis = np.zeros(BASIS_ROWS * ROW, np.float32)
    bent_cell(
        True, np.array([0.1]), np.array([0.1001]), phases, one, one, basis, work, np.zeros(1), cell
    )
    exact = 0.2 + CELL * 0.10005
    assert phases[0] == pytest.approx(exact - round(exact), abs=1e-12)
