"""FM notes compiled: the next samples of all notes of a bank in one call.

Where a note stands at the end of its next cell says `compiled_fm_laws.py`; the samples of a cell
are made in `compiled_fm_cells.py`.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_fm_cells import NONE, decimate, sum_operators, sum_single
from meantide.voice.compiled_fm_events import cut_fm, land_fm, release_fm
from meantide.voice.compiled_fm_laws import open_up, write_full
from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import compiled, inlined
from meantide.voice.decimator import FACTORS, REACH, phase_taps
from meantide.voice.envelope import Stage
from meantide.voice.fm_description import MOST_OPERATORS
from meantide.voice.fm_points import FREQUENCY, POINT
from meantide.voice.fm_table import FmTable
from meantide.voice.kernel import CELL, F32, F64, Rows

Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]


class CompiledFmReader:
    """Reads the notes of `table`."""

    def __init__(self, table: FmTable) -> None:
        factors, wide = FACTORS[-1], REACH + 1
        taps = np.zeros((factors + 1, factors, wide), np.float32)
        for factor in FACTORS[1:]:
            taps[factor, :factor] = phase_taps(factor)
        self._laws = (
            table.records, table.course.records, table.course.answers, table.envelopes.records,
            table.envelopes.silencing_samples, float(table.rate), table.ratio_goals,
            table.ratio_slopes, table.following, table.shape_goals, table.shape_slopes,
            table.limits,
        )  # fmt: skip
        self._state = (
            table.points, table.next_points, np.zeros((table.notes, POINT)), table.next_phases,
            table.next_ages, table.used, table.cells, table.fine,
            np.full((table.notes, MOST_OPERATORS), NONE),
            np.full((table.notes, 3, MOST_OPERATORS), 0.0),
        )  # fmt: skip
        self._taps = taps
        self._cutting = (
            table.records, table.points, table.next_points, table.next_phases, table.next_ages,
            table.used,
        )  # fmt: skip
        self._landing = (
            table.records, table.course.records, table.course.answers, table.ratio_goals,
            table.ratio_slopes, table.following, table.next_points, table.next_ages,
        )  # fmt: skip
        self._letting_go = table.envelopes.records, table.envelopes.silencing_samples
        operators = (MOST_OPERATORS, CELL)
        self._wide = (
            np.zeros(MOST_OPERATORS), np.zeros(POINT), np.zeros(operators), np.zeros(CELL),
            np.zeros(CELL),
        )  # fmt: skip
        self._single = np.zeros(operators, np.float32), np.zeros(CELL, np.float32)

    def cut(self, rows: Rows) -> None:
        """Do as `FmTable.cut`."""
        cut_fm(rows, *self._cutting)

    def land(self, rows: Rows) -> None:
        """Do as `FmTable.land`."""
        land_fm(rows, *self._landing)

    def release(self, rows: Rows, stage: Stage) -> None:
        """Do as `FmTable.release`."""
        release_fm(rows, *self._cutting, *self._letting_go, float(stage))

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        read_fm(rows, gains, out, *self._laws, *self._state, self._taps, *self._wide, *self._single)


def warm() -> None:
    """Have all compiled, or fetched from the disk, now: acting on no notes is enough."""
    reader, none = CompiledFmReader(FmTable(1, 48_000)), np.zeros(0, np.intp)
    reader.land(none)
    reader.cut(none)
    reader.release(none, Stage.RELEASED)
    reader.read(none, np.zeros((2, 1), np.float32), np.zeros((2, 1), np.float32))


@compiled
def read_fm(
    rows: Rows, gains: F32, out: F32,
    notes: Records, courses: Records, answers: F64, envelopes: Records, silencing: float,
    rate: float, ratio_goals: F64, ratio_slopes: F64, following: F64, shape_goals: F64,
    shape_slopes: F64, limits: F64,
    points: F64, next_points: F64, full_points: F64, next_phases: F64, next_ages: Counts,
    used: Counts, cells: F32, fine: F32, sources: Counts, runs: F64,
    taps: F32, numbers: F64, steps: F64, sounds: F64, angles: F64, cell: F64, sounds_32: F32,
    moves: F32,
) -> None:  # fmt: skip
    """Do what `Reader.read` says; laws and state are those of `FmTable`, the rest is scratch."""
    channels, length = out.shape
    out[:] = np.float32(0.0)
    for row in rows:
        at = 0
        while at < length:
            if used[row] == CELL:
                note = notes[row]
                used[row], note.skip = note.skip, 0
                next_ages[row] += CELL
                begun, ending = points[row], next_points[row]
                for number in range(POINT):
                    begun[number] = ending[number]
                if note.still == 0:
                    write_full(
                        next_ages[row], note, courses[row], answers[row], rate, ratio_goals[row],
                        ratio_slopes[row], following[row], shape_goals[row], shape_slopes[row],
                        limits[row], numbers, full_points[row], ending, sources[row],
                    )  # fmt: skip
                open_up(
                    next_ages[row], note,
                    envelopes[row * MOST_OPERATORS : (row + 1) * MOST_OPERATORS], silencing,
                    runs[row], sources[row], full_points[row], numbers, ending,
                )  # fmt: skip
                make_cell(
                    note, sources[row], begun, ending, steps, next_phases[row], cells[row],
                    fine[row], taps, sounds, angles, cell, sounds_32, moves,
                )  # fmt: skip
            first = used[row]
            taken = min(CELL - first, length - at)
            ready = cells[row, first:]
            for channel in range(channels):
                gain, mixed = gains[channel, row], out[channel, at : at + taken]
                for b in range(len(mixed)):
                    mixed[b] += gain * ready[b]
            used[row] += taken
            at += taken


@inlined
def make_cell(
    note: Record, sources: Counts, begun: F64, ending: F64, steps: F64, phases: F64, samples: F32,
    fine: F32, taps: F32, sounds: F64, angles: F64, cell: F64, sounds_32: F32, moves: F32,
) -> None:  # fmt: skip
    """Write the samples of a note's next cell, and move its phases on."""
    if note.precise:
        for number in range(POINT):
            steps[number] = (ending[number] - begun[number]) * (1.0 / CELL)
    for phase in range(note.factor):
        late = phase * (1.0 / note.factor)
        if note.precise:
            sum_operators(note.count, begun, steps, phases, late, sounds, angles, cell)
            for b in range(CELL):
                samples[b] = cell[b]
        else:
            sum_single(note.count, sources, begun, ending, phases, late, sounds_32, moves, samples)
        if note.factor > 1:
            keep(note.kept, samples, fine[phase])
    if note.factor > 1:
        note.kept = CELL
        decimate(fine[: note.factor], taps[note.factor, : note.factor], samples)
    for i in range(note.count):
        turned = (begun[FREQUENCY + i] + ending[FREQUENCY + i]) * (0.5 * CELL)
        phases[i] = reduced(phases[i] + turned)


@inlined
def keep(kept: int, samples: F32, line: F32) -> None:
    """Put new samples of one phase into the decimator, behind what is kept of the past."""
    past = line[kept:]
    for b in range(REACH):
        line[b] = past[b]
    fresh = line[REACH:]
    for b in range(CELL):
        fresh[b] = samples[b]
