"""Scales: equal divisions and listed degrees, at any period and any size."""

import pickle
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval, Scale
from meantide.pitch.scale import MAX_DEGREE

parse = Interval.parse

FIVE_LIMIT = ["16/15", "9/8", "6/5", "5/4", "4/3", "45/32", "3/2", "8/5", "5/3", "9/5", "15/8"]

# Steps of the nearest degree and its error in cents; calculated from the definitions, and the
# whole tones of 19, 22 and 53 are printed as 189.473684, 218.181818 and 203.773585.
EQUAL_DIVISIONS = {
    12: [("3/2", 7, -1.955), ("5/4", 4, 13.686), ("6/5", 3, -15.641), ("7/4", 10, 31.174),
         ("11/8", 6, 48.682)],
    19: [("3/2", 11, -7.218), ("5/4", 6, -7.366), ("6/5", 5, 0.148), ("7/4", 15, -21.457),
         ("11/8", 9, 17.103)],
    22: [("3/2", 13, 7.136), ("5/4", 7, -4.496), ("6/5", 6, 11.631), ("7/4", 18, 12.992),
         ("11/8", 10, -5.863)],
    31: [("3/2", 18, -5.181), ("5/4", 10, 0.783), ("6/5", 8, -5.964), ("7/4", 25, -1.084),
         ("11/8", 14, -9.382)],
    53: [("3/2", 31, -0.068), ("5/4", 17, -1.408), ("6/5", 14, 1.340), ("7/4", 43, 4.759),
         ("11/8", 24, -7.922)],
}  # fmt: skip


def exact_octaves(interval: Interval) -> mpmath.mpf:
    with mpmath.workdps(50):
        return mpmath.fsum(
            mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
            for prime, power in interval.powers
        )


@pytest.mark.parametrize("parts", EQUAL_DIVISIONS)
def test_equal_divisions_come_as_near_as_the_table_says(parts: int) -> None:
    scale = Scale.equal(parts)
    for ratio, degree, error_cents in EQUAL_DIVISIONS[parts]:
        found = 1200 * scale.octaves(degree) - parse(ratio).cents
        assert found == pytest.approx(error_cents, abs=5.1e-4)
        assert (scale.interval(degree) - parse(ratio)).cents == pytest.approx(found, abs=1e-10)
    assert scale.fifth == EQUAL_DIVISIONS[parts][0][1]


@pytest.mark.parametrize(
    ("parts", "degree", "cents"), [(19, 3, 189.473684), (22, 4, 218.181818), (53, 9, 203.773585)]
)
def test_whole_tones_as_printed(parts: int, degree: int, cents: float) -> None:
    assert Scale.equal(parts).interval(degree).cents == pytest.approx(cents, abs=5.1e-7)


def test_thirteen_equal_parts_of_three() -> None:
    scale = Scale.equal(13, Interval.ratio(3))
    assert scale.interval(1).cents == pytest.approx(146.304230836, abs=5.1e-10)
    assert scale.interval(13) == Interval.ratio(3)
    assert scale.interval(-26) == Interval.ratio(1, 9)
    assert scale.fifth is None


# Equal steps against the just set; calculated, just set as printed on a Bohlen-Pierce page.
@pytest.mark.parametrize(
    ("degree", "ratio", "difference_cents"),
    [(1, "27/25", 13.067), (2, "25/21", -9.238), (3, "9/7", 3.829), (4, "7/5", 2.705),
     (5, "75/49", -5.409), (6, "5/3", -6.533), (7, "9/5", 6.533), (10, "7/3", -3.829)],
)  # fmt: skip
def test_thirteen_equal_parts_of_three_beside_the_just_set(
    degree: int, ratio: str, difference_cents: float
) -> None:
    found = (Scale.equal(13, Interval.ratio(3)).interval(degree) - parse(ratio)).cents
    assert found == pytest.approx(difference_cents, abs=1.1e-3)


