"""True peak against the cases of EBU Tech 3341, exact sines and a C library."""

import math

import numpy as np
import pytest

from feeding import RATE, both, heard, in_db, sine
from meantide.perform.true_peak import ANNEX_2, TruePeak
from meantide.voice.kernels import KERNELS
from outside_meter import measured

forms = pytest.mark.parametrize("form", KERNELS)


def highest(sound: np.ndarray, form: str, block: int = 512) -> tuple[float, float]:
    """Return the highest sample peak and true peak of a sound, in dB."""
    readings = heard(TruePeak(block, form).read, sound, block)
    return tuple(in_db(max(column)) for column in zip(*readings, strict=True))


@pytest.mark.parametrize("frequency", [0.05, 0.125, 0.25, 0.35, 0.4])
def test_the_filter_of_annex_2_stands_at_odd_eighths_between_two_samples(frequency: float) -> None:
    # its coefficients are from memory: a slip in one would show in its gain or in its place
    turned = np.exp(2j * np.pi * frequency * (np.arange(12) - 5.5))
    for phase, place in zip(ANNEX_2, (0.375, 0.125, -0.125, -0.375), strict=True):
        response = (phase * turned).sum()
        assert abs(in_db(abs(response))) < 0.25  # what twelve taps can do, up to 0.4 of the rate
        assert np.angle(response) / (2 * np.pi * frequency) == pytest.approx(place, abs=0.05)


# EBU Tech 3341, table 1, cases 15 to 19; 17 and 18 and the tolerance from memory
@forms
@pytest.mark.parametrize(
    ("divisor", "degrees", "amplitude", "expected"),
    [(4, 0, 0.5, -6.0), (4, 45, 0.5, -6.0), (6, 60, 0.5, -6.0), (8, 67.5, 0.5, -6.0),
     (4, 45, 1.41, 3.0)],
)  # fmt: skip
def test_the_tones_of_tech_3341(
    form: str, divisor: int, degrees: float, amplitude: float, expected: float
) -> None:
    sound = sine(RATE / divisor, in_db(amplitude), 1.0, degrees=degrees)
    meter = TruePeak(RATE, form)
    meter.read(sound[:, :64])  # a tone that begins at once passes its own height there
    true_peak = in_db(meter.read(sound[:, 64:])[1])
    assert expected - 0.4 <= true_peak <= expected + 0.2


def test_a_sine_at_a_quarter_of_the_rate_hides_three_db_between_its_samples() -> None:
    peak, true_peak = highest(sine(RATE / 4, in_db(0.5), 1.0, degrees=45), KERNELS[0])
    assert peak == pytest.approx(in_db(0.5 * math.sin(math.pi / 4)), abs=1e-4)
    assert true_peak - peak > 2.6


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_it_reads_as_libebur128_reads(rate: int) -> None:
    random = np.random.default_rng(rate)
    time = np.arange(rate) / rate
    sound = both(
        sum(
            np.sin(2 * np.pi * hz * time + random.uniform(0, 6.3))
            for hz in random.uniform(50, 15_000, 12)
        )
        / 12
    )
    _, true_peak = highest(sound, KERNELS[0])
    # its 49 taps and the standard's 48 stand elsewhere between the samples; 0.22 dB is the ripple
    # of the latter, 0.17 dB what a peak may fall between two places a quarter of a sample apart
    assert true_peak == pytest.approx(max(measured(sound, rate).true_peaks), abs=0.4)


@forms
def test_blocks_of_any_size_read_the_same(form: str) -> None:
    sound = np.random.default_rng(5).uniform(-0.9, 0.9, (2, 3000)).astype(np.float32)
    whole = highest(sound, form, 3000)
    for block in (1, 7, 64, 333):
        # float32 products are summed in another order at a block's end
        assert highest(sound, form, block) == pytest.approx(whole, abs=1e-5)


@forms
def test_both_channels_count_and_the_sample_itself(form: str) -> None:
    for channel in range(2):
        sound = np.zeros((2, 64), np.float32)
        sound[channel, 20] = -1.0  # the filter's nearest tap is 0.972
        assert TruePeak(64, form).read(sound) == (1.0, 1.0)


@forms
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_what_is_not_finite_is_told_and_leaves_no_trace(form: str, bad: float) -> None:
    meter = TruePeak(64, form)
    block = np.full((2, 64), 0.25, np.float32)
    block[1, 3] = bad
    assert meter.read(block) == (math.inf, math.inf)
    assert meter.read(np.zeros((2, 64), np.float32)) == (0.0, 0.0)
