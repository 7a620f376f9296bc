"""A spectrum for a scale: every partial on a degree, no power lost, smooth where it should be."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.catalogue import Catalogue
from meantide.pitch import Interval, Scale
from meantide.reading import value_of
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.fitted import degree_near, fitted
from meantide.voice.roughness import RoughnessCurve
from meantide.voice.roughness_minima import survey
from meantide.voice_files import read_voice, voice_to_mapping

THIRTEEN_OF_THREE = Scale.equal(13, Interval.ratio(3), name="13-equal-of-3")
FIVE = Scale.from_degrees([Interval.parse(text) for text in ("9/8", "5/4", "3/2", "5/3")])


def harmonics(count: int, **more: float) -> AdditiveVoice:
    return AdditiveVoice("test", tuple(Partial(float(n)) for n in range(1, count + 1)), **more)


def test_seven_harmonics_in_ten_equal_parts() -> None:
    """Tenths of an octave nearest to 10 log2 n: 0, 10, 15.85, 20, 23.22, 25.85, 28.07 (by hand)."""
    made = fitted(harmonics(7), Scale.equal(10), "ten", "test")
    assert [each.degree for each in made.drawn] == [0, 10, 16, 20, 23, 26, 28]
    for partial, degree in zip(made.voice.partials, (0, 10, 16, 20, 23, 26, 28), strict=True):
        assert partial.ratio == pytest.approx(2.0 ** (degree / 10), rel=1e-14)
    # The third harmonic lies 1901.955 cents up, the degree 1920.
    assert made.drawn[2].moved_cents == pytest.approx(1920.0 - 1901.955, abs=1e-3)
    # The fifth moves farthest: it lies 2786.314 cents up, the degree 2760.
    assert made.widest_cents == pytest.approx(26.314, abs=5.1e-4)


def test_a_fitted_spectrum_is_smooth_on_the_degrees_of_an_equal_scale() -> None:
    made = fitted(Catalogue().voice("plain-reed"), THIRTEEN_OF_THREE, "made", "test").voice
    landscape = survey(RoughnessCurve.of_voice(made, 261.6), 3.0)
    deep = [m for m in landscape.minima if m.depth > 0.02 * landscape.roughest]
    step = 1200.0 * math.log2(3.0) / 13
    assert [m.cents for m in deep] == pytest.approx([n * step for n in range(14)], abs=1e-9)


def test_partials_that_meet_are_added_by_power_and_keep_the_strongest_ones_decay() -> None:
    partials = (Partial(1.0, 0.0), Partial(1.9, -3.0, 2.0), Partial(2.1, -6.0, 9.0))
    envelope = Envelope(0.1, 0.2, -3.0, 0.4)
    voice = AdditiveVoice("three", partials, envelope, velocity_exponent=2.0)
    made = fitted(voice, Scale.equal(1), "octaves", "test").voice
    assert [p.ratio for p in made.partials] == [1.0, 2.0]
    assert made.partials[1].decay_s == 2.0
    both = 10.0 * math.log10(10.0**-0.3 + 10.0**-0.6)
    levels = [p.level_db for p in made.partials]
    assert levels[1] - levels[0] == pytest.approx(both, abs=1e-12)
    assert (made.envelope, made.velocity_exponent) == (envelope, 2.0)


def test_tilt_and_stiffness_become_levels_and_places() -> None:
    stiff = harmonics(6, inharmonicity=0.002, tilt_db=-6.0)
    fine = Scale.equal(12_000)  # a tenth of a cent: nothing moves, nothing meets
    made = fitted(stiff, fine, "fine", "test").voice
    assert (made.tilt_db, made.inharmonicity) == (0.0, 0.0)
    for before, after in zip(stiff.sounding_partials(), made.sounding_partials(), strict=True):
        assert abs(1200.0 * math.log2(after.ratio / before.ratio)) <= 0.05 + 1e-9
        assert after.level_db == pytest.approx(before.level_db, abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(0.25, 64.0), st.floats(-60.0, 0.0)), min_size=1, max_size=30),
    st.sampled_from([Scale.equal(7), Scale.equal(53), THIRTEEN_OF_THREE, FIVE]),
)
def test_every_partial_lies_on_a_degree_and_the_power_stays(
    partials: list[tuple[float, float]], scale: Scale
) -> None:
    voice = AdditiveVoice("any", tuple(Partial(*each) for each in partials))
    made = fitted(voice, scale, "made", "test")
    places = [partial.ratio for partial in made.voice.partials]
    assert places == sorted(set(places))
    for each in made.drawn:
        place = math.exp2(scale.octaves(each.degree))
        assert place in places
        # No other degree is nearer: a slow search over six periods either way.
        nearest = min(
            abs(scale.octaves(d) - math.log2(each.ratio))
            for d in range(-6 * scale.size, 9 * scale.size)
        )
        assert abs(each.moved_cents) == pytest.approx(1200.0 * nearest, abs=1e-9)
    before = sum(10.0 ** (p.level_db / 10.0) for p in voice.sounding_partials())
    after = sum(10.0 ** (p.level_db / 10.0) for p in made.voice.partials)
    assert after == pytest.approx(before, rel=1e-9)


@pytest.mark.parametrize(
    ("ratio", "degree"),
    [(1.0, 0), (2.0, 5), (0.5, -5), (1.06, 0), (1.07, 1), (1.85, 5), (1.8, 4), (4.0, 10)],
)
def test_the_nearest_degree_of_an_unequal_scale(ratio: float, degree: int) -> None:
    """1/1 9/8 5/4 3/2 5/3: halfway in pitch between 1 and 9/8 is 1.0607, 5/3 and 2 is 1.8257."""
    assert degree_near(FIVE, ratio) == degree


def test_a_fitted_voice_is_written_and_read_back_equal() -> None:
    made = fitted(Catalogue().voice("harbour-bell"), FIVE, "quay-bell", "made by a test").voice
    assert read_voice(value_of(voice_to_mapping(made))) == made
    assert made.about == "the spectrum of harbour-bell, drawn to this scale of 5 degrees"
