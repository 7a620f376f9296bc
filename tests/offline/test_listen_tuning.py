"""The anchor that fits, and the scale as it sounded: closed forms and seeded sets."""

import numpy as np
import pytest

import tones
from meantide.errors import InvalidValue
from meantide.offline.listen_scale import measured_scale
from meantide.offline.listen_tuning import fit_anchor, nearest_degrees
from meantide.pitch import Anchor, Interval, NoteName, Scale, Tuning

A4 = Anchor(440.0, note=NoteName.parse("A4"))
TWELVE = Tuning(Scale.equal(12), A4)
THIRTY_ONE = Tuning(Scale.equal(31, name="31-equal"), A4)
TRITAVE = Tuning(Scale.equal(13, Interval.ratio(3)), Anchor(300.0, degree=0))


def sounding(tuning, degrees, off_cents):
    return [
        tuning.hz_of_degree(degree) * 2.0 ** (off / 1200.0)
        for degree, off in zip(degrees, off_cents, strict=True)
    ]


def test_one_tone_makes_the_anchor_by_the_scales_own_interval():
    # C#4 of quarter-comma meantone at A4 = 440 is 275 Hz (standards.md section 5): 5/8 of A4.
    fifth = Interval.parse("1/4 of 5/1")
    steps = sorted(fifth * place - Interval.ratio(2) * (fifth * place).floor_div(Interval.ratio(2))
                   for place in range(-3, 9) if place)  # fmt: skip
    names = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]
    tuning = Tuning(Scale.from_degrees(steps, names=names), A4)
    fit = fit_anchor(tuning, [270.0], [0.1], [tuning.degree_of_name("C#4")])
    assert fit.tuning.anchor.hz == pytest.approx(270.0 * 8 / 5, rel=1e-12)
    assert fit.uncertainty_cents == pytest.approx(0.1)
    assert fit.tones[0].cents == pytest.approx(0.0, abs=1e-9)


def test_tones_that_scatter_count_alike_however_surely_each_was_measured():
    off = [1.0, -2.0, 3.0, 0.0, -1.0]
    hz = sounding(TWELVE, range(5), [each + 7.0 for each in off])
    fit = fit_anchor(TWELVE, hz, [1e-6, 1e-3, 1e-5, 1e-4, 1e-3], range(5))
    # Without doubt worth naming: the plain mean, the standard deviation, that over the root of 5.
    assert fit.cents == pytest.approx(7.0 + np.mean(off), abs=1e-4)
    assert fit.scatter_cents == pytest.approx(np.std(off, ddof=1), abs=1e-4)
    assert fit.uncertainty_cents == pytest.approx(np.std(off, ddof=1) / np.sqrt(5), abs=1e-4)


def test_tones_that_do_not_scatter_count_by_how_surely_they_were_measured():
    hz = sounding(TWELVE, [0, 1, 2], [0.1, -0.1, 0.0])
    fit = fit_anchor(TWELVE, hz, [0.1, 0.2, 0.4], [0, 1, 2])
    weight = 1.0 / np.array([0.1, 0.2, 0.4]) ** 2
    assert fit.scatter_cents == 0.0
    assert fit.cents == pytest.approx(np.sum(weight * [0.1, -0.1, 0.0]) / weight.sum(), abs=1e-9)
    assert fit.uncertainty_cents == pytest.approx(weight.sum() ** -0.5)


def test_the_anchors_doubt_covers_its_error_as_often_as_it_says():
    rng = np.random.default_rng(3)
    covered = 0
    for _ in range(300):
        doubt = rng.uniform(0.05, 2.0, 12)
        off = rng.normal(0.0, np.hypot(doubt, 1.5)) - 20.0
        fit = fit_anchor(TWELVE, sounding(TWELVE, range(12), off), doubt, range(12))
        covered += abs(fit.cents + 20.0) <= 2.0 * fit.uncertainty_cents
    # 93 % are to be expected of Student's t with 11 degrees; the bounds are 3 deviations off.
    assert 264 <= covered <= 293


