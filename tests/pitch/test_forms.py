"""Forms of scale: chains, fifths, harmonics, products and modes, against exact rationals."""

from fractions import Fraction
from itertools import combinations
from math import prod

import mpmath
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval, Scale, forms

parse = Interval.parse
FIFTH = Interval.ratio(3, 2)
PERIODS = [OCTAVE, Interval.ratio(3), FIFTH, parse("1201.3 cents")]


def ratio(fraction: Fraction) -> Interval:
    return Interval.ratio(fraction.numerator, fraction.denominator)


def folded(fraction: Fraction, period: Fraction) -> Fraction:
    while fraction >= period:
        fraction /= period
    while fraction < 1:
        fraction *= period
    return fraction


# Chains.


def test_the_chain_of_seven_pure_fifths_is_the_pythagorean_diatonic() -> None:
    # F C G D A E B; the ratios stand in any handbook (from memory), and are powers of 3 and 2.
    found = forms.chain(FIFTH, 5, 1, OCTAVE)
    expected = ["9/8", "81/64", "4/3", "3/2", "27/16", "243/128"]
    assert found == [parse(text) for text in expected]


def test_a_chain_in_a_period_of_three() -> None:
    found = forms.chain(Interval.ratio(9, 7), 3, 1, Interval.ratio(3))
    expected = sorted(folded(Fraction(9, 7) ** link, Fraction(3)) for link in (-1, 1, 2, 3))
    assert found == [ratio(each) for each in expected]


@given(intervals(9), st.integers(0, 12), st.integers(0, 12), st.sampled_from(PERIODS))
def test_each_link_of_a_chain_is_there_once_within_the_period(
    by: Interval, up: int, down: int, period: Interval
) -> None:
    assume(up + down > 0)
    # Two links share a pitch if so many of the generator, fewer than all, make whole periods.
    comes_round = any(
        by * links == period * (by * links).floor_div(period) for links in range(1, up + down + 1)
    )
    if comes_round:
        with pytest.raises(InvalidValue, match=r"^chain: got 'link .* on one pitch"):
            forms.chain(by, up, down, period)
        return
    found = forms.chain(by, up, down, period)
    assert len(found) == up + down
    assert found == sorted(found)
    assert found[0] > UNISON
    assert found[-1] < period
    for link in (-down, up):
        with mpmath.workdps(60):
            height = sum(
                mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
                for prime, power in (by * link).powers
            )
            octaves = sum(
                mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
                for prime, power in period.powers
            )
            within = float(height - octaves * mpmath.floor(height / octaves))
        # 1e-12 octaves: the folded one is rounded once, to a float below the period
        assert any(each.octaves == pytest.approx(within, abs=1e-12) for each in [UNISON, *found])


@pytest.mark.parametrize(
    ("by", "up", "down", "message"),
    [
        ("7/12 of 2/1", 12, 0, "chain: got 'link 0 and link 12 on one pitch, 1/1'"),
        ("7/12 of 2/1", 6, 6, "chain: got 'link -6 and link 6 on one pitch, 600 cents'"),
        ("3/2", 0, 0, "chain: got '0 links'; allowed: 1 to 9999 links"),
        ("3/2", 9999, 1, "chain: got '10000 links'"),
        ("3/2", -1, 2, "chain.up: got -1"),
        ("3/2", 1, True, "chain.down: got True"),
    ],
)
def test_chains_that_are_refused(by: str, up: int, down: int, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        forms.chain(parse(by), up, down, OCTAVE)
    assert str(caught.value).startswith(message)


def test_a_chain_just_short_of_coming_round_is_told_from_one_that_does() -> None:
    # The schisma shared by twelve: twelve such fifths pass seven octaves by under a millionth of
    # a cent less than twelve equal ones do, and are no circle.
    near = parse("7/12 of 2/1 + 1/100000000 of 32805/32768")
    assert len(forms.chain(near, 12, 0, OCTAVE)) == 12


# Twelve fifths. The tables are in test_temperaments.py.


def test_a_twelfth_fifth_closes_exactly_or_is_refused() -> None:
    equal = [parse("7/12 of 2/1")] * 12
    names, steps = forms.twelve_fifths("Eb", equal, OCTAVE)
    assert names == ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]
    assert steps == [parse(f"{degree}/12 of 2/1") for degree in range(1, 12)]
    assert forms.twelve_fifths("Eb", equal[:11], OCTAVE) == (names, steps)
    with pytest.raises(InvalidValue, match=r"seven periods and \+23\.460010 cents"):
        forms.twelve_fifths("Eb", [FIFTH] * 12, OCTAVE)
    with pytest.raises(InvalidValue, match=r"fifths\.each: got '10 fifths'"):
        forms.twelve_fifths("Eb", equal[:10], OCTAVE)


