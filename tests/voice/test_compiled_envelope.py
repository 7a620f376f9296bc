"""The compiled law of envelopes against the numpy one."""

import math

import numba
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from envelope_strategies import corners_s, envelopes
from meantide.voice.compiled_envelope import level_at, runs_from
from meantide.voice.compiling import OPTIONS
from meantide.voice.envelope import Envelope, EnvelopeTable, Stage
from meantide.voice.kernel import CELL

RATE = 48_000
ROWS = np.arange(2)


@numba.njit(**OPTIONS)
def fill(
    records: NDArray[np.void], ages: NDArray[np.int64], silencing: float, out: NDArray[np.float64]
) -> None:
    for row in range(ages.shape[0]):
        for point in range(ages.shape[1]):
            out[row, point] = level_at(records[row], ages[row, point], silencing)


def check_both_agree(table: EnvelopeTable, ages: NDArray[np.int64]) -> None:
    out = np.zeros(ages.shape)
    fill(table.records, ages, table.silencing_samples, out)
    # where a stage begins is rounded, to 1e-9 samples after the longest delay and hold, in another
    # order here than there; the shortest decay falls by a seventh of itself in a sample
    assert np.abs(out - table.levels(ROWS, ages)).max() <= 1e-9


@given(
    envelopes(),
    envelopes(1.0),
    st.tuples(st.integers(0, 2**31), st.integers(0, 3 * RATE)),
    st.lists(st.integers(0, 2**31), max_size=6),
    st.sampled_from([Stage.RELEASED, Stage.SILENCED]),
)
def test_both_laws_say_the_same_of_any_envelope_at_any_age(
    one: Envelope,
    other: Envelope,
    let_go: tuple[int, int],
    places: list[int],
    stage: Stage,
) -> None:
    table = EnvelopeTable(2, RATE)
    table.start(0, one)
    table.start(1, other)
    near = [
        np.array([round(corner * RATE) + off for corner in corners_s(kind) for off in (-1, 0, 1)])
        for kind in (one, other)
    ]
    corners = np.concatenate(near)
    ages = np.tile(np.concatenate([corners, places]).astype(np.int64), (2, 1))
    check_both_agree(table, np.maximum(ages, 0))
    table.move(ROWS, np.array(let_go), stage)
    fades = [0, 1, 100, 239, 240, 241, 5_000, 20_000, 2**31]
    check_both_agree(table, np.array(let_go)[:, None] + np.array([*fades, *places]))


@given(
    envelopes(),
    st.sampled_from([Stage.HELD, Stage.RELEASED, Stage.SILENCED]),
    st.integers(0, 2_000),
    st.integers(1, 2_000),
)
def test_what_runs_evenly_is_what_the_law_says(
    envelope: Envelope, stage: Stage, since: int, cells: int
) -> None:
    """From where an envelope says so, after it is risen or let go, to wherever it comes."""
    table, run = EnvelopeTable(1, RATE), np.zeros(3)
    table.start(0, envelope)
    risen = math.ceil((envelope.delay_s + envelope.attack_s + envelope.hold_s) * RATE) + 1
    if stage != Stage.HELD:
        table.move(ROWS[:1], np.array([risen]), stage)
    if runs(table.records, risen + since, table.silencing_samples, run):
        ages = risen + since + CELL * np.arange(cells + 1)[None]
        levels = np.maximum(run[0] + run[1] * run[2] ** np.arange(cells + 1), 0.0)
        assert np.abs(levels - table.levels(ROWS[:1], ages)[0]).max() <= 1e-9


@numba.njit(**OPTIONS)
def runs(records: NDArray[np.void], age: int, silencing: float, run: NDArray[np.float64]) -> bool:
    return runs_from(records[0], age, silencing, CELL, run)


def test_a_held_note_runs_once_it_decays_and_a_released_one_at_once() -> None:
    table, run = EnvelopeTable(1, RATE), np.zeros(3)
    table.start(0, Envelope(attack_s=0.01, hold_s=0.01))
    told = [runs(table.records, age, 240.0, run) for age in (0, 479, 480, 959, 960, 10_000)]
    assert told == [False, False, False, False, True, True]
    table.move(ROWS[:1], np.array([100]), Stage.RELEASED)
    assert runs(table.records, 100, 240.0, run)
    table.move(ROWS[:1], np.array([100]), Stage.SILENCED)
    assert [runs(table.records, age, 240.0, run) for age in (339, 340)] == [False, True]
    table.start(0, Envelope(repeats=True))
    assert not runs(table.records, 10**6, 240.0, run)


def test_exactly_nothing_is_exactly_nothing() -> None:
    """What ends a note, its level below a bound, must not wait for a last bit to go."""
    table = EnvelopeTable(2, RATE)
    table.start(0, Envelope(sustain_db=-100.0, decay_curve="decibel", decay_s=0.1))
    table.start(1, Envelope(release_curve="eased", release_s=0.1))
    table.move(ROWS[1:], np.array([RATE]), Stage.RELEASED)
    out = np.ones((2, 2))
    ages = np.array([[5280, 10**9], [RATE + 4800, 10**9]])
    fill(table.records, ages, table.silencing_samples, out)
    assert (out == 0.0).all()
