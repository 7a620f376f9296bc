"""Commas that equal divisions temper out, against a search through every exponent."""

import itertools
import math
from collections.abc import Mapping

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval
from meantide.pitch.nearness import primes_up_to, steps_of_primes, tempered_commas

parse = Interval.parse

# Calculated to twelve or nine decimals; the first two are published as 23.46001038 and 21.5062896.
NAMED = {
    "Pythagorean comma": ("531441/524288", 23.460010384649),
    "syntonic comma": ("81/80", 21.506289596715),
    "schisma": ("32805/32768", 1.953720787934),
    "diaschisma": ("2048/2025", 19.552568809),
    "lesser diesis": ("128/125", 41.058858405),
    "septimal comma": ("64/63", 27.264091800),
    "limma": ("256/243", 90.224995673),
    "apotome": ("2187/2048", 113.685006058),
}
# Which division tempers out which, by 81/80 and its like coming to no steps: common practice, no
# source, and arithmetic that a reader can do (12: 4·19 - 28 - 4·12 = 0).
TEMPERED = {
    12: {"Pythagorean comma", "syntonic comma", "schisma", "diaschisma", "lesser diesis",
         "septimal comma"},
    19: {"syntonic comma"},
    22: {"diaschisma", "septimal comma"},
    31: {"syntonic comma"},
    53: {"schisma"},
    7: {"syntonic comma", "septimal comma", "apotome"},
    5: {"syntonic comma", "septimal comma", "limma"},
}  # fmt: skip

Found = list[tuple[int, int, int]]


def slow_steps(parts: int, primes: tuple[int, ...], period: Interval) -> dict[int, int]:
    """Return the nearest step of each prime by mpmath; no prime is half-way between two."""
    with mpmath.workdps(100):
        whole = mpmath.fsum(float(power) * mpmath.log(prime) for prime, power in period.powers)
        return {p: int(mpmath.nint(parts * mpmath.log(p) / whole)) for p in primes}


def slow_commas(steps: Mapping[int, int], size_cents: mpmath.mpf, most: int) -> Found:
    """Return (n·d, n, d) of every comma by trying every exponent that `most` allows.

    Each of n and d is below √(2·most), since n < 2 d.
    """
    largest = math.isqrt(2 * most)
    ranges = []
    for prime in steps:
        top = int(mpmath.floor(mpmath.log(largest, prime))) + 1
        ranges.append(range(-top, top + 1))
    found = []
    with mpmath.workdps(100):
        for powers in itertools.product(*ranges):
            if sum(s * e for s, e in zip(steps.values(), powers, strict=True)):
                continue
            if math.gcd(*powers) != 1:
                continue
            both = list(zip(steps, powers, strict=True))
            above = math.prod(p**e for p, e in both if e > 0)
            below = math.prod(p**-e for p, e in both if e < 0)
            if above > below and above * below <= most:
                cents = 1200 * mpmath.log(mpmath.mpf(above) / below, 2)
                if cents <= size_cents + mpmath.mpf(10) ** -90:
                    found.append((above * below, above, below))
    return sorted(found)


def fast_commas(steps: Mapping[int, int], size: Interval, most: int, count: int = 10**6) -> Found:
    found = tempered_commas(steps, size, most=most, count=count)
    for comma in found:
        assert comma.interval == Interval.ratio(comma.numerator, comma.denominator)
    return [(comma.numerator * comma.denominator, comma.numerator, comma.denominator)
            for comma in found]  # fmt: skip


@pytest.mark.parametrize("parts", [5, 7, 12, 19, 31, 53, 118])
def test_nothing_is_missed_in_the_five_limit(parts: int) -> None:
    steps = slow_steps(parts, (2, 3, 5), OCTAVE)
    assert steps == steps_of_primes(parts, (2, 3, 5))
    slow = slow_commas(steps, mpmath.mpf(120), 10**12)
    assert fast_commas(steps, parse("120 cents"), 10**12) == slow
    assert fast_commas(steps, parse("120 cents"), 10**12, count=2) == slow[:2]


