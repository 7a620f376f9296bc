"""Simplest proportions near a chord, against mpmath at 100 digits and a search through all."""

import itertools
import math
from collections.abc import Sequence
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval
from meantide.pitch.nearness import Proportion, near_proportions, near_ratios

parse = Interval.parse


def chord(*texts: str) -> list[Interval]:
    return [parse(text) for text in texts]


def octaves(interval: Interval) -> mpmath.mpf:
    return mpmath.fsum(
        mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
        for prime, power in interval.powers
    )


def largest_prime(numbers: Sequence[int]) -> int:
    primes = [p for p in range(2, 100) if all(p % d for d in range(2, p))]
    return max((p for p in primes if any(n % p == 0 for n in numbers)), default=1)


def all_proportions(
    notes: Sequence[Interval], tolerance: Interval, most: int
) -> list[tuple[int, tuple[int, ...]]]:
    """Return (product, numbers) of every proportion near the notes, by trying all numbers."""
    with mpmath.workdps(100):
        heights = sorted(octaves(note) for note in {UNISON, *notes})
        width = octaves(tolerance) + mpmath.mpf(10) ** -90  # as near to a bound is on it
        logs = [mpmath.mpf(0)] + [mpmath.log(number, 2) for number in range(1, most + 1)]
        pairs = list(itertools.combinations(range(len(heights)), 2))
        return sorted(
            (math.prod(numbers), numbers)
            for numbers in itertools.product(range(1, most + 1), repeat=len(heights))
            if math.gcd(*numbers) == 1
            and all(
                abs(logs[numbers[j]] - logs[numbers[i]] - heights[j] + heights[i]) <= width
                for i, j in pairs
            )
        )


notes = st.one_of(
    st.builds(Interval.ratio, st.integers(1, 9), st.integers(1, 9)),
    st.fractions(-1, 2, max_denominator=31).map(OCTAVE.__mul__),
)
tolerances = st.one_of(
    st.just(UNISON),
    st.just(parse("81/80")),
    st.fractions(0, Fraction(1, 3), max_denominator=500).map(OCTAVE.__mul__),
)


@given(st.lists(notes, min_size=1, max_size=2), tolerances, st.integers(1, 14), st.integers(2, 11))
def test_every_proportion_is_found_in_order(
    others: list[Interval], tolerance: Interval, most: int, limit: int
) -> None:
    if {UNISON, *others} == {UNISON}:
        return
    expected = all_proportions(others, tolerance, most)
    ranked = sorted((largest_prime(numbers), product, numbers) for product, numbers in expected)

    def numbers(**options: object) -> list[tuple[int, ...]]:
        found = near_proportions(others, tolerance, most=most, **{"count": 10**6, **options})
        return [each.numbers for each in found]

    assert numbers() == [each for _, each in expected]
    assert numbers(by="limit") == [each for *_, each in ranked]
    assert numbers(by="limit", limit=limit) == [each for p, _, each in ranked if p <= limit]
    assert numbers(count=3) == [each for _, each in expected[:3]]


# Common practice, no source: the just triads and the harmonic seventh as proportions.
@pytest.mark.parametrize(
    ("texts", "tolerance", "numbers", "limit"),
    [
        (("400 cents", "700 cents"), "16 cents", (4, 5, 6), 5),
        (("300 cents", "700 cents"), "16 cents", (10, 12, 15), 5),
        (("10/31 of 2/1", "18/31 of 2/1", "25/31 of 2/1"), "7 cents", (4, 5, 6, 7), 7),
        (("-500 cents", "400 cents"), "16 cents", (3, 4, 5), 5),
        (("5/3", "7/3"), "0 cents", (3, 5, 7), 7),
        (("3/2", "1/1", "5/4", "3/2"), "0 cents", (4, 5, 6), 5),
    ],
)
def test_known_chords(texts: tuple[str], tolerance: str, numbers: tuple[int], limit: int) -> None:
    found = near_proportions(chord(*texts), parse(tolerance))[0]
    assert (found.numbers, found.limit) == (numbers, limit)


def test_errors_of_every_interval_count() -> None:
    # Of 12 equal parts: 5/4 -13.686 and 3/2 +1.955, so 6/5 is +15.641 (calculated).
    assert near_proportions(chord("400 cents", "700 cents"), parse("15.6 cents"), most=10) == []
    [found] = near_proportions(chord("400 cents", "700 cents"), parse("15.7 cents"), most=10)
    assert found == Proportion(
        (4, 5, 6),
        5,
        (0.0, pytest.approx(-13.686, abs=5.1e-4), pytest.approx(1.955, abs=5.1e-4)),
        pytest.approx(15.641, abs=5.1e-4),
    )


def test_a_bound_is_within_and_nothing_past_it() -> None:
    # 64:80:96 with its third a syntonic comma high is 64:81:96, and no float tells the difference.
    tiny = OCTAVE * Fraction(1, 10**17)
    comma = parse("81/80")
    for tolerance, there in ((comma, True), (comma - tiny, False)):
        found = near_proportions(chord("5/4", "3/2"), tolerance, most=96, limit=3)
        assert ((64, 81, 96) in [each.numbers for each in found]) == there


def test_two_notes_are_a_ratio() -> None:
    target, tolerance = parse("386.31 cents"), parse("150 cents")
    pairs = [each.numbers for each in near_proportions([target], tolerance, count=50)]
    ratios = near_ratios(target, tolerance, count=50)
    assert pairs == [(each.denominator, each.numerator) for each in ratios]


@pytest.mark.parametrize(
    ("texts", "options", "message"),
    [
        (("1/1",), {}, "chord: got '1 notes'; allowed: 2 to 16 different notes"),
        (tuple(f"{n}/1" for n in range(2, 18)), {}, "chord: got '17 notes'"),
        (("3/2",), {"most": 100_001}, "most"),
        (("3/2",), {"most": 0}, "most: got 0"),
        (("3/2",), {"limit": 0}, "limit: got 0"),
        (("3/2",), {"tolerance": parse("-1 cents")}, "tolerance"),
        (
            tuple(f"{n}/5" for n in range(6, 20)),
            {"tolerance": parse("300 cents"), "count": 10**6},
            "search: got 'more than 200000 of them'",
        ),
    ],
)
def test_what_cannot_be_searched_is_refused(
    texts: tuple[str], options: dict[str, object], message: str
) -> None:
    with pytest.raises(InvalidValue, match=message):
        near_proportions(chord(*texts), **{"tolerance": parse("5 cents"), **options})
