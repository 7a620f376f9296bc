"""The polynomials against the sines and exponentials of the C library in float64."""

import numba
import numpy as np
import pytest
from numpy.typing import NDArray

from meantide.voice import compiled_sines

Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]


def over(name: str, arguments: Singles | Doubles) -> Doubles:
    """Return a function of `compiled_sines` of every argument, as compiled code calls it."""
    function = getattr(compiled_sines, name)

    @numba.njit(error_model="numpy")
    def fill(arguments: Singles | Doubles, out: Singles | Doubles) -> None:
        for i in range(len(arguments)):
            out[i] = function(arguments[i])

    out = np.empty_like(arguments)
    fill(arguments, out)
    return out.astype(np.float64)


@pytest.mark.parametrize(("name", "exact"), [("sine", np.sin), ("cosine", np.cos)])
def test_sines_are_exact_to_the_last_bits_of_float32(name: str, exact: np.ufunc) -> None:
    cycles = np.linspace(-0.5, 0.5, 100_001).astype(np.float32)
    wrong = over(name, cycles) - exact(2 * np.pi * cycles.astype(np.float64))
    # the angle in radians is rounded once, 2^-24 of up to π/2, and the sine a few times
    assert np.abs(wrong).max() < 2e-7


def test_angles_in_fixed_point_are_exact_to_the_last_bits_of_float32() -> None:
    phases = np.linspace(-(2**31), 2**31 - 1, 200_001).astype(np.int32)
    cycles = phases.astype(np.float64) / 2**32
    out = fixed_point_sines(phases)
    # the fit is wrong by 6e-9; products and sums in float32 by a few of their last bits
    assert np.abs(out - np.sin(2 * np.pi * cycles)).max() < 2e-7
    small = np.unique(np.geomspace(1, 2**28, 1_001).astype(np.int32))
    exact = np.sin(2 * np.pi * small.astype(np.float64) / 2**32)
    assert np.abs(fixed_point_sines(small) / exact - 1).max() < 3e-7


def fixed_point_sines(phases: NDArray[np.int32]) -> Doubles:
    @numba.njit
    def fill(phases: NDArray[np.int32], out: Singles) -> None:
        for i in range(len(phases)):
            out[i] = compiled_sines.sine_of_32_bits(phases[i])

    out = np.zeros(len(phases), np.float32)
    fill(phases, out)
    return out.astype(np.float64)


def test_small_angles_keep_their_digits() -> None:
    cycles = np.logspace(-12, -1, 1_001).astype(np.float32)
    exact = np.sin(2 * np.pi * cycles.astype(np.float64))
    assert np.abs(over("sine", cycles) / exact - 1).max() < 3e-7


def test_exponentials_fall_as_they_should() -> None:
    x = np.linspace(0.0, 79.0, 100_001).astype(np.float32)
    exact = np.exp(-x.astype(np.float64))
    # the multiple of ln 2 that is taken off x may be rounded to 2^-24 of x, where nothing fuses
    wrong = np.abs(over("fallen", x) - exact)
    assert (wrong < exact * (4e-7 + x * 2.0**-23)).all()
    assert over("fallen", np.zeros(1, np.float32)) == 1.0
    # beyond, it stays finite, positive and far below all that is heard
    beyond = over("fallen", np.array([90.0, 1e4, 1e30, np.inf], np.float32))
    assert ((beyond > 0.0) & (beyond < 1e-34)).all()


def test_what_decides_a_phase_is_exact_far_beyond_float32() -> None:
    cycles = np.linspace(-0.5, 0.5, 100_001)
    assert np.abs(over("exact_sine", cycles) - np.sin(2 * np.pi * cycles)).max() < 1e-11
    little, much = np.linspace(-0.06, 0.06, 100_001), np.linspace(-30.0, 30.0, 100_001)
    assert np.abs(over("grown_a_little", little) / np.exp(little) - 1).max() < 1e-12
    assert np.abs(over("grown", much) / np.exp(much) - 1).max() < 1e-11
    assert over("grown", np.zeros(1)) == over("grown_a_little", np.zeros(1)) == 1.0


def test_phases_lose_their_whole_turns_only() -> None:
    @numba.njit
    def fill(phases: NDArray[np.float64], out: NDArray[np.float64]) -> None:
        for i in range(len(phases)):
            out[i] = compiled_sines.reduced(phases[i])

    phases = np.array([0.0, 0.25, -0.25, 0.75, 1e9 + 0.125, -3.5])
    out = np.empty_like(phases)
    fill(phases, out)
    assert out.tolist() == [0.0, 0.25, -0.25, -0.25, 0.125, -0.5]
