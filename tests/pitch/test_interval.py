"""Exact intervals: published sizes, arithmetic, order and text, against mpmath and integers."""

import itertools
import math
import pickle
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import fractions, intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval
from meantide.pitch.interval import MAX_EXPONENT

parse = Interval.parse

# Calculated from the definitions with mpmath at 40 digits and printed to 12 or 9 decimals; the
# Pythagorean and syntonic commas are published as 23.46001038 and 21.5062896.
COMMAS = {
    "531441/524288": 23.460010384649,
    "81/80": 21.506289596715,
    "32805/32768": 1.953720787934,
    "2048/2025": 19.552568809,
    "128/125": 41.058858405,
    "64/63": 27.264091800,
    "256/243": 90.224995673,
    "2187/2048": 113.685006058,
}
JUST = {
    "3/2": 701.955000865,
    "4/3": 498.044999135,
    "5/4": 386.313713865,
    "6/5": 315.641287001,
    "7/4": 968.825906469,
    "9/8": 203.910001731,
    "10/9": 182.403712134,
    "16/15": 111.731285270,
    "11/8": 551.317942365,
    "13/8": 840.527661769,
    "3/1": 1901.955000865,
}
PRIMES = [number for number in range(2, 140) if all(number % below for below in range(2, number))]


def exact_octaves(interval: Interval, digits: int = 60) -> mpmath.mpf:
    """Return log2 of the interval by mpmath, itself another implementation of logarithms."""
    with mpmath.workdps(digits):
        return mpmath.fsum(
            mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
            for prime, power in interval.powers
        )


@pytest.mark.parametrize(("text", "cents"), (COMMAS | JUST).items())
def test_sizes_as_tabled(text: str, cents: float) -> None:
    # Half a unit of the ninth decimal printed, and the float's own rounding.
    assert parse(text).cents == pytest.approx(cents, abs=5.1e-10, rel=0)


def test_pythagorean_comma_is_syntonic_comma_and_schisma_exactly() -> None:
    assert parse("81/80") + parse("32805/32768") == parse("531441/524288")


def test_the_published_trap_5_to_4_is_not_384_cents() -> None:
    # A web table prints 1.248331 for 5/4: that is 2**(384/1200).
    assert parse("5/4").ratio_value == 1.25
    assert parse("384 cents").ratio_value == pytest.approx(1.248331, abs=5e-7)
    assert parse("5/4") != parse("384 cents")


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("386.31 cents", OCTAVE * Fraction(38631, 120000)),
        ("7/31 of 2/1", OCTAVE * Fraction(7, 31)),
        ("3/2 - 1/4 of 81/80", Interval.ratio(5) * Fraction(1, 4)),
        ("3/2 + 4/3", OCTAVE),
        ("4 of 3/2 - 2 of 2/1", Interval.ratio(81, 64)),
        ("-13.5 cents + 13.5 cents", UNISON),
        ("1/2 of 100 cents", OCTAVE * Fraction(1, 24)),
        ("  3/2-81/80 ", Interval.ratio(40, 27)),
        ("- 3/2", Interval.ratio(2, 3)),
        ("1 cent", OCTAVE * Fraction(1, 1200)),
        ("600/400", Interval.ratio(3, 2)),
        ("0 of 3/2", UNISON),
    ],
)
def test_what_is_written_is_what_is_held(text: str, same: Interval) -> None:
    assert parse(text) == same


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("6/4", "3/2"),
        ("7/31 of 2/1", "7/31 of 2/1"),
        ("1/12 of 2/1", "100 cents"),
        ("386.310 cents", "386.31 cents"),
        ("-0.5 cents", "-0.5 cents"),
        ("3/2 - 1/4 of 81/80", "1/4 of 5/1"),
        ("0 cents", "1/1"),
        ("2 of 2/1", "4/1"),
        ("53 of 3/2", "53 of 3/2"),
        ("1/2 of 4/9", "2/3"),
        ("1/3 of 2/3", "-1/3 of 3/2"),
        ("53 of 3/2 - 31 of 2/1", "-84 of 2/1 + 53 of 3/1"),
        ("0.0000001 cents", "1/12000000000 of 2/1"),
    ],
)
def test_canonical_text(text: str, canonical: str) -> None:
    assert str(parse(text)) == canonical


@given(intervals())
def test_text_reads_back_as_the_same_interval(interval: Interval) -> None:
    again = parse(str(interval))
    assert again == interval
    assert hash(again) == hash(interval)


@given(intervals(10**9))
def test_text_of_intervals_with_huge_powers_reads_back(interval: Interval) -> None:
    assert parse(str(interval)) == interval