def test_names_go_by_the_chain_wherever_it_begins() -> None:
    sharps, _ = forms.twelve_fifths("C", [FIFTH] * 11, OCTAVE)
    assert sharps == ["C", "C#", "D", "D#", "E", "E#", "F#", "G", "G#", "A", "A#", "B"]
    flats, steps = forms.twelve_fifths("Db", [FIFTH] * 11, OCTAVE)
    assert flats[1] == "Db"
    assert steps[0] == Interval.ratio(256, 243)  # a limma; C# would be an apotome, 2187/2048
    for first in ("G", "Ebbb", "H", "eb", ""):
        with pytest.raises(InvalidValue, match=r"^fifths\.from"):
            forms.twelve_fifths(first, [FIFTH] * 11, OCTAVE)


def test_fifths_may_close_a_stretched_octave() -> None:
    stretched = parse("1202 cents")
    fifth = stretched * Fraction(7, 12)
    _, steps = forms.twelve_fifths("Eb", [fifth] * 12, stretched)
    assert steps[0] == stretched * Fraction(1, 12)


# Harmonics.


def test_harmonics_eight_to_sixteen_as_tabled() -> None:
    # Cents above harmonic 8, calculated to three decimals.
    table = [203.910, 386.314, 551.318, 701.955, 840.528, 968.826, 1088.269]
    found = [step.cents for step in forms.harmonics(8, 16, OCTAVE)]
    assert found == pytest.approx(table, abs=5.1e-4)


@given(st.integers(1, 200))
def test_subharmonics_are_harmonics_upside_down(low: int) -> None:
    over = forms.harmonics(low, 2 * low, OCTAVE)
    under = forms.subharmonics(2 * low, low, OCTAVE)
    assert [OCTAVE - step for step in reversed(under)] == over
    assert over == [ratio(Fraction(n, low)) for n in range(low + 1, 2 * low)]


def test_segments_of_other_periods_and_short_of_the_period() -> None:
    assert forms.harmonics(5, 15, Interval.ratio(3)) == [
        ratio(Fraction(n, 5)) for n in range(6, 15)
    ]
    assert forms.harmonics(8, 11, OCTAVE) == [parse("9/8"), parse("5/4"), parse("11/8")]
    assert forms.subharmonics(11, 8, OCTAVE) == [parse("11/10"), parse("11/9"), parse("11/8")]


