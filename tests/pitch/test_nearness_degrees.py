"""Nearest degrees and steps, against a search through all of them and the tables of equal parts."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval, Scale
from meantide.pitch.nearness import nearest_degree, nearest_step

parse = Interval.parse


def distance(scale: Scale, degree: int, target: Interval) -> Interval:
    error = scale.interval(degree) - target
    return max(error, -error)


@st.composite
def scales(draw: st.DrawFn) -> Scale:
    period = draw(st.sampled_from([OCTAVE, Interval.ratio(3), parse("700.5 cents")]))
    if draw(st.booleans()):
        return Scale.equal(draw(st.integers(1, 40)), period)
    shares = draw(st.sets(st.fractions(0, 1, max_denominator=50), max_size=12))
    rising = sorted(share for share in shares if 0 < share < 1)
    return Scale.from_degrees([period * share for share in rising], period)


@given(scales(), intervals(3) | st.fractions(-4, 4, max_denominator=200).map(OCTAVE.__mul__))
def test_no_degree_is_nearer_and_of_two_the_lower_is_taken(scale: Scale, target: Interval) -> None:
    degree, error = nearest_degree(scale, target)
    assert error == scale.interval(degree) - target
    best = distance(scale, degree, target)
    assert best < distance(scale, degree - 1, target)
    assert best <= distance(scale, degree + 1, target)


@given(st.data())
def test_all_the_degrees_of_three_periods_are_searched(data: st.DataObject) -> None:
    scale = data.draw(scales())
    place = data.draw(st.fractions(-1, 2, max_denominator=60))
    target = scale.period * place
    everywhere = range(-2 * scale.size, 3 * scale.size + 1)
    slow = min(everywhere, key=lambda degree: (distance(scale, degree, target), degree))
    assert nearest_degree(scale, target)[0] == slow


@given(st.integers(-(10**6), 10**6), st.integers(1, 10**5))
def test_half_way_between_two_steps_is_the_lower(step: int, parts: int) -> None:
    middle = OCTAVE * Fraction(2 * step + 1, 2 * parts)
    tiny = OCTAVE * Fraction(1, 2 * parts * 10**10)
    assert nearest_step(middle, parts, OCTAVE) == step
    assert nearest_step(middle + tiny, parts, OCTAVE) == step + 1
    assert nearest_step(middle - tiny, parts, OCTAVE) == step


def test_half_way_between_the_last_degree_and_the_period() -> None:
    scale = Scale.from_degrees([parse("700 cents")])
    assert nearest_degree(scale, parse("950 cents")) == (1, parse("-250 cents"))
    assert nearest_degree(scale, parse("950.000001 cents")) == (2, parse("249.999999 cents"))
    assert nearest_degree(scale, parse("-250 cents")) == (-1, parse("-250 cents"))


def test_many_degrees() -> None:
    # Degree d is the ratio (10000 + d)/10000: the harmonics 10000 to 20000.
    harmonics = Scale.from_degrees(Interval.ratio(10_000 + d, 10_000) for d in range(1, 10_000))
    assert nearest_degree(harmonics, parse("3/2")) == (5000, UNISON)
    assert nearest_degree(harmonics, parse("5/4 + 3 of 2/1")) == (32_500, UNISON)
    # √2 · 10000 = 14142.1356...
    assert nearest_degree(harmonics, parse("600 cents"))[0] == 4142
    assert nearest_degree(Scale.equal(100_000), parse("600 cents")) == (50_000, UNISON)


def test_what_cannot_be_divided_is_refused() -> None:
    with pytest.raises(InvalidValue, match="parts: got 0"):
        nearest_step(OCTAVE, 0, OCTAVE)
    with pytest.raises(InvalidValue, match="period: got '1/1'"):
        nearest_step(OCTAVE, 12, UNISON)
    with pytest.raises(InvalidValue, match="degree"):
        nearest_degree(Scale.equal(1000), OCTAVE * 10**15)
