"""The numpy kernel's cells against the plain sum in float64, one sine a partial a sample."""

import numpy as np
import pytest
from numpy.typing import NDArray

from meantide.voice.kernel import CELL
from meantide.voice.matrix_cells import MatrixCells

CASES = [(1, 1, 16), (3, 5, 16), (2, 16, 32), (1, 128, 256), (7, 2, 64)]


def plain_sum(phases: NDArray[np.float64], amplitudes: NDArray[np.float32]) -> NDArray[np.float64]:
    """Sum sines of `phases` (..., K, CELL) in cycles; `amplitudes` (..., 2, K) at either end."""
    share = np.arange(CELL) / CELL
    first, last = (
        amplitudes.astype(float)[..., 0, :, None],
        amplitudes.astype(float)[..., 1, :, None],
    )
    gain = first + (last - first) * share
    return (gain * np.sin(2 * np.pi * phases)).sum(axis=-2)


@pytest.mark.parametrize(("n", "cells", "count"), CASES)
def test_steady_cells_are_the_sum_of_their_sines(n: int, cells: int, count: int) -> None:
    random = np.random.default_rng(n * 1000 + cells)
    kernel = MatrixCells()
    increments = random.uniform(0.0, 0.5, (n, count))
    starts = random.uniform(0.0, 1e9, (n, count))  # a phase that has run for months
    phases = starts[:, None] + increments[:, None] * CELL * np.arange(cells)[:, None]
    amplitudes = random.uniform(0.0, 1.0, (n, cells + 1, count)).astype(np.float32)
    basis = np.zeros((n, 2 * count, CELL), np.float32)
    kernel.write_basis(increments, basis)
    out = np.zeros((n, cells, CELL), np.float32)
    kernel.steady(phases, amplitudes, basis, out)
    grid = phases[..., None] + increments[:, None, :, None] * np.arange(CELL)
    ends = np.stack([amplitudes[:, :-1], amplitudes[:, 1:]], axis=2)
    # float32 carries a partial to about 2e-7; a sum of K of them grows like its square root
    assert np.abs(out - plain_sum(grid, ends)).max() < 1e-6 * np.sqrt(count)


@pytest.mark.parametrize(("n", "count"), [(1, 16), (5, 32), (8, 256)])
def test_moving_cells_are_the_sum_of_their_sines(n: int, count: int) -> None:
    random = np.random.default_rng(n)
    phases = random.uniform(0.0, 1.0, (n, count))
    begun, ending = random.uniform(0.0, 0.5, (2, n, count))
    amplitudes = random.uniform(0.0, 1.0, (n, 2, count)).astype(np.float32)
    out = np.zeros((n, CELL), np.float32)
    MatrixCells().moving(phases, begun, ending, amplitudes, out)
    along = np.linspace(0.0, 1.0, CELL + 1)  # the area under the straight line, in trapezia
    increments = begun[..., None] + (ending - begun)[..., None] * along
    areas = (increments[..., :-1] + increments[..., 1:]) / 2.0
    grid = phases[..., None] + np.cumsum(areas, axis=-1) - areas
    assert np.abs(out - plain_sum(grid, amplitudes)).max() < 1e-6 * np.sqrt(count)
