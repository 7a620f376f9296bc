"""Roughness: the figures of standards.md §8, a plain twin, and scipy's own search."""

import math
from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.signal import peak_prominences

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.roughness import RoughnessCurve, pair_roughness, roughness
from meantide.voice.roughness_minima import survey

BASE_HZ = 500.0
FIVE_PLACES = 0.0000051


def equal_partials(*ratios: float, base_hz: float = BASE_HZ) -> RoughnessCurve:
    return RoughnessCurve(ratios, (1.0,) * len(ratios), base_hz)


SEVEN = equal_partials(*map(float, range(1, 8)))  # the example of Sethares' published program


def stretched(octave: float) -> RoughnessCurve:
    """Seven partials whose octaves are `octave`: f_n = f0 · octave^(log2 n)."""
    return equal_partials(*(octave ** math.log2(n) for n in range(1, 8)))


def height(curve: RoughnessCurve, ratio: float) -> float:
    return float(curve.at(np.array([ratio]))[0])


def plain_roughness(tones: Sequence[tuple[float, float]]) -> float:
    """Return the roughness of (Hz, amplitude) tones, one pair after another, in plain floats."""
    total = 0.0
    for index, (one_hz, one) in enumerate(tones):
        for other_hz, other in tones[:index]:
            scale = 0.24 / (0.0207 * min(one_hz, other_hz) + 18.96)
            x = scale * abs(one_hz - other_hz)
            total += min(one, other) * (5.0 * math.exp(-3.51 * x) - 5.0 * math.exp(-5.75 * x))
    return total


