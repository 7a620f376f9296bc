"""Spectrograms of tones made by numpy alone: levels, places, and what runs together."""

import numpy as np
import pytest
from numpy.typing import NDArray

from meantide.errors import InvalidValue
from meantide.offline.spectrogram import (
    SILENCE_DB,
    level_over_time,
    on_log_axis,
    spectrogram,
)

RATE = 48_000
Samples = NDArray[np.float64]


def sine(hz: float, seconds: float, amplitude: float = 1.0, phase: float = 0.3) -> Samples:
    return amplitude * np.sin(2 * np.pi * (hz * np.arange(round(seconds * RATE)) / RATE + phase))


@pytest.mark.parametrize("hz", [110.0, 219.7, 1234.567, 15_000.1])
@pytest.mark.parametrize("amplitude_db", [0.0, -60.0])
def test_a_sine_has_its_level_at_its_place(hz: float, amplitude_db: float) -> None:
    found = spectrogram(sine(hz, 1.0, 10 ** (amplitude_db / 20)), RATE, 0.09, 0.05)
    middle = found.levels_db[:, len(found.times_s) // 2]
    assert middle.max() == pytest.approx(amplitude_db, abs=0.1)
    assert found.hz[middle.argmax()] == pytest.approx(hz, abs=0.5 / (4 * 0.09) + 1e-6)  # half a bin
    bands = on_log_axis(found, 50.0, 20_000.0, 1000)
    column = bands.levels_db[:, len(found.times_s) // 2]
    assert column.max() == pytest.approx(amplitude_db, abs=0.1)
    wide = 1200 * np.log2(400) / 1000
    spread = 1200 * np.log2(1 + 0.5 / (4 * 0.09 * hz))
    assert abs(1200 * np.log2(bands.hz[column.argmax()] / hz)) <= wide / 2 + spread


def test_a_line_is_nowhere_but_in_its_lobe() -> None:
    found = spectrogram(sine(1000.0, 1.0), RATE, 0.09, 0.05)
    column = found.levels_db[:, len(found.times_s) // 2]
    assert column[abs(found.hz - 1000.0) > 4 / 0.09].max() < -82.0  # Nuttall 1981: -82.6 dB


def test_lines_eight_over_the_window_apart_stand_clear() -> None:
    found = spectrogram(sine(1000.0, 1.0) + sine(1080.0, 1.0, 0.1), RATE, 0.1, 0.05)
    column = found.levels_db[:, 10]
    for hz, level_db in ((1000.0, 0.0), (1080.0, -20.0)):
        assert column[abs(found.hz - hz) < 10].max() == pytest.approx(level_db, abs=0.1)


def test_a_beginning_is_on_its_time() -> None:
    samples = np.concatenate([np.zeros(RATE // 2), sine(440.0, 0.5)])
    found = spectrogram(samples, RATE, 0.08, 0.001)
    level = found.levels_db[abs(found.hz - 440.0).argmin()]
    # Half of the window's sum is past at the step: 6 dB down there.
    crossed = found.times_s[np.flatnonzero(level > -6.02)[0]]
    assert crossed == pytest.approx(0.5, abs=0.0015)
    risen = found.times_s[np.flatnonzero(level > -1.0)[0]] - found.times_s[level > -20.0][0]
    assert risen < 0.08 / 2
    assert level[found.times_s < 0.5 - 0.04].max() == SILENCE_DB


def test_two_clicks_half_a_window_apart_are_two_and_a_quarter_apart_are_one() -> None:
    def dip_db(apart_s: float) -> float:
        samples = np.zeros(RATE)
        samples[[RATE // 2, RATE // 2 + round(apart_s * RATE)]] = 1.0
        found = spectrogram(samples, RATE, 0.08, 0.001)
        level = (10.0 ** (found.levels_db / 10)).sum(axis=0)  # the power of all bins
        between = level[(found.times_s > 0.5) & (found.times_s < 0.5 + apart_s)]
        return float(10 * np.log10(level.max() / between.min()))

    assert dip_db(0.04) > 6.0
    assert dip_db(0.02) < 1.0


def test_frames_begin_at_the_first_sample_and_reach_the_last() -> None:
    found = spectrogram(sine(440.0, 1.0), RATE, 0.05, 0.1)
    assert found.times_s == pytest.approx(np.arange(10) / 10)
    assert found.levels_db.shape == (len(found.hz), 10)
    assert spectrogram(np.zeros(0), RATE, 0.05, 0.1).levels_db.max() == SILENCE_DB


def test_no_line_is_lost_in_wide_bands_and_none_is_made_in_narrow_ones() -> None:
    found = spectrogram(sine(5000.3, 0.5), RATE, 0.2, 0.1)
    wide = on_log_axis(found, 20.0, 20_000.0, 30).levels_db[:, 2]
    assert wide.max() == pytest.approx(0.0, abs=0.1)
    narrow = on_log_axis(found, 20.0, 100.0, 500).levels_db[:, 2]
    assert narrow.max() < -82.0


def test_level_over_time_has_no_ripple_and_follows_a_decay() -> None:
    falling = np.exp(-np.log(1000) * np.arange(RATE) / RATE)  # 60 dB in a second
    sound = falling * (sine(220.0, 1.0, np.sqrt(0.5)) + sine(440.0, 1.0, np.sqrt(0.5), 0.1))
    times_s, level_db = level_over_time(sound, RATE, 220.0, 0.01)
    inner = (times_s > 0.05) & (times_s < 0.95)
    # Averaging power over 27 ms of such a fall reads a little high: 10 log10 of the mean of
    # 10^(-6 t) under the raised cosine.
    assert np.ptp(level_db[inner] + 60.0 * times_s[inner]) < 0.05
    assert level_db[inner] == pytest.approx(-60.0 * times_s[inner], abs=0.2)
    assert np.abs(level_over_time(sine(55.0, 1.0), RATE, 55.0, 0.01)[1][10:-10]).max() < 0.01


@pytest.mark.parametrize(
    ("window_s", "hop_s", "named"), [(0.001, 0.1, "window_s"), (0.1, 0.0, "hop_s")]
)
def test_what_cannot_be_is_refused(window_s: float, hop_s: float, named: str) -> None:
    with pytest.raises(InvalidValue, match=named):
        spectrogram(np.zeros(100), RATE, window_s, hop_s)


@pytest.mark.parametrize("ends", [(0.0, 100.0), (200.0, 100.0), (100.0, 24_001.0)])
def test_bands_lie_below_half_the_rate(ends: tuple[float, float]) -> None:
    with pytest.raises(InvalidValue, match="low_hz"):
        on_log_axis(spectrogram(np.zeros(100), RATE, 0.01, 0.1), *ends, 10)


def test_narrow_bands_follow_the_lobe_between_bins() -> None:
    samples = sine(1000.0, 0.2)
    found = spectrogram(samples, RATE, 0.1, 0.1)
    bands = on_log_axis(found, 980.0, 1020.0, 400)
    # The same window at the same place, its transform evaluated at the bands themselves.
    size = 4736  # 37 · 2^7, the greatest of that form that 0.1 s has room for
    taps = (np.arange(size) + 0.5) / size
    terms = (0.338946, 0.481973, 0.161054, 0.018027)  # Nuttall 1981
    window = sum(c * (-1) ** k * np.cos(2 * np.pi * k * taps) for k, c in enumerate(terms))
    turns = np.exp(-2j * np.pi * bands.hz[:, None] * np.arange(size) / RATE)
    exact = 20 * np.log10(
        np.abs(turns @ (samples[4800 - size // 2 : 4800 + size // 2] * window)) * 2 / window.sum()
    )
    assert np.abs(bands.levels_db[:, 1] - exact).max() < 0.1
