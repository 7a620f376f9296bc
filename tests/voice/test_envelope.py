"""Envelopes against their stated curves, worked out here one number at a time."""

import math

import numpy as np
import pytest

from meantide.errors import InvalidValue
from meantide.voice.envelope import RELEASE_FLOOR, Envelope, EnvelopeTable, Stage

RATE = 48_000
SHAPE = Envelope(attack_s=0.02, decay_s=0.3, sustain_db=-12.0, release_s=0.2)
ROW = np.array([1])


def table_with(envelope: Envelope) -> EnvelopeTable:
    table = EnvelopeTable(3, RATE)
    table.start(1, envelope)
    return table


def level(table: EnvelopeTable, seconds: float) -> float:
    return float(table.levels(ROW, np.array([[round(seconds * RATE)]]))[0, 0])


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


@pytest.mark.parametrize(
    ("field", "value"),
    [("attack_s", 0.0), ("decay_s", math.nan), ("sustain_db", 1.0), ("release_s", math.inf)],
)
def test_values_out_of_range_are_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(InvalidValue) as caught:
        Envelope(**{field: value})
    assert caught.value.field == field
