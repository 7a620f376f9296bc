"""Levels: how they move, how fast they may rise, and which are refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.perform.event import ALL_PARTS, Event, Kind
from meantide.perform.master import (
    RISE_DB_PER_S,
    RISE_FROM_DB,
    SHORTEST_RAMP_S,
    Level,
    level_gain,
    rise_samples,
)
from playing import RATE, hertz, note, play

LEVELS_DB = st.floats(-100.0, 0.0)


def gains(level: Level, start: int, samples: int) -> np.ndarray:
    out = np.ones((2, samples), np.float32)
    level.apply(start, out)
    assert np.array_equal(out[0], out[1])
    return out[0].astype(np.float64)


def test_a_fall_is_straight_and_starts_where_the_last_move_stood() -> None:
    level = Level(1.0)
    level.move(100, 0.0, 1000)
    assert gains(level, 100, 400) == pytest.approx(1.0 - np.arange(400) / 1000, abs=1e-7)
    level.move(500, 0.2, 100)
    assert gains(level, 500, 100) == pytest.approx(0.6 - 0.4 * np.arange(100) / 100, abs=1e-7)
    assert gains(level, 600, 50) == pytest.approx(np.full(50, 0.2), abs=1e-7)


def test_a_rise_is_as_many_db_in_every_second() -> None:
    level = Level(0.01)
    level.move(0, 1.0, 4000)
    assert 20.0 * np.log10(gains(level, 0, 4000)) == pytest.approx(
        -40.0 + 40.0 * np.arange(4000) / 4000, abs=1e-5
    )
    assert level.at(1000) == pytest.approx(10.0 ** (-30.0 / 20.0))


@given(st.lists(st.tuples(LEVELS_DB, st.integers(0, 20_000), st.integers(1, 20_000)), max_size=6))
def test_no_level_rises_faster_than_is_said_whatever_is_asked(
    moves: list[tuple[float, int, int]],
) -> None:
    """Each move is a level in dB, how many samples it asks for, and how long it is let alone."""
    level, now, heard = Level(0.0), 0, [np.zeros(1)]
    for db, asked, left_alone in moves:
        gain = level_gain(db)
        level.move(now, gain, max(asked, rise_samples(level.at(now), gain, RATE)))
        end = now + left_alone
        heard += [gains(level, at, min(8192, end - at)) for at in range(now, end, 8192)]
        now = end
    db = np.maximum(20.0 * np.log10(np.maximum(np.concatenate(heard), 1e-30)), RISE_FROM_DB)
    # over 0.1 s, so that what float32 rounds (1e-6 dB a sample) is not all there is
    for span in (4800, 1):
        rise = (db[span:] - db[:-span]).max(initial=0.0)
        assert rise <= RISE_DB_PER_S * span / RATE + 1e-5


def test_a_performance_holds_levels_to_it_and_falls_at_once() -> None:
    quick = Event(Kind.LEVEL, 24_000, ALL_PARTS, amount=0.0)
    down = Event(Kind.LEVEL, 84_000, ALL_PARTS, amount=-100.0)
    events = [*note(0, None, hertz(1000.0)), quick, down]
    samples, _ = play(events, 90_000, level_db=-40.0)
    hops = np.abs(samples[24_000:84_000].reshape(-1, 240)).max(axis=1)  # 5 cycles each
    db = 20.0 * np.log10(hops)
    assert db[0] == pytest.approx(-40.0, abs=0.3)
    assert np.diff(db).max() <= RISE_DB_PER_S * 240 / RATE + 0.01
    assert db[-1] == pytest.approx(0.0, abs=0.01)
    assert not samples[84_000 + round(SHORTEST_RAMP_S * RATE) :].any()


def test_minus_hundred_db_is_silence_and_above_zero_is_refused() -> None:
    assert level_gain(-100.0) == 0.0
    assert level_gain(-6.0) == pytest.approx(10 ** (-0.3))
    for bad in (0.1, float("nan"), float("inf")):
        with pytest.raises(InvalidValue):
            level_gain(bad)
