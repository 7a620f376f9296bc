"""Sheets for players and keyboards, against published tables and slow searches."""

import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.offline.tuning_sheet import (
    LARGEST_PARTIAL,
    PRIME_LIMIT,
    PlayerRow,
    key_rows,
    nearest_ratio,
    player_rows,
    rows_of_keys,
    slowest_beat,
)
from meantide.pitch import Anchor, Interval, NoteName, Scale, Tuning
from meantide.pitch.layout import TableLayout

TWELVE = Scale.equal(12)
A440 = Anchor.parse("A4=440")


def rows(scale: str | Scale, anchor: str, **options: float) -> dict[str, PlayerRow]:
    catalogue = Catalogue()
    found = scale if isinstance(scale, Scale) else catalogue.scale(scale)
    tuning = Tuning(found, catalogue.anchor(anchor))
    listed = player_rows(tuning, range(found.size + 1), **options)
    return {row.name or str(row.degree): row for row in listed}


# Offsets from twelve equal parts with A in common, as printed by A. Sanderson in a tuning mailing
# list's digest 1364 of 24 March 1998, to one decimal.
WERCKMEISTER_3 = {
    "C4": 11.7, "C#4": 2.0, "D4": 3.9, "Eb4": 5.9, "E4": 2.0, "F4": 9.8, "F#4": 0.0, "G4": 7.8,
    "G#4": 3.9, "A4": 0.0, "Bb4": 7.8, "B4": 3.9,
}  # fmt: skip


def test_a_tuner_shows_werckmeisters_printed_offsets() -> None:
    found = rows("werckmeister-3", "A4=440")
    for name, cents in WERCKMEISTER_3.items():
        assert found[name].tuner_note == name
        assert found[name].tuner_cents == pytest.approx(cents, abs=0.051)


def test_a_tuner_shows_where_other_anchors_lie() -> None:
    # C4 = 256 Hz in twelve equal parts: -37.6317 cents and A4 = 430.5390 Hz, calculated.
    found = rows(TWELVE, "C4=256")
    assert {round(row.tuner_cents, 4) for row in found.values()} == {-37.6317}
    assert found["A4"].hz == pytest.approx(430.5390, abs=5e-5)
    # A4 = 415 Hz lies 101.27 cents below 440, calculated: a tuner names it G#4.
    low = rows(TWELVE, "A4=415")["A4"]
    assert (low.tuner_note, round(low.tuner_cents, 2)) == ("G#4", -1.27)
    # A tuner set to the same A4 shows nothing to correct.
    assert {row.tuner_cents for row in rows(TWELVE, "A4=415", tuner_hz=415).values()} == {0}


@given(
    st.integers(1, 60),
    st.floats(100, 1000),
    st.floats(380, 480),
    st.integers(-40, 40),
)
def test_what_a_tuner_shows_is_the_same_frequency(
    parts: int, hz: float, tuner_hz: float, degree: int
) -> None:
    tuning = Tuning(Scale.equal(parts), Anchor(hz, degree=0))
    (row,) = player_rows(tuning, [degree], tuner_hz)
    semitones = NoteName.parse(row.tuner_note).semitones - NoteName.parse("A4").semitones
    shown = tuner_hz * 2 ** (semitones / 12 + row.tuner_cents / 1200)
    assert abs(1200 * math.log2(shown / row.hz)) < 1e-9  # floats of some thousand cents
    assert -50 - 1e-9 < row.tuner_cents <= 50 + 1e-9


# Steps and errors in cents of equal divisions, calculated to three decimals: the errors of those
# that come within 16 cents and a third of a step.
DIVISIONS = {
    12: {7: ("3/2", -1.955), 4: ("5/4", 13.686), 3: ("6/5", -15.641)},
    19: {11: ("3/2", -7.218), 6: ("5/4", -7.366), 5: ("6/5", 0.148)},
    22: {13: ("3/2", 7.136), 7: ("5/4", -4.496), 6: ("6/5", 11.631), 18: ("7/4", 12.992),
         10: ("11/8", -5.863)},
    31: {18: ("3/2", -5.181), 10: ("5/4", 0.783), 8: ("6/5", -5.964), 25: ("7/4", -1.084),
         14: ("11/8", -9.382)},
    53: {31: ("3/2", -0.068), 17: ("5/4", -1.408), 14: ("6/5", 1.340), 43: ("7/4", 4.759)},
}  # fmt: skip


@pytest.mark.parametrize("parts", DIVISIONS)
def test_equal_parts_get_the_ratios_they_are_known_for(parts: int) -> None:
    found = rows(Scale.equal(parts), "C4=256")
    by_degree = {row.degree: row for row in found.values()}
    for degree, (ratio, cents) in DIVISIONS[parts].items():
        assert by_degree[degree].ratio == ratio
        assert by_degree[degree].ratio_cents == pytest.approx(cents, abs=5.1e-4)


@given(st.integers(1, 120))
def test_no_two_degrees_share_a_ratio(parts: int) -> None:
    listed = [row.ratio for row in rows(Scale.equal(parts), "0=256").values() if row.ratio]
    assert len(listed) == len(set(listed))


