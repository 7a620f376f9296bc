"""The compiled kernel: the next samples of all notes of a bank in one call.

One call, so that it holds the interpreter lock from end to end, and nothing of a block is left to
Python. Here are the laws that say where a note stands at the end of its next cell, as in
`GlideTable` and `NoteTable`, and in `compiled_envelope.py`; the samples of the cell are made in
`compiled_cells.py`. Loops over the partials are the innermost and touch few arrays: only so they
become vectors.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_cells import (
    BASIS_ROWS,
    GOAL,
    MIDDLE,
    ROW,
    STEP,
    TO_MIDDLE,
    WORK_ROWS,
    ZERO,
    sum_moving,
    sum_runs,
    write_basis,
    write_runs,
)
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_sines import fallen
from meantide.voice.compiling import Single, compiled, inlined
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.note_table import NoteTable
from meantide.voice.prepared import FADE_FROM, FADE_TO

Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]
Flags = NDArray[np.bool_]

CELLTH = np.float32(1.0 / CELL)


class CompiledKernel:
    """The kernel that needs numba; its tables share one scratch."""

    name = "compiled"

    def __init__(self) -> None:
        self._basis = np.zeros(BASIS_ROWS * ROW, np.float32)
        self._work = np.zeros(WORK_ROWS * ROW, np.float32)
        self._travel = np.zeros(CELL + 1)
        self._warm()

    def reader(self, table: NoteTable) -> "CompiledReader":
        """Make ready to read the notes of `table`."""
        return CompiledReader(table, (self._basis, self._work, self._travel))

    def _warm(self) -> None:
        """Have all compiled, or fetched from the disk, now: reading no notes is enough."""
        reader = self.reader(NoteTable(1, 16, 48_000))
        out = np.zeros((2, 1), np.float32)
        reader.read(np.zeros(0, np.intp), np.zeros((2, 1), np.float32), out)


class CompiledReader:
    """Reads the notes of `table`."""

    def __init__(self, table: NoteTable, scratch: tuple[F32, F32, F64]) -> None:
        self._state = (
            table.envelopes.records, table.envelopes.silencing_samples, table.glides.records,
            table.used, table.next_ages, table.decaying, table.ratios, table.levels, table.decays,
            table.strengths, table.increments, table.next_phases, table.amplitudes,
            table.next_amplitudes, table.bounds, table.next_bounds, table.cells,
        )  # fmt: skip
        self._scratch = scratch

    def settle(self, rows: Rows) -> None:
        """Do nothing: a note's basis is made when it is read."""

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        read_notes(rows, gains, out, *self._state, *self._scratch)


@compiled
def read_notes(
    rows: Rows, gains: F32, out: F32,
    envelopes: Records, silencing: float, glides: Records,
    used: Counts, next_ages: Counts, decaying: Flags, ratios: F64, levels: F32, decays: F32,
    strengths: F32, increments: F64, next_phases: F64, amplitudes: F32, next_amplitudes: F32,
    bounds: F32, next_bounds: F32, cells: F32, basis: F32, work: F32, travel: F64,
) -> None:  # fmt: skip
    """Do what `Reader.read` says; the state is that of `NoteTable`, the rest is scratch."""
    channels, length = out.shape
    out[:] = ZERO
    for row in rows:
        basis_is_made = False
        at = 0
        while at < length:
            if used[row] == CELL:
                used[row] = 0
                next_ages[row] += CELL
                moving = glides[row].left > 0.0
                if moving:
                    move_glide(glides[row], travel)
                    settle(glides[row].now, ratios[row], levels[row], increments[row],
                           strengths[row])  # fmt: skip
                else:
                    glides[row].begun_left = 0.0
                level = level_at(envelopes[row], next_ages[row], silencing)
                age = np.float32(next_ages[row] if decaying[row] else 0)
                aim(np.float32(level), age, strengths[row], decays[row], work)
                bounds[row] = next_bounds[row]
                next_bounds[row] = ramp(amplitudes[row], next_amplitudes[row], work)
                if moving:
                    sum_moving(ratios[row], travel, next_phases[row], work, cells[row])
                else:
                    if not basis_is_made:
                        write_basis(increments[row], basis)
                        basis_is_made = True
                    write_runs(increments[row], next_phases[row], basis, work)
                    sum_runs(increments.shape[1], basis, work, cells[row])
            begun = used[row]
            samples = min(CELL - begun, length - at)
            for channel in range(channels):
                mix(gains[channel, row], cells[row, begun:], out[channel, at : at + samples])
            used[row] += samples
            at += samples


@inlined
def mix(gain: Single, samples: F32, out: F32) -> None:
    """Add as many of `samples` as `out` holds to it."""
    for b in range(len(out)):
        out[b] += gain * samples[b]


# -- where a note stands at the end of the next cell ----------------------------------------


@inlined
def move_glide(glide: Record, travel: F64) -> None:
    """Move a glide on by a cell; write the cycles gone after 0 .. CELL samples into `travel`.

    The law of `GlideTable`, one sample from the last; the samples that are left are whole.
    """
    glide.begun, glide.begun_left = glide.now, glide.left
    growth = math.exp(glide.bend)
    first = glide.now * math.expm1(glide.bend) / glide.bend
    gone = 0.0
    travel[0] = 0.0
    for b in range(1, CELL + 1):
        gone = gone * growth + first if b <= glide.left else gone + glide.goal
        travel[b] = gone
    if glide.left > CELL:
        glide.now *= math.exp(glide.bend * CELL)
        glide.left -= CELL
    else:
        glide.now = glide.goal
        glide.left = 0.0


@inlined
def settle(now: float, ratios: F64, levels: F32, increments: F64, strengths: F32) -> None:
    """Bring a note's partials to the frequency `now` (cycles a sample); as `NoteTable.settle`."""
    for k in range(len(ratios)):
        increments[k] = ratios[k] * now
        place = (increments[k] * 2.0 - FADE_FROM) / (FADE_TO - FADE_FROM)
        if place <= 0.0:
            strengths[k] = levels[k]
        elif place >= 1.0:
            strengths[k] = ZERO
        else:
            strengths[k] = levels[k] * np.float32(math.cos(0.5 * math.pi * place) ** 2)


@inlined
def aim(level: Single, age: Single, strengths: F32, decays: F32, work: F32) -> None:
    """Write the amplitudes that a note's partials have at `age` samples; age 0 if none decays."""
    count = len(strengths)
    if age > ZERO:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k] * fallen(decays[k] * age)
    else:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k]


@inlined
def ramp(amplitudes: F32, next_amplitudes: F32, work: F32) -> Single:
    """Begin a cell whose amplitudes run straight from where they stand to what is aimed at.

    Returns the sum of the latter.
    """
    bound = ZERO
    for k in range(len(amplitudes)):
        start, goal = next_amplitudes[k], work[GOAL * ROW + k]
        amplitudes[k] = start
        next_amplitudes[k] = goal
        step = (goal - start) * CELLTH
        work[STEP * ROW + k] = step
        work[MIDDLE * ROW + k] = start + step * np.float32(TO_MIDDLE)
        bound += goal
    return bound
