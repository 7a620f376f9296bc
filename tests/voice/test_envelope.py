"""Envelopes against their stated curves, worked out here one number at a time."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from envelope_strategies import corners_s, envelopes
from meantide.errors import InvalidValue
from meantide.voice.envelope import (
    CURVES,
    RELEASE_FLOOR,
    SILENCING_S,
    Curve,
    Envelope,
    EnvelopeTable,
    Stage,
)

RATE = 48_000
SHAPE = Envelope(attack_s=0.02, decay_s=0.3, sustain_db=-12.0, release_s=0.2)
ROW = np.array([1])
STEEPEST = 12.0
"""No curve is steeper: straight in dB to just above -100 dB, ln(10^5) = 11.5 of itself a stage."""

Floats = NDArray[np.float64]


def table_with(envelope: Envelope) -> EnvelopeTable:
    table = EnvelopeTable(3, RATE)
    table.start(1, envelope)
    return table


def level(table: EnvelopeTable, seconds: float) -> float:
    return float(table.levels(ROW, np.array([[round(seconds * RATE)]]))[0, 0])


def levels(table: EnvelopeTable, ages: Floats) -> Floats:
    """Return the levels at ages in samples that need not be whole."""
    return table.levels(ROW, ages[None])[0]


def db(level: float) -> float:
    return 20.0 * math.log10(level)


# -- the usual curves -----------------------------------------------------------------------


def test_attack_is_a_raised_sine_from_nothing_to_full() -> None:
    table = table_with(SHAPE)
    assert level(table, 0.0) == 0.0
    assert level(table, 0.01) == pytest.approx(0.5)
    assert level(table, 0.005) == pytest.approx(math.sin(math.pi / 8) ** 2)
    assert level(table, 0.02) == pytest.approx(1.0)


def test_decay_is_sixty_db_of_the_way_in_the_decay_time() -> None:
    table, sustain = table_with(SHAPE), 10 ** (-12 / 20)
    assert level(table, 0.02 + 0.1) == pytest.approx(sustain + (1 - sustain) * 10**-1)
    assert level(table, 0.02 + 0.3) == pytest.approx(sustain + (1 - sustain) * 10**-3)
    assert level(table, 60.0) == pytest.approx(sustain)


@pytest.mark.parametrize("released_s", [0.0, 0.004, 0.02, 0.05, 2.0])
def test_release_starts_where_the_envelope_stands(released_s: float) -> None:
    table = table_with(SHAPE)
    before = level(table, released_s)
    table.move(ROW, np.array([round(released_s * RATE)]), Stage.RELEASED)
    assert level(table, released_s) == pytest.approx(before)
    third = (10**-1 - RELEASE_FLOOR) / (1 - RELEASE_FLOOR)  # 20 dB in a third of the time
    assert level(table, released_s + 0.2 / 3) == pytest.approx(before * third, rel=1e-4)
    assert level(table, released_s + 0.2 * 1.5) == pytest.approx(0.0, abs=1e-9)
    assert level(table, released_s + 1.0) == 0.0


def test_silencing_takes_five_milliseconds_from_anywhere() -> None:
    table = table_with(SHAPE)
    table.move(ROW, np.array([RATE]), Stage.RELEASED)
    standing = level(table, 1.03)
    table.move(ROW, np.array([round(1.03 * RATE)]), Stage.SILENCED)
    assert level(table, 1.0325) == pytest.approx(standing / 2)
    assert level(table, 1.035) == 0.0


def test_a_sustain_of_minus_hundred_db_is_silence() -> None:
    assert level(table_with(Envelope(sustain_db=-100.0, decay_s=0.1)), 20.0) == 0.0


# -- the other curves -----------------------------------------------------------------------

SHARES = (0.0, 0.125, 0.25, 0.5, 0.75, 0.9, 1.0)


def bent(span_db: float) -> float:
    """Return `span_db` below full, of 60 dB, bent so that 60 dB down is exactly nothing."""
    return (10 ** (-span_db / 20) - 10**-3) / (1 - 10**-3)


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        (Curve.EASED, lambda x: (1 - math.cos(math.pi * x)) / 2),
        (Curve.LEVEL, lambda x: x),
        (Curve.DECIBEL, lambda x: bent(60 * (1 - x))),
    ],
)
def test_attacks_rise_by_their_curve(curve: Curve, expected: Callable[[float], float]) -> None:
    table = table_with(Envelope(attack_s=0.1, attack_curve=curve, hold_s=0.05))
    for share in SHARES:
        assert level(table, 0.1 * share) == pytest.approx(expected(share), abs=1e-14)
    assert (level(table, 0.0), level(table, 0.1)) == (0.0, 1.0)


@pytest.mark.parametrize("sustain_db", [0.0, -6.0, -59.0, -61.0, -99.0])
@pytest.mark.parametrize("share", SHARES)
def test_a_decibel_decay_is_straight_in_db_down_to_any_sustain(
    sustain_db: float, share: float
) -> None:
    table = table_with(
        Envelope(decay_s=0.4, sustain_db=sustain_db, decay_curve=Curve.DECIBEL)
    )  # the attack ends at 0.01 s
    assert db(level(table, 0.01 + 0.4 * share)) == pytest.approx(share * sustain_db, abs=1e-9)
    assert db(level(table, 9.0)) == pytest.approx(sustain_db, abs=1e-9)


def test_a_decibel_decay_to_the_bottom_is_nearly_straight_and_ends_in_nothing() -> None:
    table = table_with(Envelope(decay_s=0.4, sustain_db=-100.0, decay_curve=Curve.DECIBEL))
    for share in SHARES:
        assert level(table, 0.01 + 0.4 * share) == pytest.approx(bent(60 * share), abs=1e-14)
    assert level(table, 0.01 + 0.4) == level(table, 9.0) == 0.0
    # in the upper half the bend is 20 lg(1 - 10^-1.5) = -0.28 dB at most
    assert db(level(table, 0.01 + 0.2)) == pytest.approx(-30.0, abs=0.28)


@pytest.mark.parametrize("sustain_db", [0.0, -6.0, -100.0])
def test_a_level_decay_is_straight_in_level(sustain_db: float) -> None:
    table = table_with(Envelope(decay_s=0.4, sustain_db=sustain_db, decay_curve=Curve.LEVEL))
    sustain = 10 ** (sustain_db / 20) if sustain_db > -100 else 0.0
    for share in SHARES:
        expected = 1 - (1 - sustain) * share
        assert level(table, 0.01 + 0.4 * share) == pytest.approx(expected, abs=1e-14)
    assert level(table, 9.0) == pytest.approx(sustain, abs=1e-15)


def test_a_decibel_release_falls_sixty_db_in_its_time() -> None:
    table = table_with(SHAPE)
    standing_db = db(level(table, 1.0))
    table.move(ROW, np.array([RATE]), Stage.RELEASED)
    for share in SHARES:
        # bent at the bottom: 60 dB down, 30 above the floor, by 20 lg(1 - 10^-1.5) = -0.28 dB
        fallen_db = db(level(table, 1.0 + 0.2 * share)) - standing_db
        assert fallen_db == pytest.approx(-60.0 * share, abs=0.28)


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        (Curve.EASED, lambda x: (1 + math.cos(math.pi * x)) / 2),
        (Curve.LEVEL, lambda x: 1 - x),
    ],
)
@pytest.mark.parametrize("released_s", [0.004, 0.01, 2.0])
def test_shorter_releases_end_in_the_release_time(
    curve: Curve, expected: Callable[[float], float], released_s: float
) -> None:
    table = table_with(Envelope(release_s=0.2, release_curve=curve))
    before = level(table, released_s)
    table.move(ROW, np.array([round(released_s * RATE)]), Stage.RELEASED)
    for share in SHARES:
        left = level(table, released_s + 0.2 * share)
        assert left == pytest.approx(before * expected(share), abs=1e-14)
    assert level(table, released_s + 0.2) == level(table, released_s + 9.0) == 0.0


def test_delay_and_hold_stand_still() -> None:
    table = table_with(
        Envelope(delay_s=0.5, attack_s=0.1, hold_s=0.25, decay_s=0.1, sustain_db=-20.0)
    )
    assert level(table, 0.25) == level(table, 0.5) == 0.0
    assert level(table, 0.55) == pytest.approx(0.5)
    assert level(table, 0.6) == level(table, 0.7) == level(table, 0.85) == 1.0
    assert level(table, 0.95) == pytest.approx(0.1 + 0.9 * 10**-3)


# -- going round ----------------------------------------------------------------------------

SWELL = {"delay_s": 0.1, "attack_s": 0.2, "hold_s": 0.05, "decay_s": 0.25, "repeats": True}
TURN_S = 0.5


@pytest.mark.parametrize("attack", CURVES["attack_curve"])
@pytest.mark.parametrize("decay", CURVES["decay_curve"])
@given(st.integers(0, round(TURN_S * RATE) - 1), st.integers(1, 10_000))
def test_a_repeating_envelope_is_exactly_periodic(
    attack: Curve, decay: Curve, age: int, rounds: int
) -> None:
    swell = Envelope(**SWELL, sustain_db=-30.0, attack_curve=attack, decay_curve=decay)
    table, turn = table_with(swell), round(TURN_S * RATE)
    second = 4800 + turn + age  # the first round rises from nothing, all others from the sustain
    ages = np.array([second, second + rounds * turn], float)
    one, other = levels(table, ages).tolist()
    assert one == other


@pytest.mark.parametrize(
    ("curve", "middle_db"),
    [
        (Curve.EASED, db((10**-1.5 + 1) / 2)),
        (Curve.LEVEL, db((10**-1.5 + 1) / 2)),
        (Curve.DECIBEL, -15.0),
    ],
)
def test_each_new_round_rises_from_the_sustain_level_to_full(
    curve: Curve, middle_db: float
) -> None:
    table = table_with(
        Envelope(**SWELL, sustain_db=-30.0, decay_curve=Curve.DECIBEL, attack_curve=curve)
    )
    for start in (0.1 + TURN_S, 0.1 + 5 * TURN_S):
        assert db(level(table, start)) == pytest.approx(-30.0, abs=1e-9)
        assert db(level(table, start + 0.1)) == pytest.approx(middle_db, abs=1e-9)
        assert level(table, start + 0.2) == level(table, start + 0.25) == pytest.approx(1.0)
        assert db(level(table, start + 0.25 + 0.125)) == pytest.approx(-15.0, abs=1e-9)


def test_what_approaches_rises_from_where_it_has_come_to() -> None:
    """60 dB of the way is not all of it: from silence asked for, the next round begins at -60."""
    table = table_with(Envelope(**SWELL, sustain_db=-100.0, attack_curve=Curve.DECIBEL))
    for share in SHARES:
        risen_db = db(level(table, 0.1 + TURN_S + 0.2 * share))
        assert risen_db == pytest.approx(-60.0 * (1 - share), abs=1e-9)


# -- any envelope ---------------------------------------------------------------------------


def check_that_nothing_jumps(table: EnvelopeTable, ages: Floats, shortest_s: float) -> None:
    apart = 0.01  # samples
    change = np.abs(levels(table, ages + apart / 2) - levels(table, ages - apart / 2))
    # float64 keeps an age of 10^8 samples to 1e-8, and half of that is of the step
    assert (change <= STEEPEST * apart / (shortest_s * RATE) + 1e-9).all()


@given(envelopes(), st.lists(st.floats(0.0, 2000.0), max_size=8))
@example(Envelope(sustain_db=-99.99, decay_curve=Curve.DECIBEL, repeats=True), [])
@example(Envelope(sustain_db=-100.0, attack_curve=Curve.DECIBEL, repeats=True), [])
def test_held_notes_stay_in_range_and_nowhere_jump(
    envelope: Envelope, places_s: list[float]
) -> None:
    table = table_with(envelope)
    ages = np.array([*corners_s(envelope), *places_s]) * RATE
    found = levels(table, ages)
    assert ((found >= 0.0) & (found <= 1.0)).all()
    check_that_nothing_jumps(table, ages, min(envelope.attack_s, envelope.decay_s))


@given(
    envelopes(1.0),
    st.integers(0, 10 * RATE),
    st.integers(0, 2 * RATE),
    st.lists(st.floats(0.0, 4.0), max_size=8),
)
def test_letting_go_begins_where_the_note_stands_and_never_rises(
    envelope: Envelope, released: int, silenced: int, places_s: list[float]
) -> None:
    table = table_with(envelope)
    places = np.sort([0.0, *np.array(places_s) * RATE])
    for age, stage, time_s in (
        (released, Stage.RELEASED, envelope.release_s),
        (released + silenced, Stage.SILENCED, SILENCING_S),
    ):
        before = levels(table, np.array([float(age)]))[0]
        table.move(ROW, np.array([age]), stage)
        after = levels(table, age + places)
        assert after[0] == pytest.approx(before, abs=1e-15)
        assert (np.diff(after) <= 1e-15).all()
        assert ((after >= 0.0) & (after <= 1.0)).all()
        check_that_nothing_jumps(table, age + places[1:] + 0.01, time_s)


@given(envelopes(1.0), st.integers(0, 10 * RATE))
def test_a_note_is_gone_when_its_description_says(envelope: Envelope, released: int) -> None:
    table = table_with(envelope)
    table.move(ROW, np.array([released]), Stage.RELEASED)
    standing = levels(table, np.array([float(released)]))[0]
    ends = released + np.array([0.98, 1.0 + 1e-9, 2.0]) * envelope.gone_s * RATE
    nearly, then, later = levels(table, ends).tolist()
    assert (then, later) == (0.0, 0.0)
    assert (nearly > 0.0) == (standing > 0.0)


def settled(table: EnvelopeTable, seconds: float) -> bool:
    return bool(table.settled(ROW, np.array([round(seconds * RATE)]))[0])


def test_a_held_note_is_settled_once_it_has_risen() -> None:
    table = table_with(Envelope(delay_s=0.5, attack_s=0.1))
    assert not settled(table, 0.3)
    assert not settled(table, 0.6)
    assert settled(table, 0.6 + 1 / RATE)


def test_silence_in_a_repeating_note_is_not_its_end_before_it_is_let_go() -> None:
    table = table_with(Envelope(**SWELL, sustain_db=-100.0, decay_curve=Curve.LEVEL))
    assert level(table, 0.1 + 3 * TURN_S) == 0.0
    assert not settled(table, 0.1 + 3 * TURN_S)
    table.move(ROW, np.array([round(2.0 * RATE)]), Stage.RELEASED)
    assert settled(table, 2.0)


def test_a_note_let_go_in_its_delay_is_over_at_once() -> None:
    table = table_with(Envelope(delay_s=0.5))
    table.move(ROW, np.array([round(0.3 * RATE)]), Stage.RELEASED)
    assert settled(table, 0.3)
    assert [level(table, at) for at in (0.3, 0.5, 0.51, 9.0)] == [0.0] * 4


def test_a_row_used_again_knows_nothing_of_its_last_note() -> None:
    table = table_with(Envelope(release_s=0.005, repeats=True))
    table.move(ROW, np.array([RATE * 3600]), Stage.RELEASED)
    table.start(1, SHAPE)
    assert table.records[1] == table_with(SHAPE).records[1]


def test_rows_of_every_kind_are_evaluated_together() -> None:
    kinds = [
        SHAPE,
        Envelope(**SWELL, decay_curve=Curve.LEVEL, sustain_db=-9.0),
        Envelope(attack_curve=Curve.DECIBEL, decay_curve=Curve.DECIBEL, sustain_db=-40.0),
        Envelope(release_curve=Curve.LEVEL, attack_curve=Curve.LEVEL),
        Envelope(release_curve=Curve.EASED),
    ]
    together = EnvelopeTable(len(kinds), RATE)
    rows, ages = np.arange(len(kinds)), np.arange(0, 2 * RATE, 999)
    for row, kind in enumerate(kinds):
        together.start(row, kind)
    together.move(rows[3:], np.array([200, 9000]), Stage.RELEASED)
    found = together.levels(rows, np.tile(ages, (len(kinds), 1)))
    for row, kind in enumerate(kinds):
        alone = table_with(kind)
        if row >= 3:
            alone.move(ROW, np.array([(200, 9000)[row - 3]]), Stage.RELEASED)
        assert found[row] == pytest.approx(levels(alone, ages.astype(float)), abs=1e-15)


# -- what is refused ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("attack_s", 0.0),
        ("decay_s", math.nan),
        ("sustain_db", 1.0),
        ("release_s", math.inf),
        ("delay_s", -0.001),
        ("hold_s", True),
        ("attack_curve", Curve.APPROACH),
        ("decay_curve", Curve.EASED),
        ("release_curve", Curve.APPROACH),
        ("release_curve", "slow"),
        ("repeats", 1),
    ],
)
def test_values_out_of_range_are_refused_by_name(field: str, value: object) -> None:
    with pytest.raises(InvalidValue) as caught:
        Envelope(**{field: value})  # type: ignore[arg-type]
    assert caught.value.field == field
