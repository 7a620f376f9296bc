"""Simplest ratios near an interval, against mpmath at 100 digits and a search through all pairs."""

import math
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval
from meantide.pitch.nearness import near_ratios, primes_up_to
from meantide.pitch.nearness.numbers import products
from meantide.pitch.nearness.window import Window

parse = Interval.parse

# The sizes asked about are far apart or equal: whatever is nearer to a bound than this is on it.
SAME = mpmath.mpf(10) ** -90


def octaves(interval: Interval) -> mpmath.mpf:
    return mpmath.fsum(
        mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
        for prime, power in interval.powers
    )


def largest_prime(number: int) -> int:
    """Return the largest prime of a number by trial division; 1 for 1."""
    largest, divisor = 1, 2
    while number > 1:
        while number % divisor == 0:
            number //= divisor
            largest = divisor
        divisor += 1
    return largest


def all_pairs(target: Interval, tolerance: Interval, most: int) -> list[tuple[int, int, int]]:
    """Return (n·d, n, d) of all ratios within the tolerance, by trying every pair."""
    with mpmath.workdps(100):
        middle, width = octaves(target), octaves(tolerance)
        return sorted(
            (above * below, above, below)
            for below in range(1, most + 1)
            for above in range(1, most // below + 1)
            if math.gcd(above, below) == 1
            and abs(mpmath.log(mpmath.mpf(above) / below, 2) - middle) <= width + SAME
        )


targets = st.one_of(
    st.builds(Interval.ratio, st.integers(1, 40), st.integers(1, 40)),
    st.fractions(-3, 3, max_denominator=1000).map(OCTAVE.__mul__),
    intervals(2).filter(lambda interval: abs(interval.octaves) < 5),
)
tolerances = st.one_of(
    st.just(UNISON),
    st.fractions(0, Fraction(1, 6), max_denominator=5000).map(OCTAVE.__mul__),
    st.builds(lambda n: Interval.ratio(n + 1, n), st.integers(8, 100)),
)


@given(targets, tolerances, st.integers(1, 500))
def test_every_ratio_is_found_in_order(target: Interval, tolerance: Interval, most: int) -> None:
    found = near_ratios(target, tolerance, most=most, count=10**6)
    assert [(each.size, each.numerator, each.denominator) for each in found] == all_pairs(
        target, tolerance, most
    )
    for each in found:
        assert each.limit == max(largest_prime(each.numerator), largest_prime(each.denominator))
        with mpmath.workdps(100):
            ratio = mpmath.mpf(each.numerator) / each.denominator
            error = 1200 * (mpmath.log(ratio, 2) - octaves(target))
        # The error itself rounds to a float; nothing is lost before.
        assert each.error_cents == pytest.approx(float(error), rel=1e-14, abs=1e-80)


@given(
    targets,
    tolerances,
    st.integers(1, 400),
    st.integers(2, 23),
    st.integers(1, 20),
    st.sampled_from(["size", "limit"]),
)
def test_limit_and_count_choose_from_them(
    target: Interval, tolerance: Interval, most: int, limit: int, count: int, by: str
) -> None:
    ranked = [
        (max(largest_prime(above), largest_prime(below)), size, above, below)
        for size, above, below in all_pairs(target, tolerance, most)
    ]
    allowed = [each for each in ranked if each[0] <= limit]
    if by == "limit":
        ranked.sort()
        allowed.sort()
    for expected, bound in ((ranked, None), (allowed, limit)):
        found = near_ratios(target, tolerance, most=most, count=count, limit=bound, by=by)
        assert [(each.limit, each.size, each.numerator, each.denominator) for each in found] == (
            expected[:count]
        )


@given(targets, st.integers(3, 10**9))
def test_nothing_simpler_lies_within(target: Interval, width: int) -> None:
    # Python's own nearest fraction below a denominator is the oracle where pairs are too many.
    tolerance = OCTAVE * Fraction(1, width)
    found = near_ratios(target, tolerance, most=10**12, count=1)
    if not found or found[0].denominator == 1:
        return
    with mpmath.workdps(60):
        value = mpmath.mpf(2) ** octaves(target)
        exact = Fraction(int(value * 10**50), 10**50)
        nearest = exact.limit_denominator(found[0].denominator - 1)
        if nearest > 0:
            height = mpmath.log(mpmath.mpf(nearest.numerator) / nearest.denominator, 2)
            assert abs(height - octaves(target)) > octaves(tolerance) - mpmath.mpf(10) ** -40


@pytest.mark.parametrize("limit", [None, 5])
def test_the_bound_itself_is_within_and_nothing_past_it(limit: int | None) -> None:
    # 81/64 lies just a syntonic comma above 5/4; floats cannot tell the three tolerances apart.
    comma, tiny = parse("81/80"), parse("81/80") * Fraction(1, 10**17)
    assert parse("81/64").octaves == (parse("81/64") - tiny).octaves

    def has_ditone(tolerance: Interval) -> bool:
        found = near_ratios(parse("5/4"), tolerance, most=81 * 64, count=10**6, limit=limit)
        return (81, 64) in [(each.numerator, each.denominator) for each in found]

    assert has_ditone(comma)
    assert has_ditone(comma + tiny)
    assert not has_ditone(comma - tiny)
    assert near_ratios(parse("5/4"), UNISON)[0].error_cents == 0
    assert near_ratios(parse("5/4") + tiny, UNISON) == []


# Equal parts of the octave, calculated to three decimals: steps, ratio, error of the step.
@pytest.mark.parametrize(
    ("step", "ratio", "error_cents"),
    [
        ("7/12 of 2/1", "3/2", -1.955),
        ("4/12 of 2/1", "5/4", 13.686),
        ("18/31 of 2/1", "3/2", -5.181),
        ("10/31 of 2/1", "5/4", 0.783),
        ("25/31 of 2/1", "7/4", -1.084),
        ("31/53 of 2/1", "3/2", -0.068),
        ("43/53 of 2/1", "7/4", 4.759),
    ],
)
def test_steps_of_equal_parts_name_the_ratio_they_stand_for(
    step: str, ratio: str, error_cents: float
) -> None:
    found = near_ratios(parse(step), parse("14 cents"), limit=7, most=100, count=1)[0]
    assert Interval.ratio(found.numerator, found.denominator) == parse(ratio)
    assert found.error_cents == pytest.approx(-error_cents, abs=5.1e-4)


def test_nothing_is_found_out_of_reach() -> None:
    for octave in (2000, -2000):
        for limit in (None, 97):
            assert near_ratios(OCTAVE * octave, parse("5 cents"), most=10**12, limit=limit) == []
    found = near_ratios(Interval.ratio(10**12), UNISON, most=10**12)
    assert [(each.numerator, each.denominator) for each in found] == [(10**12, 1)]


def test_small_intervals_lie_far_down_one_arm_of_the_tree() -> None:
    # The ratios (n + 1)/n near 0.01 cent have n = 1/(2**(0.01/1200) - 1), here within 0.001 %.
    found = near_ratios(parse("0.01 cents"), parse("0.0000001 cents"), most=10**12, count=3)
    exact = 1 / (2 ** (mpmath.mpf("0.01") / 1200) - 1)
    assert found[0].numerator == found[0].denominator + 1
    assert found[0].denominator == pytest.approx(float(exact), rel=1e-5)
    # That of 0.0001 cent has numbers of eight digits, past the bound.
    assert near_ratios(parse("0.0001 cents"), parse("0.00001 cents"), most=10**12) == []


@given(st.integers(1, 2000), st.sampled_from([2, 3, 5, 7, 11, 13]))
def test_products_are_the_numbers_without_a_larger_prime(most: int, limit: int) -> None:
    found = products(dict.fromkeys(primes_up_to(limit), 1), most)
    assert sorted(found) == [n for n in range(1, most + 1) if largest_prime(n) <= limit]


def test_products_weigh_their_primes() -> None:
    assert products({2: 12, 3: 19}, 12) == {
        1: 0, 2: 12, 4: 24, 8: 36, 3: 19, 6: 31, 12: 43, 9: 38,
    }  # fmt: skip


@given(targets, tolerances, st.integers(1, 60), st.integers(1, 200))
def test_numbers_over_a_denominator(
    target: Interval, tolerance: Interval, below: int, most: int
) -> None:
    window = Window.around(target, tolerance)
    with mpmath.workdps(100):
        middle, width = octaves(target), octaves(tolerance)
        sides = [mpmath.log(mpmath.mpf(above) / below, 2) - middle for above in range(1, most + 1)]
        within = [n for n, side in enumerate(sides, 1) if abs(side) <= width + SAME]
        under = sum(side < -width - SAME for side in sides)
    found = window.numbers_over(below, most)
    assert list(found) == within
    assert found.start == under + 1


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"tolerance": parse("-1 cents")}, "tolerance: got '-1 cents'; allowed: 0 to 1200 cents"),
        ({"tolerance": parse("1201 cents")}, "tolerance"),
        ({"most": 0}, "most: got 0"),
        ({"most": True}, "most: got True"),
        ({"most": 10**12 + 1}, "most"),
        ({"limit": 1}, "limit: got 1; allowed: a whole number from 2 to 97"),
        ({"limit": 98}, "limit"),
        ({"tolerance": parse("100 cents"), "most": 10**9, "by": "limit"}, "search: got 'more"),
        ({"tolerance": parse("100 cents"), "most": 10**12, "by": "limit", "limit": 97}, "search"),
    ],
)
def test_what_cannot_be_searched_is_refused(options: dict[str, object], message: str) -> None:
    with pytest.raises(InvalidValue, match=message):
        near_ratios(parse("5/4"), **{"tolerance": parse("5 cents"), **options})


def test_primes() -> None:
    assert primes_up_to(7) == (2, 3, 5, 7)
    assert primes_up_to(10) == (2, 3, 5, 7)
    slow = [n for n in range(2, 98) if all(n % d for d in range(2, n))]
    assert list(primes_up_to(97)) == slow
