"""Loudness against the cases of EBU Tech 3341 and 3342, the printed filter, and a C library."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from feeding import RATE, heard, sine
from meantide.perform.loudness import (
    GATE_LUFS,
    OFFSET_LU,
    RELATIVE_GATE_LU,
    Bins,
    Loudness,
    k_weighting,
    loudness_lufs,
)
from meantide.perform.true_peak import LOWEST_DB
from meantide.voice.kernels import COMPILED, KERNELS
from outside_meter import measured

forms = pytest.mark.parametrize("form", KERNELS)
Steps = list[tuple[float, float]]

# BS.1770, tables 1 and 2, as printed in open implementations
PRINTED = [
    [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585],
    [1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621],
]


def tones(steps: Steps, rate: int = RATE) -> np.ndarray:
    """Return a stereo 1 kHz sine through levels in dBFS, each for so many seconds."""
    return np.concatenate([sine(1000.0, level, s, rate) for level, s in steps], axis=1)


def meter_of(sound: np.ndarray, form: str, rate: int = RATE, block: int = 2048) -> Loudness:
    """Return a meter that has heard all of a sound."""
    meter = Loudness(rate, block, form)
    heard(meter.read, sound, block)
    return meter


def test_at_48_khz_the_filter_is_the_printed_one() -> None:
    assert k_weighting(48_000) == pytest.approx(np.array(PRINTED), abs=1e-11)


@pytest.mark.parametrize("rate", [44_100, 88_200, 96_000, 192_000])
def test_at_other_rates_it_has_the_same_response(rate: int) -> None:
    hz = np.array([20.0, 50.0, 100.0, 440.0, 1000.0, 2000.0, 10_000.0])
    # from the printed coefficients, calculated
    printed_db = [-13.275, -3.934, -1.134, 0.008, 0.698, 3.071, 4.042]
    sections = np.insert(k_weighting(rate), 3, 1.0, axis=1)
    _, response = signal.sosfreqz(sections, hz, fs=rate)
    assert 20 * np.log10(np.abs(response)) == pytest.approx(printed_db, abs=0.05)


@forms
@pytest.mark.parametrize("rate", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_full_scale_at_997_hz_in_one_channel_reads_minus_3_01(form: str, rate: int) -> None:
    """BS.1770-5, Annex 1: the sentence that calibrates the meter."""
    sound = sine(997.0, 0.0, 2.0, rate)
    sound[1] = 0.0
    meter = meter_of(sound, form, rate)
    assert meter.integrated_lufs == pytest.approx(-3.01, abs=0.01)
    sound[1] = sound[0]
    assert meter_of(sound, form, rate).integrated_lufs == pytest.approx(0.0, abs=0.01)


# EBU Tech 3341, table 1: a steady or gated 1 kHz sine in both channels
@forms
@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([(-23.0, 20.0)], -23.0),
        ([(-33.0, 20.0)], -33.0),
        ([(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ([(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ([(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
    ],
)
def test_integrated_loudness_of_tech_3341(form: str, steps: Steps, expected: float) -> None:
    assert meter_of(tones(steps), form).integrated_lufs == pytest.approx(expected, abs=0.1)


@forms
def test_a_steady_tone_reads_alike_on_all_three(form: str) -> None:
    """Cases 1 and 2 of EBU Tech 3341."""
    for level in (-23.0, -33.0):
        meter = meter_of(tones([(level, 20.0)]), form)
        readings = [meter.momentary_lufs, meter.short_term_lufs, meter.integrated_lufs]
        assert readings == pytest.approx([level] * 3, abs=0.1)


@forms
def test_short_term_and_momentary_have_windows_of_3_s_and_400_ms(form: str) -> None:
    """Cases 9 and 12 of EBU Tech 3341 (from memory): a pattern as long as the window reads flat."""
    patterns = [
        ([(-20.0, 1.34), (-30.0, 1.66)] * 5, lambda meter: meter.short_term_lufs, 3.0),
        ([(-20.0, 0.18), (-30.0, 0.22)] * 25, lambda meter: meter.momentary_lufs, 1.0),
    ]
    for steps, reading, settled_s in patterns:
        meter = Loudness(RATE, 480, form)
        read = heard(lambda b, m=meter, r=reading: (m.read(b), r(m))[1], tones(steps), 480)
        later = np.array(read[round(settled_s * 100) :])
        assert later == pytest.approx(np.full(len(later), -23.0), abs=0.1)


@forms
@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([(-20.0, 20.0), (-30.0, 20.0)], 10.0),
        ([(-20.0, 20.0), (-15.0, 20.0)], 5.0),
        ([(-40.0, 20.0), (-20.0, 20.0)], 20.0),
        ([(-50.0, 20.0), (-35.0, 20.0), (-20.0, 20.0), (-35.0, 20.0), (-50.0, 20.0)], 15.0),
    ],
)
def test_loudness_range_of_tech_3342(form: str, steps: Steps, expected: float) -> None:
    """Cases 1 to 4 of EBU Tech 3342, which allows 1 LU (from memory)."""
    assert meter_of(tones(steps), form).range_lu == pytest.approx(expected, abs=1.0)


def swelling_noise(rate: int) -> np.ndarray:
    """Return 24 s of coloured noise that swells, falls silent and swells."""
    random = np.random.default_rng(rate)
    time = np.arange(24 * rate) / rate
    noise = signal.lfilter([1.0], [1.0, -0.97], random.standard_normal((2, len(time))))
    swell = np.abs(np.sin(2 * np.pi * time / 16)) ** 3 + 1e-3
    swell[(time > 10) & (time < 12)] = 0.0
    low = 0.2 * np.sin(2 * np.pi * 41.2 * time)
    return (0.08 * (noise + low) * swell).astype(np.float32)


@forms
@pytest.mark.parametrize("rate", [22_050, 44_100, 48_000, 96_000])
def test_it_reads_as_libebur128_reads(form: str, rate: int) -> None:
    sound = swelling_noise(rate)
    meter, outside = meter_of(sound, form, rate), measured(sound, rate)
    # the outside filter is 0.02 dB and more off the printed response, except at 48 kHz
    allowed = 0.001 if rate == 48_000 else 0.1
    assert meter.momentary_lufs == pytest.approx(outside.momentary, abs=allowed)
    assert meter.short_term_lufs == pytest.approx(outside.short_term, abs=allowed)
    # between the bins' edges the gate may take in what it should not: less than a bin of 0.02 LU
    assert meter.integrated_lufs == pytest.approx(outside.integrated, abs=allowed + 0.02)
    # it hears a short-term level each second, we each 100 ms; Tech 3342 allows 1 LU
    assert meter.range_lu == pytest.approx(outside.range, abs=1.0)


@forms
def test_blocks_of_any_size_read_the_same(form: str) -> None:
    sound = swelling_noise(11_025)[:, : 7 * 11_025]  # 1102.5 samples to a step
    whole = meter_of(sound, form, 11_025, 5000)
    for block in (1, 7, 64, 1102):
        meter = meter_of(sound, form, 11_025, block)
        for name in ("momentary_lufs", "short_term_lufs", "integrated_lufs", "range_lu"):
            assert getattr(meter, name) == pytest.approx(getattr(whole, name), abs=1e-6)


@forms
def test_silence_is_not_counted_and_reads_lowest(form: str) -> None:
    meter = meter_of(tones([(-23.0, 10.0)]), form)
    before = meter.integrated_lufs
    heard(meter.read, np.zeros((2, 5 * RATE), np.float32))
    assert meter.momentary_lufs == meter.short_term_lufs == LOWEST_DB
    # the blocks in which the tone ends fall a little below it, and one of them below the gate
    assert meter.integrated_lufs == pytest.approx(before, abs=0.1)
    meter.reset()
    assert meter.integrated_lufs == LOWEST_DB


@given(st.lists(st.floats(-90.0, 10.0), min_size=1, max_size=60))
def test_counting_by_level_gates_as_a_plain_list_does(levels: list[float]) -> None:
    energies = [10.0 ** ((level - OFFSET_LU) / 10.0) for level in levels]
    bins = Bins()
    passed = [e for e in energies if bins.add(loudness_lufs(e), e)]
    assert len(passed) == sum(loudness_lufs(e) > GATE_LUFS for e in energies)
    if not passed:
        return
    gate = loudness_lufs(sum(passed) / len(passed)) + RELATIVE_GATE_LU
    kept = [e for e in passed if loudness_lufs(e) > gate]
    edge = [e for e in passed if abs(loudness_lufs(e) - gate) <= 0.02]  # one bin wide
    readings = [
        loudness_lufs(sum(kept + extra) / len(kept + extra)) for extra in ([], edge) if kept + extra
    ]
    without = [e for e in kept if e not in edge]
    readings += [loudness_lufs(sum(without) / len(without))] if without else []
    told = bins.mean_lufs(RELATIVE_GATE_LU)
    assert min(readings) - 1e-6 <= told <= max(readings) + 1e-6


def test_months_of_sound_take_no_more_memory_than_a_minute() -> None:
    """A year is 3e8 steps: counts and sums must stay exact, and the reading with them."""
    bins = Bins()
    energy = 10.0 ** ((-23.0 - OFFSET_LU) / 10.0)
    bins.add(-23.0, energy)
    for _ in range(28):  # doubling what was heard: 2^28 steps are ten months
        bins._counts *= 2.0
        bins._energies *= 2.0
    bins.add(-23.0, energy)
    assert bins._counts.sum() == 2**28 + 1
    assert bins.mean_lufs(RELATIVE_GATE_LU) == pytest.approx(-23.0, abs=1e-6)


def test_the_two_forms_agree() -> None:
    sound = swelling_noise(RATE)
    ours = [meter_of(sound, form).integrated_lufs for form in KERNELS]
    assert ours[0] == pytest.approx(ours[1], abs=1e-9)
    assert math.isfinite(ours[0])
    assert KERNELS[0] == COMPILED
