"""Kepler's equation against mpmath, and the compiled solution against numpy's."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from meantide.voice.kepler import eccentric_anomaly, fed_back_sine

Floats = NDArray[np.float64]
ECCENTRICITIES = [0.0, 1e-9, 0.1, 0.5, 0.9, 0.99, 0.999999, 1.0 - 1e-12, 1.0]
MEANS = np.concatenate([[0.0, 3.0, 3.1415, math.pi], np.geomspace(1e-18, math.pi, 60)])


def exact(mean: float, e: float) -> mpmath.mpf:
    """Return E of E - e·sin E = M to thirty digits, by halving where it must lie."""
    with mpmath.workdps(40):
        m, e = mpmath.mpf(mean), mpmath.mpf(e)
        low, high = m, m + e
        for _ in range(130):
            middle = (low + high) / 2
            if middle - e * mpmath.sin(middle) < m:
                low = middle
            else:
                high = middle
        return low


@pytest.mark.parametrize("e", ECCENTRICITIES)
def test_the_anomaly_is_exact_to_1e_12(e: float) -> None:
    """All the way down to where β = 1 leaves no slope: there it goes as the cube root of 6 M."""
    found = eccentric_anomaly(MEANS, e)
    for mean, anomaly in zip(MEANS.tolist(), found.tolist(), strict=True):
        assert abs(anomaly - exact(mean, e)) < 1e-12


@given(st.floats(-4.0, 4.0), st.floats(-1.0, 1.0))
def test_the_sine_solves_its_own_equation(cycles: float, beta: float) -> None:
    y = float(fed_back_sine(np.array([cycles]), beta)[0])
    assert abs(y - math.sin(2 * math.pi * cycles + beta * y)) < 1e-12
    assert abs(y) <= 1.0


def test_it_is_odd_and_goes_through_nothing() -> None:
    cycles = np.array([0.0, 0.5, 0.1, -0.1])
    for beta in (-1.0, -0.4, 0.7, 1.0):
        y = fed_back_sine(cycles, beta)
        assert np.abs(y[:2]).max() < 1e-12
        assert y[2] == -y[3]


def test_compiled_it_is_the_same() -> None:
    from meantide.voice import compiled_kepler, compiled_sines
    from meantide.voice.compiling import compiled

    @compiled
    def solve(cycles: Floats, betas: Floats, out: Floats) -> None:
        for k in range(len(cycles)):
            out[k] = compiled_kepler.fed_back_sine(cycles[k], betas[k], True)

    @compiled
    def solve_nearly(cycles: Floats, betas: Floats, out: Floats) -> None:
        for k in range(len(cycles)):
            out[k] = compiled_kepler.fed_back_sine(cycles[k], betas[k], False)

    @compiled
    def plain(cycles: Floats, out: Floats) -> None:
        for k in range(len(cycles)):
            out[k] = compiled_kepler.precise_sine(compiled_sines.reduced(cycles[k]))

    near = np.geomspace(1e-18, 0.5, 300)
    cycles = np.concatenate([np.linspace(-3.0, 3.0, 2_001), near, -near])
    out = np.zeros_like(cycles)
    for beta in (-1.0, -0.99, -0.3, 0.0, 0.5, 0.999, 1.0):
        solve(cycles, np.full_like(cycles, beta), out)
        assert np.abs(out - fed_back_sine(cycles, beta)).max() < 1e-12
        solve_nearly(cycles, np.full_like(cycles, beta), out)
        assert np.abs(out - fed_back_sine(cycles, beta)).max() < 4e-9
    plain(cycles, out)
    assert np.abs(out - np.sin(2 * math.pi * (cycles - np.rint(cycles)))).max() < 1e-13
