"""The kernels against plain sums in float64; how one is chosen and kept.

Against each other they are in test_kernels_in_step.py.
"""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from meantide.errors import InvalidValue
from meantide.voice.bank import Strike
from meantide.voice.course import CourseTemplate
from meantide.voice.kernel import CELL, Kernel
from meantide.voice.kernels import kernel_named
from meantide.voice.note_table import NoteTable
from meantide.voice.prepared import PADDED_COUNTS
from meantide.voice.touch import Response, Vibrato

RATE = 48_000
TEMPLATE = CourseTemplate.of(Vibrato(), Response(), 0.0, RATE)
ROWS = np.arange(3)
CELLS = 5
Floats = NDArray[np.float64]


def silence(said: str) -> None:
    """Say nothing."""


def random_table(count: int, decaying: bool) -> NoteTable:
    """Return three held notes anywhere in the band, past their attack, at random levels."""
    random = np.random.default_rng(count)
    table = NoteTable(len(ROWS), count, RATE)
    for row in ROWS.tolist():
        table.course.start(row, TEMPLATE, Strike(float(RATE), 1.0), 1.0)
    table.ratio_goals[:] = random.uniform(0.01, 0.45, table.ratio_goals.shape)
    table.levels[:] = random.uniform(0.0, 1.0, table.levels.shape)
    table.second_levels[:] = table.levels
    if decaying:
        table.decays[:] = random.uniform(0.0, 1e-3, table.decays.shape)
        table.records["decaying"] = 1.0
    table.next_phases[:] = random.uniform(-0.5, 0.5, table.next_phases.shape)
    table.next_amplitudes[:] = random.uniform(0.0, 1.0, table.next_amplitudes.shape)
    table.next_ages[:] = [100, 1_000, 10_000]
    table.land(ROWS)
    return table


def plain_sum(table: NoteTable, factor: float = 1.0) -> Floats:
    """Return the next cells of the notes of a fresh `random_table`, one sine a partial a sample.

    From the first cell's end to the next one's the frequencies come to `factor` times theirs.
    """
    ages = table.next_ages[:, None] + CELL * np.arange(1, CELLS + 1)
    decays = np.exp(-table.decays[:, None, :].astype(float) * ages[:, :, None])
    goals = table.strengths[:, None, :] * decays
    ends = np.concatenate([table.next_amplitudes[:, None, :], goals], axis=1).astype(float)
    share = np.arange(CELL)[:, None] / CELL
    gains = ends[:, :-1, None] + (ends[:, 1:] - ends[:, :-1])[:, :, None] * share
    factors = np.interp(np.arange(CELLS * CELL + 1), [CELL, 2 * CELL], [1.0, factor])
    turned = np.concatenate([[0.0], np.cumsum(factors[1:] + factors[:-1])[:-1] / 2.0])
    turned = turned.reshape(CELLS, CELL, 1)
    phases = table.next_phases[:, None, None] + table.next_increments[:, None, None] * turned
    return (gains * np.sin(2 * np.pi * phases)).sum(axis=-1).reshape(len(ROWS), -1)


@pytest.mark.parametrize("decaying", [False, True])
@pytest.mark.parametrize("count", PADDED_COUNTS)
def test_steady_notes_are_the_sum_of_their_sines(
    kernel: Kernel, count: int, decaying: bool
) -> None:
    table = random_table(count, decaying)
    expected = plain_sum(table)
    reader = kernel.reader(table)
    reader.land(ROWS)
    out = np.zeros((len(ROWS), CELLS * CELL), np.float32)
    reader.read(ROWS, np.eye(len(ROWS), dtype=np.float32), out)
    # float32 carries a partial to some 4e-7; a sum of K of them grows like its square root
    assert np.abs(out - expected).max() < 1e-6 * np.sqrt(count)