def test_five_limit_degrees_as_tabled() -> None:
    scale = Scale.from_degrees([parse(text) for text in FIVE_LIMIT])
    tabled = [0, 111.731, 203.910, 315.641, 386.314, 498.045, 590.224, 701.955, 813.686, 884.359,
              1017.596, 1088.269, 1200]  # fmt: skip
    assert [1200 * scale.octaves(d) for d in range(13)] == pytest.approx(tabled, abs=5.1e-4)


def test_harmonics_eight_to_sixteen_as_tabled() -> None:
    scale = Scale.from_degrees([Interval.ratio(n, 8) for n in range(9, 16)])
    tabled = [0, 203.910, 386.314, 551.318, 701.955, 840.528, 968.826, 1088.269, 1200]
    assert [1200 * scale.octaves(d) for d in range(9)] == pytest.approx(tabled, abs=5.1e-4)
    assert scale.interval(8 + 3) == Interval.ratio(11, 4)
    assert scale.interval(-8 + 3) == Interval.ratio(11, 16)


listed_steps = (
    st.sets(intervals(6).filter(lambda step: step > UNISON), min_size=1, max_size=8)
    .map(sorted)
    .map(lambda steps: (steps[:-1], steps[-1]))
)


@given(listed_steps, st.integers(-(10**9), 10**9))
def test_degrees_agree_as_exact_intervals_and_as_floats(
    steps: tuple[list[Interval], Interval], degree: int
) -> None:
    scale = Scale.from_degrees(steps[0], steps[1])
    exact = exact_octaves(scale.interval(degree))
    assert abs(scale.octaves(degree) - exact) <= 1e-15 * abs(exact)
    assert scale.interval(degree + scale.size) == scale.interval(degree) + scale.period
    assert scale.interval(degree) < scale.interval(degree + 1)


def test_degrees_just_under_a_period_boundary_keep_their_digits() -> None:
    near = OCTAVE - parse("0.000001 cents")
    scale = Scale.from_degrees([near])
    exact = exact_octaves(parse("-0.000001 cents"))
    assert abs(scale.octaves(-1) / exact - 1) < 1e-15


@given(st.integers(1, 100_000), st.integers(-(10**6), 10**6), st.sampled_from(["2/1", "3/1"]))
def test_equal_divisions_are_exact_at_every_degree(parts: int, degree: int, period: str) -> None:
    scale = Scale.equal(parts, parse(period))
    assert scale.interval(degree) == parse(period) * Fraction(degree, parts)
    exact = exact_octaves(scale.interval(degree))
    assert abs(scale.octaves(degree) - exact) <= 1e-15 * abs(exact)


def test_a_hundred_thousand_parts_are_not_written_out() -> None:
    scale = Scale.equal(100_000)
    assert scale.steps is None
    assert scale.interval(99_999) == OCTAVE * Fraction(99_999, 100_000)
    assert scale.fifth == 58_496  # 100,000 log2(3/2) = 58,496.25


def test_a_hundred_thousand_listed_degrees() -> None:
    scale = Scale.from_degrees(
        [OCTAVE * Fraction(part, 10**5 + 1) for part in range(1, 10**5)], name="fine"
    )
    assert scale.size == 100_000
    assert scale.interval(150_000) == OCTAVE + OCTAVE * Fraction(50_000, 10**5 + 1)


@given(st.integers(1, 5000))
def test_the_fifth_is_the_degree_nearest_to_three_to_two(parts: int) -> None:
    fifth = Scale.equal(parts).fifth
    assert fifth is not None
    error = abs(Interval.ratio(3, 2).octaves * parts - fifth)
    assert error <= 0.5


def test_one_degree_a_period() -> None:
    assert Scale.from_degrees([]).interval(5) == Interval.ratio(32)
    assert Scale.equal(1).interval(-1) == Interval.ratio(1, 2)


@pytest.mark.parametrize("parts", [0, -1, 100_001, 12.0, True, "12"])
def test_sizes_out_of_range(parts: int) -> None:
    with pytest.raises(InvalidValue, match="from 1 to 100000"):
        Scale.equal(parts)


