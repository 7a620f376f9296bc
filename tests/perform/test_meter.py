"""The meter: all its readings together, silence, faults and the reset."""

import numpy as np
import pytest

from feeding import RATE, heard, sine
from meantide.perform.meter import PEAK_WINDOW_S, Meter
from meantide.perform.true_peak import LOWEST_DB
from meantide.voice.kernels import KERNELS
from outside_meter import measured

forms = pytest.mark.parametrize("form", KERNELS)
READINGS = ("momentary_lufs", "short_term_lufs", "integrated_lufs", "peak_dbfs", "true_peak_dbtp")


@forms
def test_a_tone_reads_as_the_standard_and_libebur128_say(form: str) -> None:
    sound = sine(1000.0, -23.0, 5.0)
    meter = Meter(RATE, 2048, form)
    heard(meter.read, sound)
    assert [getattr(meter, name) for name in READINGS] == pytest.approx([-23.0] * 5, abs=0.1)
    outside = measured(sound, RATE)
    assert meter.integrated_lufs == pytest.approx(outside.integrated, abs=0.001)
    assert meter.highest_true_peak_dbtp == pytest.approx(max(outside.true_peaks), abs=0.1)
    assert meter.range_lu == pytest.approx(0.0, abs=0.1)


@forms
def test_peaks_are_let_go_after_two_windows_and_the_highest_is_kept(form: str) -> None:
    meter = Meter(RATE, 480, form)
    click = np.zeros((2, 480), np.float32)
    click[0, 5] = -0.5
    meter.read(click)
    assert meter.peak_dbfs == meter.true_peak_dbtp == pytest.approx(-6.02, abs=0.01)
    told = heard(
        lambda block: (meter.read(block), meter.peak_dbfs)[1],
        np.zeros((2, round(2 * PEAK_WINDOW_S * RATE)), np.float32),
        480,
    )
    assert told[round(PEAK_WINDOW_S * 100) - 2] == pytest.approx(-6.02, abs=0.01)
    assert told[-1] == LOWEST_DB
    assert meter.highest_true_peak_dbtp == pytest.approx(-6.02, abs=0.01)


@forms
def test_after_long_silence_all_but_the_integrated_reads_lowest(form: str) -> None:
    meter, other = Meter(RATE, 2048, form), Meter(RATE, 2048, form)
    tone, silence = sine(440.0, -20.0, 2.0), np.zeros((2, 6 * RATE), np.float32)
    for each in (meter, other):
        heard(each.read, tone)
    before = meter.integrated_lufs
    heard(meter.read, silence)
    assert [getattr(meter, name) for name in READINGS] == [
        LOWEST_DB, LOWEST_DB, pytest.approx(before, abs=0.7), LOWEST_DB, LOWEST_DB
    ]  # fmt: skip
    # it idles then, and comes back as if it had not
    heard(other.read, silence[:, : 3 * RATE])
    for each in (meter, other):
        heard(each.read, tone)
    assert meter.integrated_lufs == pytest.approx(other.integrated_lufs, abs=0.05)
    assert meter.momentary_lufs == pytest.approx(other.momentary_lufs, abs=0.01)


@forms
def test_a_block_that_is_not_finite_is_counted_and_passed_over(form: str) -> None:
    meter = Meter(RATE, 2048, form)
    heard(meter.read, sine(1000.0, -23.0, 2.0))
    before = [getattr(meter, name) for name in READINGS]
    meter.read(np.full((2, 64), np.nan, np.float32))
    assert meter.faults == 1
    assert [getattr(meter, name) for name in READINGS] == before
    heard(meter.read, sine(1000.0, -23.0, 4.0))
    assert [getattr(meter, name) for name in READINGS] == pytest.approx([-23.0] * 5, abs=0.1)


@forms
def test_a_reset_is_as_good_as_new(form: str) -> None:
    used, new = Meter(RATE, 480, form), Meter(RATE, 480, form)
    heard(used.read, sine(1000.0, -3.0, 4.0), 480)
    used.ask_reset()
    assert used.integrated_lufs > -10.0  # not before the side that makes the sound comes by
    heard(used.read, np.zeros((2, 480), np.float32), 480)
    used.ask_reset()
    for each in (used, new):
        heard(each.read, sine(1000.0, -30.0, 4.0), 480)
    for name in (*READINGS, "range_lu", "highest_true_peak_dbtp"):
        assert getattr(used, name) == pytest.approx(getattr(new, name), abs=1e-3)