@given(intervals(10**6))
def test_octaves_are_the_float_nearest_to_the_truth(interval: Interval) -> None:
    assert interval.octaves == float(exact_octaves(interval))


def test_octaves_survive_cancellation() -> None:
    # 665 fifths pass 389 octaves by 0.0756 cents: seven of a float's sixteen digits cancel.
    comma = parse("665 of 3/2 - 389 of 2/1")
    assert comma.octaves == float(exact_octaves(comma))
    assert 0.0755 < comma.cents < 0.0757


@given(intervals(12))  # at most 12 octaves times log2 of four primes: within the range of floats
def test_the_ratio_is_right_to_a_few_units_in_the_last_place(interval: Interval) -> None:
    with mpmath.workdps(60):
        true = mpmath.power(2, exact_octaves(interval))
        error = abs(interval.ratio_value / true - 1)
    # exp2 of a fraction of an octave whose own float has been rounded: 2**-53 (1 + ln 2 |octaves|)
    assert error < 2.3e-16 * (2 + abs(interval.octaves))


@given(intervals(), intervals(), fractions(20))
def test_arithmetic_is_a_vector_space(a: Interval, b: Interval, times: Fraction) -> None:
    assert a + b == b + a
    assert (a + b) - b == a
    assert UNISON - a == -a
    assert a - a == UNISON
    assert (a + b) * times == a * times + times * b
    assert a * 3 == a + a + a


def less_by_integers(a: Interval, b: Interval) -> bool:
    """Compare by raising both sides to whole powers: slow, exact, and without logarithms."""
    powers = dict(a.powers)
    for prime, power in b.powers:
        powers[prime] = powers.get(prime, Fraction(0)) - power
    share = math.lcm(*(power.denominator for power in powers.values()))
    above = below = 1
    for prime, power in powers.items():
        whole = int(power * share)
        if whole > 0:
            above *= prime**whole
        else:
            below *= prime**-whole
    return above < below


@given(intervals(6), intervals(6))  # shares of at most sixths keep the oracle's integers small
def test_order_is_that_of_the_numbers(a: Interval, b: Interval) -> None:
    assert (a < b) == less_by_integers(a, b)
    assert (a > b) == less_by_integers(b, a)
    assert (a <= b) == (not less_by_integers(b, a))


def convergents(digits: int, count: int) -> list[tuple[int, int]]:
    """Return how many octaves come ever nearer to how many twelfths (3/1): p/q near log2(3)."""
    found = [(0, 1), (1, 0)]
    with mpmath.workdps(digits):
        rest = mpmath.log(3, 2)
        for _ in range(count):
            whole = int(mpmath.floor(rest))
            (p0, q0), (p1, q1) = found[-2:]
            found.append((whole * p1 + p0, whole * q1 + q0))
            rest = 1 / (rest - whole)
    return found[2:]


@pytest.mark.parametrize(("octaves", "twelfths"), convergents(80, 34))
def test_order_of_intervals_nearer_than_floats_can_tell(octaves: int, twelfths: int) -> None:
    left, right = OCTAVE * octaves, Interval.ratio(3) * twelfths
    with mpmath.workdps(120):
        below = octaves < twelfths * mpmath.log(3, 2)
    assert (left < right) == below
    assert (right < left) == (not below)
    assert left != right
    assert right.floor_div(OCTAVE) == (octaves if below else octaves - 1)


def test_the_nearest_of_those_are_beyond_floats() -> None:
    octaves, twelfths = convergents(80, 34)[-1]
    assert twelfths > 10**15
    assert (OCTAVE * octaves).octaves == (Interval.ratio(3) * twelfths).octaves


@pytest.mark.parametrize(("primes", "size"), [((2, 3, 5), 32), ((2, 3, 5, 7), 48)])
def test_order_where_forty_digits_do_not_decide(primes: tuple[int, ...], size: int) -> None:
    # Whole powers near 10**16 whose product is within 10**-size of 1, found by mpmath's PSLQ: the
    # difference shows after the forty-seventh, or the sixty-third, digit of the sums.
    with mpmath.workdps(150):
        logs = [mpmath.log(prime) for prime in primes]
        small = mpmath.mpf(10) ** -size
        powers = mpmath.pslq(logs, tol=small, maxcoeff=10**18, maxsteps=10**6)
        above = mpmath.fdot(powers, logs) > 0
    up, down = UNISON, UNISON
    for prime, power in zip(primes, powers, strict=True):
        if power > 0:
            up += Interval.ratio(prime) * power
        else:
            down -= Interval.ratio(prime) * power
    assert (up > down) == above
    assert (up < down) == (not above)
    assert (up - down).octaves == float(exact_octaves(up - down, 150))


