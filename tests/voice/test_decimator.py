"""The decimator by its frequency response, which scipy computes."""

import numpy as np
import pytest
from scipy import signal

from meantide.voice.decimator import DELAY, FACTORS, REACH, decimated, taps

OVERSAMPLED = [factor for factor in FACTORS if factor > 1]


@pytest.mark.parametrize("factor", OVERSAMPLED)
def test_it_passes_to_18_khz_of_48_and_stops_from_24(factor: int) -> None:
    places, response = signal.freqz(taps(factor), worN=1 << 16, fs=48_000 * factor)
    level_db = 20 * np.log10(np.maximum(np.abs(response), 1e-12))
    assert np.abs(level_db[places <= 18_000]).max() < 0.01
    assert level_db[places >= 24_000].max() < -90.0


@pytest.mark.parametrize("factor", OVERSAMPLED)
def test_it_is_symmetric_and_late_by_whole_samples(factor: int) -> None:
    coefficients = taps(factor)
    assert len(coefficients) == 2 * DELAY * factor + 1
    assert np.array_equal(coefficients, coefficients[::-1])


@pytest.mark.parametrize("factor", OVERSAMPLED)
def test_phase_by_phase_it_is_the_convolution(factor: int) -> None:
    """Numpy's own convolution, of which every `factor`th sample is taken."""
    random = np.random.default_rng(factor)
    samples = random.standard_normal((REACH + 200, factor))
    expected = np.convolve(samples.ravel(), taps(factor))[::factor][REACH : REACH + 200]
    phases = np.ascontiguousarray(samples.T.astype(np.float32))
    # float32: some hundred products of numbers near 1 and coefficients whose squares add up to 1
    assert np.abs(decimated(phases, factor) - expected).max() < 3e-6