@pytest.mark.parametrize(
    ("steps", "period", "field", "reason"),
    [
        (["3/2", "5/4"], "2/1", "degrees item 2", "not above 3/2"),
        (["5/4", "10/8"], "2/1", "degrees item 2", "not above 5/4"),
        (["1/1", "5/4"], "2/1", "degrees item 1", "not above 1/1"),
        (["4/5"], "2/1", "degrees item 1", "not above 1/1"),
        (["5/4", "2/1"], "2/1", "degrees item 2", "below the period 2/1"),
        (["5/4", "5/2"], "2/1", "degrees item 2", "below the period 2/1"),
        (["5/4"], "1/1", "period", "above 1/1"),
        (["5/4"], "2/3", "period", "above 1/1"),
    ],
)
def test_steps_that_do_not_rise_within_the_period(
    steps: list[str], period: str, field: str, reason: str
) -> None:
    with pytest.raises(InvalidValue, match=reason) as caught:
        Scale.from_degrees([parse(step) for step in steps], parse(period))
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("naming", "field", "reason"),
    [
        ({"fifth": 2, "names": ["C", "D", "E"]}, "names", "not both"),
        ({"fifth": 0}, "fifth", "from 1 to 3"),
        ({"fifth": 4}, "fifth", "from 1 to 3"),
        ({"fifth": True}, "fifth", "from 1 to 3"),
        ({"names": ["C", "D"]}, "names", "each of 3 degrees"),
        ({"names": ["C", "D", "D"]}, "names item 3", "that differ"),
        ({"names": ["C", "H", "D"]}, "names item 2", "A to G"),
        ({"names": ["C", "D4", "D"]}, "names item 2", "A to G"),
        ({"names": ["C", "D#b", "D"]}, "names item 2", "A to G"),
        ({"names": ["D", "G", "F"]}, "names item 3", "count up within an octave.* not after G"),
    ],
)
def test_namings_that_do_not_fit(naming: dict[str, object], field: str, reason: str) -> None:
    with pytest.raises(InvalidValue, match=reason) as caught:
        Scale.equal(3, **naming)  # type: ignore[arg-type]
    assert caught.value.field == field


@pytest.mark.parametrize("degree", [0.5, True, MAX_DEGREE + 1, -MAX_DEGREE - 1])
def test_degrees_are_whole_numbers_in_range(degree: int) -> None:
    with pytest.raises(InvalidValue, match="a whole number"):
        Scale.equal(12).interval(degree)


def test_scales_are_values() -> None:
    scale = Scale.from_degrees([parse("9/8")], names=["C", "D"])
    assert scale == Scale.from_degrees([parse("18/16")], names=("C", "D"))
    assert hash(scale) == hash(Scale.from_degrees([parse("18/16")], names=("C", "D")))
    assert scale != Scale.from_degrees([parse("9/8")])
    with pytest.raises(AttributeError):
        scale.size = 3  # type: ignore[misc]


def test_a_mapping_says_no_more_than_it_must() -> None:
    assert Scale.equal(31).to_mapping() == {"equal": 31}
    assert Scale.equal(31, fifth=17).to_mapping() == {"fifth": 17, "equal": 31}
    assert Scale.equal(13, Interval.ratio(3), name="quay").to_mapping() == {
        "name": "quay",
        "period": "3/1",
        "equal": 13,
    }
    listed = Scale.from_degrees([parse("3/2 - 1/4 of 81/80")], names=["C", "G"], source="invented")
    assert listed.to_mapping() == {
        "source": "invented",
        "names": ["C", "G"],
        "degrees": ["1/4 of 5/1"],
    }


def test_scales_cross_between_processes() -> None:
    scale = Scale.from_degrees([parse("9/8"), parse("5/4")], names=["C", "D", "E"])
    again = pickle.loads(pickle.dumps(scale))  # noqa: S301  our own bytes
    assert again == scale
    assert again.octaves(-5) == scale.octaves(-5)
    assert again.listed == scale.listed
