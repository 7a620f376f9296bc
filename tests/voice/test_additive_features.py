"""What each part of an additive voice does to its sound, measured against its formula.

Both kernels, the bank on its own. Lines are measured by least squares (tones.py); a formula is that
of the description's docstring.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

import playing
import tones
from meantide.pitch import Anchor, Interval, Scale, Tuning
from meantide.voice.additive import AdditiveBank
from meantide.voice.bank import Strike
from meantide.voice.breath_noise import LOWEST_HZ, noise_bands
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import (
    AdditiveVoice,
    Breath,
    Drift,
    Formant,
    Law,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.prepared import prepare_additive
from meantide.voice.touch import Answer, Response, Vibrato
from playing import RATE, STEADY

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
Floats = NDArray[np.float64]
ROW = np.array([0])
LENGTH = 24_000
STANDING = slice(1200, LENGTH)
"""Past the attack, and past any ramp that a test begins with."""


def bank_of(voice: AdditiveVoice, strike: Strike, notes: int = 2) -> AdditiveBank:
    prepared = prepare_additive(voice, RATE)
    bank = AdditiveBank(notes, prepared.count, RATE, playing.in_use)
    bank.start(0, prepared, strike)
    return bank


def read(bank: AdditiveBank, samples: int, row: int = 0) -> Floats:
    gains = np.ones((1, 2), np.float32)
    pieces = []
    for start in range(0, samples, 8192):
        out = np.zeros((1, min(8192, samples - start)), np.float32)
        bank.read(np.array([row]), gains, out)
        pieces.append(out[0])
    return np.concatenate(pieces).astype(np.float64)


def heard(voice: AdditiveVoice, hz: float, velocity: float = 1.0, **more: object) -> Floats:
    bank = bank_of(voice, Strike(hz, velocity, **more))  # type: ignore[arg-type]
    return read(bank, LENGTH)[STANDING]


def harmonics(count: int, **more: object) -> AdditiveVoice:
    partials = tuple(Partial(float(n)) for n in range(1, count + 1))
    return AdditiveVoice("flat", partials, STEADY, **more)  # type: ignore[arg-type]


def levels_db(samples: Floats, hz: list[float]) -> Floats:
    return np.array(tones.fit_lines(samples, RATE, hz).level_db)


def instant_cents(samples: Floats, hz: float) -> Floats:
    """Return how far a single line lies above `hz` at each sample, smoothed over 5 ms."""
    spectrum = np.fft.fft(samples)
    spectrum[len(samples) // 2 :] = 0.0
    turned = np.unwrap(np.angle(np.fft.ifft(spectrum)))
    slope = (turned[240:] - turned[:-240]) / 240 * RATE / (2 * np.pi)
    return 1200.0 * np.log2(slope / hz)


@pytest.mark.parametrize(("stretch", "b"), [(2.1, 0.0), (2.0, 7.5e-4), (1.9, 1e-3), (3.0, 0.0)])
def test_stretched_and_stiff_partials_sound_where_the_formula_puts_them(
    stretch: float, b: float
) -> None:
    samples = heard(harmonics(6, stretch=stretch, inharmonicity=b), 220.0)
    ratios = [stretch ** np.log2(n) for n in range(1, 7)]
    expected = [220.0 * r * np.sqrt((1 + b * r * r) / (1 + b)) for r in ratios]
    fit = tones.fit_lines(samples, RATE, expected)
    for hz, wanted in zip(fit.hz, expected, strict=True):
        assert abs(tones.cents(hz, wanted)) < 0.001
    assert fit.residual_db < -110.0


def test_tilt_falls_by_octaves_and_even_partials_stand_apart() -> None:
    samples = heard(harmonics(8, tilt_db=-6.0, even_db=-9.0), 220.0)
    levels = levels_db(samples, [220.0 * n for n in range(1, 9)])
    wanted = [-6.0 * np.log2(n) - (9.0 if n % 2 == 0 else 0.0) for n in range(1, 9)]
    assert levels - levels[0] == pytest.approx(np.array(wanted), abs=0.001)
    assert np.sum(10.0 ** (levels / 10.0)) == pytest.approx(1.0, abs=1e-4)  # a full-scale sine's


@pytest.mark.parametrize(("velocity", "pressure", "timbre"), [(1, 0, 0.5), (0.5, 0.4, 0.8)])
def test_colour_leads_from_one_table_to_the_other_by_touch(
    velocity: float, pressure: float, timbre: float
) -> None:
    voice = AdditiveVoice(
        "two", (Partial(1.0, 0.0), Partial(2.0, -60.0)), STEADY, velocity_exponent=0.0,
        second=SecondTable((-60.0, 0.0)), colour=0.1,
        response=Response(Answer(colour=0.2), Answer(colour=0.5), Answer(colour=0.3)),
    )  # fmt: skip
    samples = heard(voice, 300.0, velocity, pressure=pressure, timbre=timbre)
    fit = tones.fit_lines(samples, RATE, [300.0, 600.0])
    colour = 0.1 + 0.2 * velocity + 0.5 * pressure + 0.3 * (timbre - 0.5) / 0.5
    quiet, loud = 1e-3 / np.hypot(1, 1e-3), 1.0 / np.hypot(1, 1e-3)
    assert 10 ** (fit.level_db[0] / 20) == pytest.approx(loud + (quiet - loud) * colour, rel=1e-4)
    assert 10 ** (fit.level_db[1] / 20) == pytest.approx(quiet + (loud - quiet) * colour, rel=1e-4)


@pytest.mark.parametrize("hz", [110.0, 331.0])
def test_formants_stand_still_under_any_pitch(hz: float) -> None:
    formants = (Formant(700.0, 150.0, 20.0), Formant(2600.0, 400.0, 12.0))
    levels = levels_db(heard(harmonics(16, formants=formants), hz), [hz * n for n in range(1, 17)])

    def gain_db(f: Floats) -> Floats:
        peaks = [p.gain_db / (1 + (2 * (f - p.hz) / p.width_hz) ** 2) for p in formants]
        return np.sum(peaks, axis=0)

    top = gain_db(np.linspace(10.0, 24_000.0, 240_000)).max()
    wanted = gain_db(hz * np.arange(1, 17)) - top - 10 * np.log10(16)
    assert levels == pytest.approx(wanted, abs=0.005)  # the highest point of the sum: from a grid


def test_drift_moves_each_partial_by_itself_and_each_note_otherwise() -> None:
    voice = AdditiveVoice("one", (Partial(1.0),), STEADY, drift=Drift(20.0, 0.0, 5.0))
    cents = instant_cents(heard(voice, 1000.0, seed=1), 1000.0)[2400:-2400]
    assert 12.0 < np.abs(cents).max() < 20.1
    other = instant_cents(heard(voice, 1000.0, seed=2), 1000.0)[2400:-2400]
    assert np.abs(other - cents).max() > 3.0
    again = instant_cents(heard(voice, 1000.0, seed=1), 1000.0)[2400:-2400]
    assert np.array_equal(again, cents)
    two = AdditiveVoice("two", (Partial(1.0), Partial(9.0)), STEADY, drift=Drift(20.0, 0.0, 5.0))
    samples = heard(two, 500.0)
    split = np.fft.fft(samples)
    edge = int(2000 * len(samples) / RATE)
    low = np.fft.ifft(np.where(np.arange(len(split)) < edge, split, 0)).real
    one = instant_cents(low, 500.0)[2400:-2400]
    nine = instant_cents(samples - 2 * low, 4500.0)[2400:-2400]
    assert np.abs(one - nine).max() > 5.0


def test_a_drifting_level_stays_within_its_decibels() -> None:
    voice = AdditiveVoice("one", (Partial(1.0),), STEADY, drift=Drift(0.0, 3.0, 8.0))
    samples = heard(voice, 1000.0)
    level = 20 * np.log10(np.abs(np.fft.ifft(2 * np.fft.fft(samples) * (np.arange(len(samples)) < len(samples) // 2))))[2400:-2400]  # fmt: skip  # noqa: E501
    assert 2.5 < level.max() < 3.05
    assert -3.05 < level.min() < -2.0


def test_a_unison_spreads_evenly_and_keeps_its_power() -> None:
    voice = AdditiveVoice("three", (Partial(1.0),), STEADY, unison=Unison(3, 30.0))
    lines = [2000.0 * 2 ** (c / 1200) for c in (-15.0, 0.0, 15.0)]
    fit = tones.fit_lines(heard(voice, 2000.0), RATE, lines)
    for hz, wanted in zip(fit.hz, lines, strict=True):
        assert abs(tones.cents(hz, wanted)) < 0.001
    assert np.array(fit.level_db) == pytest.approx(-10 * np.log10(3), abs=0.001)
    assert fit.residual_db < -110.0


def test_partials_are_drawn_to_the_scale_and_move_with_it() -> None:
    pelog = Scale.from_degrees([Interval.parse(t) for t in ("133 cents", "498 cents", "702 cents")])
    tunings = [Tuning(scale, Anchor.parse("A4=440")) for scale in (Scale.equal(16),)]
    tunings.append(Tuning(pelog, Anchor(440.0, degree=0)))
    grids = [DegreeGrid.of(tuning) for tuning in tunings]
    voice = harmonics(5, drawn=1.0)
    hz = 440.0
    bank = bank_of(voice, Strike(hz, 1.0, grids[0]))
    first = read(bank, LENGTH)[STANDING]
    bank.retune(ROW, np.array([hz]), 4800, grids[1])
    second = read(bank, LENGTH)[6000:]
    for samples, tuning in ((first, tunings[0]), (second, tunings[1])):
        degrees = [tuning.hz_of_degree(d) for d in range(-60, 120)]
        wanted = [min(degrees, key=lambda d, n=n: abs(np.log(d / (hz * n)))) for n in range(1, 6)]
        wanted[0] = hz
        fit = tones.fit_lines(samples, RATE, wanted)
        for got, goal in zip(fit.hz, wanted, strict=True):
            assert abs(tones.cents(got, goal)) < 0.001
        assert fit.residual_db < -110.0


def test_half_drawn_is_half_the_way_in_cents() -> None:
    grid = DegreeGrid.of(Tuning(Scale.equal(5), Anchor(300.0, degree=0)))
    fit = tones.fit_lines(
        heard(harmonics(3, drawn=0.5), 300.0, grid=grid), RATE, [300.0, 600.0, 904.7]
    )
    # 3/1 is 1901.955 cents, the degree nearest to it 1920
    assert tones.cents(fit.hz[2], 300.0) == pytest.approx((1901.955 + 1920.0) / 2, abs=0.001)


def test_breath_has_its_level_its_place_and_the_notes_envelope() -> None:
    voice = AdditiveVoice("air", (Partial(1.0),), STEADY, breath=Breath(-20.0, 2000.0, 1.0))
    bank = bank_of(voice, Strike(100.0, 1.0))
    samples = read(bank, 131_072)[1200:]
    hz, power = np.fft.rfftfreq(len(samples), 1 / RATE), np.abs(np.fft.rfft(samples)) ** 2
    air = power[hz > 300.0].sum() / power[(hz > 90.0) & (hz < 110.0)].sum()
    assert 10 * np.log10(air) == pytest.approx(-20.0, abs=0.3)  # chance: bands overlap
    centre = np.exp(np.average(np.log(hz[hz > 300]), weights=power[hz > 300]))
    assert abs(np.log2(centre / 2000.0)) < 0.25
    bank.release(ROW)
    gone = read(bank, 4000)
    assert not gone[2000:].any()
    assert bank.gone(ROW).all()


def test_noise_bands_have_unit_power_and_an_octave_each() -> None:
    bands = noise_bands(RATE)[:, :-64].astype(np.float64)
    hz = np.fft.rfftfreq(bands.shape[1], 1 / RATE)
    for number, band in enumerate(bands):
        power = np.abs(np.fft.rfft(band)) ** 2
        assert np.sqrt(2 * np.mean(band**2)) == pytest.approx(1.0, abs=1e-5)
        middle = LOWEST_HZ * 2.0**number
        inside = (hz > middle / 2) & (hz < middle * 2)
        assert power[~inside].sum() / power.sum() < 1e-9


def test_partials_come_and_go_by_their_laws() -> None:
    voice = AdditiveVoice(
        "struck", (Partial(1.0), Partial(4.0), Partial(8.0, decay_s=0.3, attack_s=0.1)), STEADY,
        decay=Law(1.2, -0.5), attack=Law(0.02, 0.0),
    )  # fmt: skip
    sounding = voice.sounding_partials()
    assert [p.decay_s for p in sounding] == pytest.approx([1.2, 0.6, 0.3])
    samples = read(bank_of(voice, Strike(500.0, 1.0)), LENGTH)
    late = samples[18_000:]
    fit = tones.fit_lines(late, RATE, [500.0, 2000.0, 4000.0], amplitude="exponential")
    assert np.array(fit.slope_db) == pytest.approx(
        np.array([-60 / 1.2, -60 / 0.6, -60 / 0.3]), abs=0.1
    )
    # a partial alone, without a decay, stands at 90 % after its attack time
    alone = AdditiveVoice("one", (Partial(1.0, attack_s=0.1),), STEADY)
    samples = read(bank_of(alone, Strike(1000.0, 1.0)), LENGTH)
    at = int(0.1 * RATE)
    assert np.abs(samples[at - 24 : at + 24]).max() == pytest.approx(0.9, abs=0.003)


def test_vibrato_has_its_rate_depth_and_delay() -> None:
    voice = AdditiveVoice("one", (Partial(1.0),), STEADY, vibrato=Vibrato(6.0, 40.0, 0.1, 0.1))
    cents = instant_cents(read(bank_of(voice, Strike(1000.0, 1.0)), 96_000), 1000.0)
    time_s = (np.arange(len(cents)) + 120) / RATE
    wanted = 40 * np.sin(2 * np.pi * 6 * (time_s - 0.1))
    risen = (time_s > 0.22) & (time_s < 1.8)
    assert np.abs(cents - wanted)[risen].max() < 0.3  # the 5 ms that the slope is taken over
    still = (time_s > 0.03) & (time_s < 0.09)
    assert np.abs(cents[still]).max() < 0.05


def test_bend_pressure_and_timbre_move_by_their_amounts() -> None:
    voice = replace(
        playing.SINE,
        response=Response(pressure=Answer(level_db=6.0), timbre=Answer(level_db=-3.0)),
    )
    bank = bank_of(voice, Strike(1000.0, 1.0))
    read(bank, 1000)
    bank.touch("bend", ROW, np.array([250.0]), 2400)
    bank.touch("pressure", ROW, np.array([1.0]), 1200)
    bank.touch("timbre", ROW, np.array([0.0]), 1200)
    read(bank, 2400)
    fit = tones.fit_lines(read(bank, 20_000), RATE, [1000.0 * 2 ** (250 / 1200)])
    assert abs(tones.cents(fit.hz[0], 1000.0) - 250.0) < 1e-4
    assert fit.level_db[0] == pytest.approx(9.0, abs=1e-3)
    assert bank.hz(0) == pytest.approx(1000.0)


def test_a_note_can_glide_in_from_another_pitch() -> None:
    bank = bank_of(playing.SINE, Strike(1000.0, 1.0, from_hz=500.0, glide_samples=12_000))
    cents = instant_cents(read(bank, 24_000), 1000.0)
    middle = np.arange(len(cents)) + 120
    sliding = (middle > 1000) & (middle < 11_000)
    wanted = -1200.0 + middle / 10.0
    assert np.abs(cents - wanted)[sliding].max() < 0.5
    assert np.abs(cents[12_500:-4000]).max() < 0.01


def test_a_voice_that_changes_carries_its_notes_along_without_a_step() -> None:
    before = harmonics(4, tilt_db=-12.0)
    after = replace(before, tilt_db=0.0, stretch=2.05, level_db=-6.0)
    bank = bank_of(before, Strike(220.0, 1.0))
    first = read(bank, 10_007)
    bank.revoice(ROW, prepare_additive(after, RATE), 4800, None)
    moving = read(bank, 4800)
    last = read(bank, 24_000)
    lines = [220.0 * 2.05 ** np.log2(n) for n in range(1, 5)]
    fit = tones.fit_lines(last[200:], RATE, lines)
    assert fit.level_db == pytest.approx([-6.0 - 10 * np.log10(4)] * 4, abs=0.01)
    for hz, wanted in zip(fit.hz, lines, strict=True):
        assert abs(tones.cents(hz, wanted)) < 0.001
    whole = np.concatenate([first, moving, last])
    # the steepest that four partials of at most these sizes and places can be
    steepest = 2 * np.pi / RATE * sum(lines)
    assert np.abs(np.diff(whole)).max() < steepest
    bend = np.abs(np.diff(whole, 2))
    assert bend[10_000:10_020].max() < 1.2 * bend[5000:9900].max()
