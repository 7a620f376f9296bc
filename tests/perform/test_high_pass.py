"""The high-pass against scipy's own design and filter, in float64."""

import numpy as np
import pytest
from scipy import signal

from feeding import RATE, both, changed, in_db, sine
from meantide.perform.high_pass import CORNER_HZ, HighPass
from meantide.voice.kernels import KERNELS

forms = pytest.mark.parametrize("form", KERNELS)
EXACT = 2e-7
"""A float32's rounding at full scale, and a little."""


@forms
@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 192_000])
def test_it_is_the_butterworth_filter_that_scipy_makes(form: str, rate: int) -> None:
    sections = signal.butter(2, CORNER_HZ, "highpass", fs=rate, output="sos")
    sound = np.random.default_rng(1).uniform(-0.5, 0.5, (2, 5000)).astype(np.float32)
    expected = signal.sosfilt(sections, sound.astype(np.float64))
    high_pass = HighPass(rate, 250, form)
    assert np.abs(changed(high_pass.apply, sound, 250) - expected).max() < EXACT


@forms
def test_its_response_is_the_one_it_states(form: str) -> None:
    impulse = np.zeros((2, 4 * RATE), np.float32)
    impulse[:, 0] = 1.0
    response = np.abs(np.fft.rfft(changed(HighPass(RATE, 256, form).apply, impulse)[0]))
    for hz in (5.0, 10.0, 20.0, 27.5, 440.0):
        expected = -10.0 * np.log10(1.0 + (CORNER_HZ / hz) ** 4)
        # each of 192,000 samples is rounded to float32, and the bilinear transform bends by 1e-6
        assert in_db(response[round(hz * 4)]) == pytest.approx(expected, abs=0.001)


@forms
def test_dc_goes_and_a_tone_stays_in_tune(form: str) -> None:
    tone = sine(440.0, -12.0, 3.0)
    made = changed(HighPass(RATE, 64, form).apply, tone + np.float32(0.25), 64)[0, 2 * RATE :]
    angle = 2 * np.pi * 440.0 * np.arange(RATE) / RATE
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(RATE)], axis=1)
    fit, *_ = np.linalg.lstsq(basis, made.astype(np.float64))
    assert in_db(abs(fit[2])) < -140.0
    assert in_db(np.hypot(*fit[:2])) == pytest.approx(-12.0, abs=1e-4)
    assert in_db(np.std(made - basis @ fit)) < -140.0  # nothing but that sine is left


@forms
def test_blocks_of_any_size_sound_the_same(form: str) -> None:
    sound = np.random.default_rng(2).uniform(-0.9, 0.9, (2, 2000)).astype(np.float32)
    whole = changed(HighPass(RATE, 2000, form).apply, sound, 2000)
    for block in (1, 7, 63, 65, 640):
        made = changed(HighPass(RATE, block, form).apply, sound, block)
        assert np.abs(made - whole).max() < EXACT


@forms
def test_after_the_sound_there_comes_true_silence(form: str) -> None:
    sound = both(np.zeros(4 * RATE))
    sound[:, :100] = 1.0
    made = changed(HighPass(RATE, 256, form).apply, sound)
    assert made[:, 100:].any()
    assert not made[:, -RATE:].any()
