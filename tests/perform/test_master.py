"""Level and ceiling: what they promise about the last samples before the air."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from meantide.errors import InvalidValue
from meantide.perform.master import CEILING, KNEE, Level, level_gain, soften

BLOCKS = arrays.arrays(
    np.float32, (2, 64), elements=st.floats(width=32, allow_nan=True, allow_infinity=True)
)


@given(BLOCKS)
def test_nothing_leaves_above_minus_one_dbfs_whatever_comes(block: np.ndarray) -> None:
    soften(block)
    assert np.isfinite(block).all()
    assert np.abs(block.astype(np.float64)).max() <= CEILING


@given(
    arrays.arrays(np.float32, (2, 64), elements=st.floats(-0.6875, 0.6875, width=32)),
)
def test_below_the_knee_not_a_bit_is_touched(block: np.ndarray) -> None:
    before = block.tobytes()
    assert soften(block) == 0
    assert block.tobytes() == before


def test_the_curve_rises_all_the_way_without_a_step() -> None:
    ramp = np.linspace(0.0, 3.0, 20_000, dtype=np.float32).reshape(2, -1)
    soften(ramp)
    steps = np.diff(ramp.reshape(-1).astype(np.float64))
    assert steps.min() >= 0.0
    assert steps.max() <= 3.0 / 20_000 * 1.01
    assert KNEE < ramp.max() <= CEILING


def test_a_ramp_is_straight_and_starts_where_the_last_one_stood() -> None:
    level = Level(0.0)
    level.move(100, 1.0, 1000)
    out = np.ones((2, 400), np.float32)
    level.apply(100, out)
    assert out[0] == pytest.approx(np.arange(400) / 1000, abs=1e-7)
    level.move(500, 0.0, 100)
    out = np.ones((2, 200), np.float32)
    level.apply(500, out)
    assert out[1, :100] == pytest.approx(0.4 * (1 - np.arange(100) / 100), abs=1e-7)
    assert not out[:, 100:].any()


def test_minus_hundred_db_is_silence_and_above_zero_is_refused() -> None:
    assert level_gain(-100.0) == 0.0
    assert level_gain(-6.0) == pytest.approx(10 ** (-0.3))
    for bad in (0.1, float("nan"), float("inf")):
        with pytest.raises(InvalidValue):
            level_gain(bad)