@pytest.mark.parametrize(
    ("low_hz", "apart_hz"),
    [(125, 19.783), (250, 22.159), (500, 26.910), (1000, 36.413), (2000, 55.418)],
)
def test_a_pair_of_sines_is_roughest_where_calculated(low_hz: float, apart_hz: float) -> None:
    """The maximum of d: x = ln(5.75/3.51)/2.24, height 0.8987824 (calculated)."""
    found = minimize_scalar(
        lambda apart: -plain_roughness([(low_hz, 1.0), (low_hz + apart, 1.0)]),
        bounds=(1.0, 200.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert found.x == pytest.approx(apart_hz, abs=0.00051)
    low = np.array([float(low_hz)])
    apart = np.array([apart_hz])
    rough = pair_roughness(low, low + apart, np.ones(1))[0]
    assert rough == pytest.approx(0.8987824, abs=1e-7)
    assert pair_roughness(low + apart, low, np.ones(1))[0] == rough
    for less in (0.98, 1.02):  # and no other distance is rougher
        assert pair_roughness(low, low + less * apart, np.ones(1))[0] < rough


def test_a_pair_is_as_rough_as_its_weaker_tone() -> None:
    pair_hz = np.array([440.0, 460.0])
    full = roughness(pair_hz, np.array([1.0, 1.0]))
    assert roughness(pair_hz, np.array([1.0, 0.25])) == pytest.approx(0.25 * full, rel=1e-14)
    assert roughness(pair_hz, np.array([0.25, 1.0])) == pytest.approx(0.25 * full, rel=1e-14)


def test_seven_equal_harmonics_have_the_heights_calculated() -> None:
    """D(1), D(3/2), D(2), D(√2) and one tone alone: five decimals, calculated with numpy."""
    expected = ((1.0, 0.18080), (1.5, 0.82610), (2.0, 0.15786), (math.sqrt(2.0), 2.75421))
    for ratio, rough in expected:
        assert height(SEVEN, ratio) == pytest.approx(rough, abs=FIVE_PLACES)
    alone = roughness(BASE_HZ * np.arange(1.0, 8.0), np.ones(7))
    assert alone == pytest.approx(0.04520, abs=FIVE_PLACES)


def test_seven_equal_harmonics_are_roughest_at_1_0300() -> None:
    """6.3310 at 1.0300, calculated; our points lie a cent (0.0006) apart."""
    landscape = survey(SEVEN)
    roughest = int(np.argmax(landscape.roughness))
    assert landscape.roughest == pytest.approx(6.3310, abs=1e-4)
    assert landscape.ratios[roughest] == pytest.approx(1.0300, abs=0.0006)


def test_seven_equal_harmonics_are_smoothest_at_simple_ratios() -> None:
    """Minima at exactly these ratios and, shallow, at three other places (calculated, ±1e-4).

    Dips near 500, 700 and 1200 cents are in a published reproduction too (Schlecht).
    """
    minima = survey(SEVEN, 2.25).minima
    exact = (1, 7 / 6, 6 / 5, 5 / 4, 4 / 3, 7 / 5, 3 / 2, 5 / 3, 7 / 4, 2)
    shallow = (1.1275, 1.8227, 2.2206)
    assert [m.ratio for m in minima] == pytest.approx(sorted(exact + shallow), abs=1e-4)
    corners = [m for m in minima if min(abs(m.ratio - ratio) for ratio in shallow) > 1e-4]
    assert [m.ratio for m in corners] == pytest.approx(exact, rel=1e-14)
    assert max(m.depth for m in minima if m not in corners) < min(m.depth for m in corners) / 5
    three = sorted(minima, key=lambda m: -m.depth)[1:4]  # after the unison
    assert sorted(m.cents for m in three) == pytest.approx([498.045, 701.955, 1200.0], abs=1e-3)


def test_the_shallow_minima_are_where_scipy_finds_them() -> None:
    """Brent's method on the plain twin, between neighbours two cents off; flat to 1e-8 there."""

    def plain(ratio: float) -> float:
        tones = [(BASE_HZ * n * r, 1.0) for n in range(1, 8) for r in (1.0, ratio)]
        return plain_roughness(tones)

    minima = survey(SEVEN, 2.25).minima
    for near in (1.1275, 1.8227, 2.2206):
        found = minimize_scalar(
            plain, bounds=(near - 0.001, near + 0.001), method="bounded", options={"xatol": 1e-10}
        )
        [minimum] = [m for m in minima if abs(m.ratio - near) < 1e-3]
        assert minimum.ratio == pytest.approx(found.x, abs=1e-6)
        assert minimum.roughness == pytest.approx(found.fun, abs=1e-10)


def test_a_stretched_spectrum_is_smooth_at_stretched_intervals() -> None:
    """Octave 2.1: minima at 2.1^(log2 r) for the ratios r of the harmonic case (calculated)."""
    printed = (1.1794, 1.2155, 1.2698, 1.3606, 1.4336, 1.5434, 1.7277, 1.8203, 2.1)
    ratios = (7 / 6, 6 / 5, 5 / 4, 4 / 3, 7 / 5, 3 / 2, 5 / 3, 7 / 4, 2)
    found = [m.ratio for m in survey(stretched(2.1), 2.1).minima]
    for place, ratio in zip(printed, ratios, strict=True):
        assert min(abs(each - place) for each in found) < 5.1e-5  # four decimals
        assert min(abs(each - 2.1 ** math.log2(ratio)) for each in found) < 1e-12
    deepest = max(survey(stretched(2.1), 2.1).minima[1:], key=lambda m: m.depth)
    assert deepest.ratio == pytest.approx(2.1, rel=1e-14)


def test_odd_partials_are_smooth_at_the_intervals_of_three_to_one() -> None:
    """Partials 1 3 5 7 9: minima 9/7 7/5 5/3 9/5 7/3 3 (calculated; the period is 3/1)."""
    minima = survey(equal_partials(1.0, 3.0, 5.0, 7.0, 9.0), 3.0).minima
    for ratio in (9 / 7, 7 / 5, 5 / 3, 9 / 5, 7 / 3, 3.0):
        assert min(abs(m.ratio - ratio) for m in minima) < 1e-14
    assert minima[-1].ratio == pytest.approx(3.0, rel=1e-14)
    assert all(abs(m.ratio - 2.0) > 0.04 for m in minima)  # an octave is nothing to it


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.3, 40.0), st.floats(0.01, 1.0)), min_size=1, max_size=8),
    st.floats(20.0, 2_000.0),
    st.lists(st.floats(0.5, 8.0), min_size=1, max_size=70),
)
def test_the_curve_is_the_plain_sum_over_all_pairs(
    partials: list[tuple[float, float]], base_hz: float, intervals: list[float]
) -> None:
    """Pairs that are left out for their distance are each below 1e-16 of a tone."""
    ratios, amplitudes = zip(*partials, strict=True)
    curve = RoughnessCurve(ratios, amplitudes, base_hz)
    expected = [
        plain_roughness([(base_hz * r * i, a) for r, a in partials for i in (1.0, interval)])
        for interval in intervals
    ]
    assert curve.at(np.array(intervals)) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("name", ["plain-reed", "harbour-bell", "still-water"])