@pytest.mark.parametrize("cents", [0.1, 1.0, 10.0, -100.0])
def test_bending_notes_are_the_sum_of_their_sines(kernel: Kernel, cents: float) -> None:
    """Slowly or fast: by however many cents within one cell, from its start to its end."""
    table = random_table(96, True)
    factor = 2.0 ** (cents / 1200.0)
    table.ratio_goals *= 0.9  # so that none comes near the Nyquist frequency, where it would fade
    table.land(ROWS)
    expected = plain_sum(table, factor)
    reader = kernel.reader(table)
    reader.land(ROWS)
    heard = np.eye(len(ROWS), dtype=np.float32)
    first = np.zeros((len(ROWS), CELL), np.float32)
    reader.read(ROWS, heard, first)
    for row, age in zip(ROWS, table.next_ages.astype(float), strict=True):
        one, ages = np.array([row]), np.array([age])
        table.course.move("pitch", one, ages, factor, CELL)
    rest = np.zeros((len(ROWS), (CELLS - 1) * CELL), np.float32)
    reader.read(ROWS, heard, rest)
    out = np.concatenate([first, rest], axis=1)
    assert np.abs(out - expected).max() < 1e-6 * np.sqrt(96) + 1e-6 * 96 * 0.7


def test_the_compiled_kernel_is_one_piece_of_code_that_keeps_the_lock() -> None:
    """One specialisation, so nothing is ever compiled in the callback; and no `nogil`."""
    from meantide.voice.kernel_compiled import read_notes

    kernel = kernel_named("compiled", silence)
    before = list(read_notes.signatures)
    for count in (16, 256):
        table = random_table(count, True)
        table.course.move("pitch", ROWS[:1], np.array([100.0]), 1.1, 100)
        kernel.reader(table).read(ROWS, np.ones((2, 3), np.float32), np.zeros((2, 99), np.float32))
    assert list(read_notes.signatures) == before
    assert len(before) == 1
    assert not read_notes.targetoptions.get("nogil", False)
    assert not read_notes.targetoptions["_nrt"]  # so it allocates nothing


def test_an_unknown_kernel_is_refused() -> None:
    with pytest.raises(InvalidValue, match="auto, compiled, numpy"):
        kernel_named("abacus", silence)


def run(program: str, **environment: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", program],
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=True,
    )


READY = """
import sys
from meantide.voice.kernels import kernel_named
print(kernel_named("auto", lambda said: print(said, file=sys.stderr)).name)
"""


def test_compiled_code_is_kept_and_only_the_first_start_speaks_of_it(tmp_path: Path) -> None:
    first = run(READY, NUMBA_CACHE_DIR=str(tmp_path))
    assert first.stdout == "compiled\n"
    assert first.stderr.startswith("compiling the kernel, once: ")
    assert first.stderr.count("\n") == 1
    assert str(tmp_path) in first.stderr
    kept = sorted(tmp_path.rglob("*.nb[ci]"))
    assert kept
    second = run(READY, NUMBA_CACHE_DIR=str(tmp_path))
    assert (second.stdout, second.stderr) == ("compiled\n", "")
    assert sorted(tmp_path.rglob("*.nb[ci]")) == kept


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder of Linux")
def test_without_a_wish_it_is_kept_in_the_users_cache_or_nowhere(tmp_path: Path) -> None:
    from meantide.voice import compiling

    said = run(READY, NUMBA_CACHE_DIR="", XDG_CACHE_HOME=str(tmp_path / "cache")).stderr
    assert str(tmp_path / "cache" / "meantide-compiled-") in said
    assert list((tmp_path / "cache").rglob("*.nbc"))
    (tmp_path / "file").touch()  # no folder can be made in a file, whoever asks
    said = run(READY, NUMBA_CACHE_DIR="", XDG_CACHE_HOME=str(tmp_path / "file")).stderr
    assert "cannot be kept" in said
    assert not list(Path(compiling.__file__).parent.rglob("*.nbc"))


def test_without_numba_the_numpy_kernel_plays_and_the_other_is_refused() -> None:
    """In a process of its own, where importing numba raises as if it were not installed."""
    program = """
import sys
sys.modules["numba"] = None
from meantide.errors import InvalidValue
from meantide.voice.kernels import kernel_named
print(kernel_named("auto", print).name)
try:
    kernel_named("compiled", print)
except InvalidValue as error:
    print(error)
"""
    told = run(program).stdout
    assert told.splitlines()[-2] == "numpy"
    assert "pip install 'meantide[fast]'" in told.splitlines()[-1]