@given(
    st.integers(1, 80),
    st.sampled_from([(2, 3), (2, 3, 7), (2, 3, 5, 7), (3, 5, 7), (2, 5, 11, 13)]),
    st.sampled_from([OCTAVE, Interval.ratio(3), parse("3/2")]),
    st.integers(1, 10**5),
    st.sampled_from(
        [parse("50 cents"), parse("81/80"), OCTAVE, parse("49/48"), parse("0.5 cents")]
    ),
)
def test_nothing_is_missed_elsewhere(
    parts: int, primes: tuple[int, ...], period: Interval, most: int, size: Interval
) -> None:
    steps = slow_steps(parts, primes, period)
    assert steps == steps_of_primes(parts, primes, period)
    with mpmath.workdps(100):
        cents = 1200 * mpmath.fsum(
            mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
            for prime, power in size.powers
        )
    assert fast_commas(steps, size, most) == slow_commas(steps, cents, most)


@pytest.mark.parametrize("parts", TEMPERED)
def test_the_named_commas(parts: int) -> None:
    steps = steps_of_primes(parts, primes_up_to(7))
    found = tempered_commas(steps, parse("120 cents"), count=10**6)
    names = {comma.name: comma for comma in found if comma.name}
    assert set(names) == TEMPERED[parts]
    for name, comma in names.items():
        text, cents = NAMED[name]
        assert comma.interval == parse(text)
        assert comma.interval.cents == pytest.approx(cents, abs=5.1e-10)


def test_the_size_itself_is_within() -> None:
    steps = steps_of_primes(12, (2, 3, 5))
    assert fast_commas(steps, parse("81/80"), 6480) == [(6480, 81, 80)]
    just_below = parse("81/80") - parse("1/100000000000000000 of 81/80")
    assert fast_commas(steps, just_below, 6480) == []
    assert fast_commas(steps, parse("81/80"), 6479) == []


def test_fifty_three_fifths_are_far_but_found() -> None:
    # 53 fifths less 31 octaves, 3.615 cents (from memory), have numbers of 26 digits.
    steps = steps_of_primes(53, (2, 3))
    [comma] = tempered_commas(steps, parse("50 cents"), most=10**60)
    assert (comma.numerator, comma.denominator) == (3**53, 2**84)
    assert comma.interval == parse("53 of 3/2 - 31 of 2/1")
    assert comma.interval.cents == pytest.approx(3.615, abs=5e-4)


def test_a_period_without_octaves() -> None:
    # 13 parts of 3/1 take 5 to 19 and 7 to 23 steps, so 245/243 = 5·7²/3⁵ is 19 + 46 - 65 = 0.
    steps = steps_of_primes(13, (3, 5, 7), Interval.ratio(3))
    assert steps == {3: 13, 5: 19, 7: 23}
    first = tempered_commas(steps, parse("50 cents"))[0]
    assert (first.numerator, first.denominator) == (245, 243)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"size": UNISON}, "size: got '1/1'; allowed: above 0 cents"),
        ({"size": parse("1201 cents")}, "size"),
        ({"most": 0}, "most: got 0"),
        ({"most": 10**60 + 1}, "most"),
        ({"most": 10**60, "count": 10**6}, "search: got 'more than 200000 numbers'"),
    ],
)
def test_what_cannot_be_searched_is_refused(options: dict[str, object], message: str) -> None:
    steps = steps_of_primes(31, primes_up_to(31))
    with pytest.raises(InvalidValue, match=message):
        tempered_commas(steps, **{"size": parse("1 cents"), **options})


@pytest.mark.parametrize("primes", [(4,), (1,), (101,), ()])
def test_only_small_primes_have_steps(primes: tuple[int, ...]) -> None:
    with pytest.raises(InvalidValue, match="primes from 2 to 97"):
        steps_of_primes(12, primes)