def test_a_ratio_of_the_scale_is_given_as_it_is() -> None:
    ditone = Interval.ratio(81, 64)  # not the simpler 14/11, nor 19/15, which lie beside it
    assert nearest_ratio(ditone, 16, PRIME_LIMIT) == ("81/64", 0.0)
    comma = Interval.ratio(531441, 524288)  # too large to be thought of as a ratio
    assert nearest_ratio(comma, 1, PRIME_LIMIT) != ("531441/524288", 0.0)
    assert nearest_ratio(Interval.parse("350 cents"), 0, PRIME_LIMIT) == (None, None)


# |p f1 - q f2| in twelve equal parts at A4 = 440, calculated to three decimals; a conference
# abstract prints 0.59 for F3-C4 and 1.18 for C4-F4 (Suzuki, JASA 75 S1, 1984).
BEATS = [
    ("F3", "A3", 5, 4, 6.929),
    ("F3", "C4", 3, 2, 0.591),
    ("C4", "F4", 4, 3, 1.182),
    ("A3", "E4", 3, 2, 0.745),
    ("A3", "C#4", 5, 4, 8.731),
    ("C4", "E4", 5, 4, 10.382),
    ("C4", "G4", 3, 2, 0.886),
]


@pytest.mark.parametrize(("low", "high", "q", "p", "rate"), BEATS)
def test_beats_of_twelve_equal(low: str, high: str, q: int, p: int, rate: float) -> None:
    tuning = Tuning(TWELVE, A440)
    lower, upper = tuning.degree_of_name(low), tuning.degree_of_name(high)
    interval = TWELVE.interval(upper) - TWELVE.interval(lower)
    found = slowest_beat(interval, tuning.hz_of_degree(upper), tuning.hz_of_degree(lower))
    assert found == (p, q, pytest.approx(rate, abs=5.1e-4))


@given(st.floats(20, 5000), st.floats(20, 5000))
def test_the_slowest_beat_is_that_of_all_pairs(hz: float, other_hz: float) -> None:
    pairs = [
        (abs(p * Fraction(hz) - q * Fraction(other_hz)), p, q)
        for p in range(1, LARGEST_PARTIAL + 1)
        for q in range(1, LARGEST_PARTIAL + 1)
    ]
    rate, p, q = min(pairs)
    found = slowest_beat(Interval.parse("1 cents"), hz, other_hz)
    if found[2] is None:  # then not even the tenth partial of one comes half-way to the other
        assert max(hz / other_hz, other_hz / hz) > LARGEST_PARTIAL
    else:
        assert found[2] == pytest.approx(float(rate), abs=1e-9)
        assert Fraction(found[0], found[1]) == Fraction(p, q) or found[2] == pytest.approx(
            float(rate)
        )


def test_just_intervals_stand_still() -> None:
    found = rows("just-five-limit", "C4=256")
    still = {name for name, row in found.items() if row.beats_hz == 0}
    # 16/15, 45/32 and 15/8 need higher partials than the tenth.
    assert still == set(found) - {"C#4", "F#4", "B4"}
    assert found["E4"].ratio == "5/4"


@given(st.floats(50, 2000), st.integers(1, 10), st.integers(1, 10))
@example(507.7, 2, 3)  # three times the second and third partial meet without noise
def test_just_intervals_stand_still_at_any_anchor(hz: float, above: int, below: int) -> None:
    interval = Interval.ratio(above, below)
    common = math.gcd(above, below)
    # The Hz that the engine reckons by powers of two leave some noise in the difference.
    upper_hz = hz * 2**interval.octaves
    expected = (below // common, above // common, 0.0)
    assert slowest_beat(interval, upper_hz, hz) == expected


def test_notes_too_far_apart_have_no_beats() -> None:
    tuning = Tuning(TWELVE, A440)
    (row,) = player_rows(tuning, [tuning.anchor_degree - 60])
    assert (row.partial, row.anchor_partial, row.beats_hz) == (None, None, None)
    assert row.ratio == "1/32"


@pytest.mark.parametrize("tuner_hz", [0, 199.9, 901, math.nan, math.inf])
def test_no_tuner_is_set_like_that(tuner_hz: float) -> None:
    with pytest.raises(InvalidValue, match="tuner-hz"):
        player_rows(Tuning(TWELVE, A440), [0], tuner_hz)


@pytest.mark.parametrize("within", [-1, 101, math.nan])
def test_no_ratio_is_near_within_that(within: float) -> None:
    with pytest.raises(InvalidValue, match="within"):
        player_rows(Tuning(TWELVE, A440), [0], within_cents=within)


def test_keys_say_what_they_play_and_silent_ones_that_they_do_not() -> None:
    layout = TableLayout(((60, 0), (61, 3)))
    tuning = Tuning(Scale.equal(31), A440, layout)
    first, second, third = key_rows(tuning, range(60, 63))
    assert (first.key_name, first.degree, first.name) == ("C4", 0, "C4")
    assert (second.key_name, second.degree, second.name) == ("C#4", 3, "Db4")
    assert (third.key_name, third.degree, third.name, third.hz) == ("D4", None, None, None)
    assert [row.key for row in rows_of_keys(tuning, range(60, 63))] == [60, 61]