@pytest.mark.parametrize(
    ("form", "first", "last", "message"),
    [
        (forms.harmonics, 8, 17, "harmonics.to: got '17/8 above the first'; allowed: numbers wi"),
        (forms.harmonics, 8, 8, "harmonics.to: got 8; allowed: a whole number above 8"),
        (forms.harmonics, 0, 8, "harmonics.from: got 0"),
        (forms.harmonics, 1, 10**7, "harmonics.to: got 10000000"),
        (forms.harmonics, 10**5, 2 * 10**5, "harmonics: got '100000 steps'; allowed: at most"),
        (forms.subharmonics, 17, 8, "subharmonics.to: got '17/8 above the first'"),
        (forms.subharmonics, 8, 16, "subharmonics.to: got 16; allowed: a whole number below 8"),
        (forms.subharmonics, 8.0, 4, "subharmonics.from: got 8.0"),
    ],
)
def test_segments_that_are_refused(form, first: int, last: int, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        form(first, last, OCTAVE)
    assert str(caught.value).startswith(message)


# Products.


def test_the_six_products_of_two_of_1_3_5_7() -> None:
    # 3 5 7 15 21 35, over 3, folded into the octave.
    expected = ["7/6", "5/4", "35/24", "5/3", "7/4"]
    assert forms.products([1, 3, 5, 7], 2, OCTAVE) == [parse(text) for text in expected]


@given(
    st.lists(st.integers(1, 60), min_size=1, max_size=6),
    st.integers(1, 6),
    st.sampled_from([2, 3]),
)
def test_products_as_fractions_make_them(numbers: list[int], take: int, period: int) -> None:
    if take > len(numbers):
        with pytest.raises(InvalidValue, match=r"^products\.take"):
            forms.products(numbers, take, OCTAVE)
        return
    made = [prod(chosen) for chosen in combinations(numbers, take)]
    places = [folded(Fraction(each, min(made)), Fraction(period)) for each in made]
    if len(set(places)) < len(places):
        with pytest.raises(InvalidValue, match=r"^products\.of: got '.* on one pitch"):
            forms.products(numbers, take, Interval.ratio(period))
        return
    found = forms.products(numbers, take, Interval.ratio(period))
    assert [UNISON, *found] == [ratio(each) for each in sorted(places)]


@pytest.mark.parametrize(
    ("numbers", "take", "message"),
    [
        ([1, 3, 9, 27], 2, "products.of: got '1·27 and 3·9 on one pitch, 9/8'"),
        ([1, 3, 6], 1, "products.of: got '3 and 6 on one pitch, 3/2'"),
        ([], 1, "products.of: got '0 numbers'"),
        ([1, 0], 1, "products.of item 2: got 0"),
        ([1, 3], 0, "products.take: got 0; allowed: a whole number from 1 to 2"),
        (list(range(1, 32)), 15, "products: got '300540195 products'"),
    ],
)
def test_products_that_are_refused(numbers: list[int], take: int, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        forms.products(numbers, take, OCTAVE)
    assert str(caught.value).startswith(message)


# Modes.


def test_a_mode_keeps_names_from_the_chain_or_the_list() -> None:
    names, steps = forms.mode(Scale.equal(31), [5, 10, 13, 18, 23, 28, 31])
    assert names == ["D", "E", "F", "G", "A", "B", "C"]
    assert steps == [parse(f"{degree}/31 of 2/1") for degree in (5, 8, 13, 18, 23, 26)]
    names, _ = forms.mode(Scale.equal(5, names="CDEGA"), [4, 6])
    assert names == ["A", "D"]
    names, _ = forms.mode(Scale.equal(13, Interval.ratio(3)), [0, 4, 9])
    assert names is None
    # In sixteen parts the fifth is so narrow that a sharp is below its letter; in a thousand most
    # degrees have no name of up to four accidentals.
    assert forms.mode(Scale.equal(16), range(16))[0] is None
    assert forms.mode(Scale.equal(1000), [0, 1])[0] is None


@given(st.sets(intervals(9).filter(lambda step: step > UNISON), min_size=2, max_size=8), st.data())
def test_modes_of_a_scale_have_its_intervals(made: set[Interval], data: st.DataObject) -> None:
    *inner, period = sorted(made)
    scale = Scale.from_degrees(inner, period)
    first = data.draw(st.integers(-20, 20))
    degrees = range(first, first + scale.size)
    turned = Scale.from_degrees(forms.mode(scale, degrees)[1], period)
    for degree in range(-3, scale.size + 3):
        assert turned.interval(degree) == scale.interval(first + degree) - scale.interval(first)


@pytest.mark.parametrize(
    ("degrees", "message"),
    [
        ([], "choose.degrees: got 'no degrees'"),
        ([0, 5, 5], "choose.degrees item 3: got 5; allowed: degrees that rise"),
        ([0, 5, 4], "choose.degrees item 3: got 4; allowed: degrees that rise"),
        ([3, 5, 34], "choose.degrees item 3: got 34; allowed: degrees that rise, within one peri"),
    ],
)
def test_choices_that_are_refused(degrees: list[int], message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        forms.mode(Scale.equal(31), degrees)
    assert str(caught.value).startswith(message)