def test_intervals_that_differ_at_all_are_told_apart() -> None:
    tiny = OCTAVE * Fraction(1, MAX_EXPONENT // 10)
    third = parse("5/4")
    assert third < third + tiny
    assert third + tiny > third
    assert sorted([third + tiny, third, third - tiny]) == [third - tiny, third, third + tiny]


@given(intervals(40), intervals(40))
def test_whole_periods_below(interval: Interval, period: Interval) -> None:
    if period < UNISON:
        period = -period
    if period == UNISON:
        with pytest.raises(InvalidValue, match="above 1/1"):
            interval.floor_div(period)
        return
    count = interval.floor_div(period)
    assert period * count <= interval < period * (count + 1)


@given(st.integers(-(10**5), 10**5), st.sampled_from(["2/1", "3/1", "1201.3 cents", "81/80"]))
def test_whole_periods_at_the_very_boundary(count: int, text: str) -> None:
    period, tiny = parse(text), OCTAVE * Fraction(1, 10**12)
    assert (period * count).floor_div(period) == count
    assert (period * count - tiny).floor_div(period) == count - 1
    assert (period * count + tiny).floor_div(period) == count


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "3",
        "3/",
        "/2",
        "3/2/1",
        "3.0/2",
        "386.31",
        "386. cents",
        ".5 cents",
        "1e3 cents",
        "nan cents",
        "3/2 4/3",
        "3/2 +",
        "+",
        "3/2 ++ 4/3",
        "3/2 of",
        "1/4of 81/80",
        "1/4 of",
        "1/4 of 1/4 of 2/1",
        "1.5 of 2/1",
        "3/2x",
        "5 centss",
        "٣/٢",
        "3/2\x00",
        "3 / 2",
    ],
)
def test_what_is_no_interval_is_refused_with_the_text(text: str) -> None:
    with pytest.raises(InvalidValue, match="an interval such as 3/2") as caught:
        parse(text)
    assert caught.value.got == text


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("0/1", "from 1 to 10"),
        ("3/0", "from 1 to 10"),
        ("1000000000001/1", "from 1 to 10"),
        ("1/0 of 2/1", "divide by zero"),
        ("9" * 41 + " cents", "40 digits"),
        ("0." + "0" * 20 + "1 cents", "10\\*\\*18"),
        ("1000000000000000001 of 2/1", "10\\*\\*18"),
        (" + ".join(["3/2"] * 65), "64 terms"),
        ("3/2" + " " * 4000, "4000 characters"),
        (" + ".join(f"{prime}/1" for prime in PRIMES[:33]), "32 different primes"),
    ],
)
def test_what_passes_a_limit_is_refused(text: str, reason: str) -> None:
    with pytest.raises(InvalidValue, match=reason):
        parse(text)


def test_the_hardest_text_within_the_limits_is_read() -> None:
    # Products of two primes near a million are the slowest to factorise.
    near_a_million = [999983, 999979, 999961, 999959, 999953, 999931, 999917, 999907]
    pairs = list(itertools.combinations(near_a_million, 2))[:16]
    text = " + ".join(f"{a * b}/1" for a, b in pairs)
    assert parse(f"{text} - {text.replace(' + ', ' - ')}") == UNISON


@pytest.mark.parametrize("numbers", [(0, 1), (1, 0), (-3, 2), (True, 2), (3, 2.0), (10**12 + 1, 1)])
def test_ratios_are_of_whole_numbers(numbers: tuple[int, int]) -> None:
    with pytest.raises(InvalidValue, match="whole numbers from 1"):
        Interval.ratio(*numbers)


def test_sizes_past_the_range_of_floats_are_an_error_and_not_infinity() -> None:
    for size in (OCTAVE * 2000, OCTAVE * Fraction(10**17, 3)):
        with pytest.raises(InvalidValue, match="1024 octaves"):
            _ = size.ratio_value


def test_floats_and_strangers_take_no_part_in_exact_arithmetic() -> None:
    with pytest.raises(TypeError):
        _ = OCTAVE * 0.5  # type: ignore[operator]
    with pytest.raises(TypeError):
        _ = OCTAVE < 2  # type: ignore[operator]
    assert OCTAVE != 2


def test_intervals_are_values() -> None:
    with pytest.raises(AttributeError):
        OCTAVE.powers = ()  # type: ignore[misc]
    assert pickle.loads(pickle.dumps(parse("5/4"))) == parse("5/4")  # noqa: S301  our own bytes
    assert repr(parse("10/8")) == "Interval.parse('5/4')"