def test_a_tone_far_off_is_named_and_has_no_part():
    off = [5.0, 5.5, 4.5, 32.0, 5.2, 4.8]
    fit = fit_anchor(TWELVE, sounding(TWELVE, range(6), off), [0.01] * 6, range(6))
    assert [tone.outlier for tone in fit.tones] == [place == 3 for place in range(6)]
    assert fit.cents == pytest.approx(5.0, abs=1e-3)
    assert fit.tones[3].cents == pytest.approx(27.0, abs=1e-3)


def test_how_far_off_is_too_far_depends_on_how_even_the_others_are():
    even = [1.0, -1.0, 0.5, -0.5, 0.0, 0.8, 8.0]
    uneven = [8.0 * each for each in even[:-1]] + [8.0]
    for off, last in ((even, True), (uneven, False)):
        fit = fit_anchor(TWELVE, sounding(TWELVE, range(7), off), [0.01] * 7, range(7))
        assert [tone.outlier for tone in fit.tones] == [False] * 6 + [last]


def test_less_than_a_cent_is_never_called_far_off():
    fit = fit_anchor(TWELVE, sounding(TWELVE, range(6), [0, 0, 0, 0, 0, 0.9]), [1e-6] * 6, range(6))
    assert not any(tone.outlier for tone in fit.tones)


@pytest.mark.parametrize("shift", [-45.0, -20.0, 0.0, 13.0, 49.0])
@pytest.mark.parametrize("tuning", [TWELVE, TRITAVE])
def test_an_instrument_nearly_half_a_step_off_is_given_its_degrees(tuning, shift):
    degrees = [-3, 0, 4, 7, 12, 14]
    off = shift + np.array([2.0, -2.0, 1.0, 0.0, -1.0, 1.5])
    assert nearest_degrees(tuning, sounding(tuning, degrees, off)) == degrees


def test_changing_the_anchor_changes_no_deviation():
    hz = sounding(THIRTY_ONE, [0, 5, 10], [1.0, -1.0, 0.5])
    other = Tuning(THIRTY_ONE.scale, Anchor(415.0, note=NoteName.parse("A4")))
    here, there = (fit_anchor(each, hz, [0.1] * 3, [0, 5, 10]) for each in (THIRTY_ONE, other))
    assert here.tuning.anchor.hz == pytest.approx(there.tuning.anchor.hz, rel=1e-12)
    assert [tone.cents for tone in here.tones] == pytest.approx(
        [tone.cents for tone in there.tones], abs=1e-9
    )


def test_the_scale_as_it_sounded_sounds_as_it_did():
    off = np.random.default_rng(1).normal(0.0, 3.0, 12)
    hz = sounding(TWELVE, range(12, 24), off)
    fit = fit_anchor(TWELVE, hz, [0.01] * 12, range(12, 24))
    measured = measured_scale(fit, named=True)
    assert measured.scale.names == ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
    again = Tuning(measured.scale, Anchor(measured.hz, degree=0))
    for place, each in enumerate(hz):
        # Cents are told to four decimals.
        assert abs(tones.cents(again.hz_of_degree(12 + place), each)) < 6e-5


def test_without_names_the_lowest_tone_is_degree_0_and_tones_an_octave_apart_are_one():
    fit = fit_anchor(TWELVE, [1026.5, 512.3, 770.7], [0.01] * 3)
    measured = measured_scale(fit, named=False)
    lowest = 512.3 * 2.0 ** (tones.cents(1026.5, 1024.6) / 2400.0)
    assert measured.hz == pytest.approx(lowest, rel=1e-9)
    assert measured.spread_cents == pytest.approx(tones.cents(1026.5, 1024.6))
    assert measured.scale.size == 2
    assert measured.scale.names is None
    assert measured.scale.interval(1).cents == pytest.approx(tones.cents(770.7, lowest), abs=6e-5)


def test_a_scale_of_another_period_is_folded_into_that():
    fit = fit_anchor(TRITAVE, [300.0, 905.0, 500.0, 1200.0], [0.01] * 4)
    measured = measured_scale(fit, named=False)
    assert measured.scale.period == Interval.ratio(3)
    assert all(measured.scale.interval(each) < Interval.ratio(3) for each in range(3))


def test_two_named_degrees_at_one_pitch_are_refused():
    fit = fit_anchor(TWELVE, [261.6, 300.0, 300.0], [0.1] * 3, [0, 2, 3])
    with pytest.raises(InvalidValue, match="rise"):
        measured_scale(fit, named=True)