def test_minima_of_voices_are_minima_and_as_deep_as_scipy_says(name: str) -> None:
    curve = RoughnessCurve.of_voice(Catalogue().voice(name), 261.6)
    minima = survey(curve).minima
    assert len(minima) >= 3
    low, high = -200.0, 1400.0  # as far as the search looks; a finer and another grid
    places = np.sort(np.concatenate([np.linspace(low, high, 6_401), [m.cents for m in minima]]))
    heights = curve.at(np.exp2(places / 1200.0))
    at = [int(np.searchsorted(places, m.cents)) for m in minima]
    for minimum, index in zip(minima, at, strict=True):
        assert minimum.roughness == pytest.approx(heights[index], abs=1e-12)
        assert heights[index] <= min(heights[index - 1], heights[index + 1])
    depths = peak_prominences(-heights, at)[0]
    # The tops fall between our points, a cent apart, and are seen up to 1e-4 too low.
    assert [m.depth for m in minima] == pytest.approx(depths, abs=1e-4 * heights.max())


def test_partials_coincide_at_every_ratio_of_two_once() -> None:
    """For harmonics these are all fractions of whole numbers to 40, counted exactly."""
    curve = equal_partials(*map(float, range(1, 41)))
    whole = range(1, 41)
    expected = sorted({Fraction(p, q) for p in whole for q in whole if 1 <= Fraction(p, q) <= 3})
    assert list(curve.coincidences(1.0, 3.0)) == pytest.approx(expected, rel=1e-15)
    thirds = equal_partials(0.1, 0.3, 1.0, 3.0)  # 0.3/0.1 and 3/1 differ in their last bit
    assert list(thirds.coincidences(1.0, 3.1)) == pytest.approx([1.0, 3.0], rel=1e-15)


def test_a_voice_is_taken_as_it_sounds_its_strongest_partial_being_one() -> None:
    partials = (Partial(1.0, -6.0), Partial(2.0, 0.0), Partial(60.0, 3.0))
    voice = AdditiveVoice("test", partials, tilt_db=-2.0, inharmonicity=0.001)
    curve = RoughnessCurve.of_voice(voice, 440.0)
    assert len(curve.ratios) == 2  # the third lies above 20 kHz
    assert curve.ratios[1] == pytest.approx(2.0 * math.sqrt(1.004 / 1.001), rel=1e-14)
    assert curve.amplitudes[1] == pytest.approx(1.0, rel=1e-12)
    # 6 dB below before the tilt, which takes 2 dB from the octave: 4 dB.
    assert curve.amplitudes[0] == pytest.approx(10.0 ** (-4.0 / 20.0), rel=1e-12)


def test_a_single_sine_is_smooth_only_in_unison_with_itself() -> None:
    [minimum] = survey(equal_partials(1.0)).minima
    assert minimum.ratio == 1.0
    assert minimum.roughness == 0.0


def test_points_cover_the_period_a_cent_apart_at_most_and_once() -> None:
    landscape = survey(SEVEN, 3.0)
    steps = np.diff(np.log2(landscape.ratios)) * 1200.0
    assert landscape.ratios[0] == pytest.approx(1.0, abs=1e-12)
    assert landscape.ratios[-1] == pytest.approx(3.0, abs=1e-11)
    assert steps.min() > 0.0
    assert steps.max() < 1.0 + 1e-9


@pytest.mark.parametrize("period", [1.0, 0.5, 17.0, math.nan, math.inf])
def test_a_period_that_is_none_is_refused(period: float) -> None:
    with pytest.raises(InvalidValue, match="a ratio above 1, to 16"):
        survey(SEVEN, period)


@pytest.mark.parametrize("base_hz", [0.0, 9.9, 20_000.0, math.nan])
def test_a_base_out_of_range_is_refused(base_hz: float) -> None:
    with pytest.raises(InvalidValue, match="base"):
        equal_partials(1.0, base_hz=base_hz)
    with pytest.raises(InvalidValue, match="base"):
        RoughnessCurve.of_voice(Catalogue().voice("plain-reed"), base_hz)


def test_a_voice_with_nothing_to_hear_is_refused() -> None:
    with pytest.raises(InvalidValue, match="a partial at or below 20000 Hz"):
        RoughnessCurve.of_voice(AdditiveVoice("high", (Partial(100.0),)), 1_000.0)
    with pytest.raises(InvalidValue, match="at least one"):
        RoughnessCurve((), (), 440.0)
