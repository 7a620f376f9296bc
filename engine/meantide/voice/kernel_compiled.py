"""The compiled kernel: the next samples of all notes of a bank in one call.

One call, so that it holds the interpreter lock from end to end, and nothing of a block is left to
Python. Where a note stands at the end of its next cell say `compiled_laws.py` and
`compiled_course.py`. The samples are made in one of three forms: while its frequencies stay, by
`compiled_cells.py`; while they bend slowly, by `compiled_bending.py`; else sine by sine.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.breath_noise import BANDS, LENGTH, noise_bands
from meantide.voice.compiled_bending import (
    FIRST,
    SECOND,
    bending_errors,
    sum_bent_runs,
    write_bent_runs,
    write_middles,
)
from meantide.voice.compiled_cells import (
    BASIS_ROWS,
    ROW,
    WORK_ROWS,
    ZERO,
    sum_moving,
    sum_runs,
    write_basis,
    write_runs,
)
from meantide.voice.compiled_course import breath_at, gain_at, is_restless
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_events import cut_notes, land_notes, move_envelopes
from meantide.voice.compiled_laws import (
    CELLTH,
    Records,
    aim,
    move_increments,
    move_strengths,
    ramp,
)
from meantide.voice.compiling import Single, compiled, inlined
from meantide.voice.envelope import Stage
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.note_table import NoteTable

Counts = NDArray[np.int64]
BENDING_LIMIT = np.float32(1e-6)
"""What the bending form may be off, of the sum of a note's amplitudes: -120 dB."""


class CompiledKernel:
    """The kernel that needs numba; its tables share one scratch."""

    name = "compiled"

    def __init__(self) -> None:
        self._basis = np.zeros(BASIS_ROWS * ROW, np.float32)
        self._work = np.zeros(WORK_ROWS * ROW, np.float32)
        self._middles = np.zeros(ROW)
        self._warm()

    def reader(self, table: NoteTable) -> "CompiledReader":
        """Make ready to read the notes of `table`."""
        return CompiledReader(table, (self._basis, self._work, self._middles))

    def _warm(self) -> None:
        """Have all compiled, or fetched from the disk, now: acting on no notes is enough."""
        reader, none = self.reader(NoteTable(1, 16, 48_000)), np.zeros(0, np.intp)
        reader.release(none, Stage.RELEASED)
        reader.read(none, np.zeros((2, 1), np.float32), np.zeros((2, 1), np.float32))


class CompiledReader:
    """Reads the notes of `table`."""

    def __init__(self, table: NoteTable, scratch: tuple[F32, F32, F64]) -> None:
        self._state = (
            table.envelopes.records, table.envelopes.silencing_samples, table.records,
            table.course.records, table.course.answers, table.ratio_goals, table.ratio_slopes,
            table.levels, table.second_levels, table.former_levels, table.decays, table.rises,
            table.drift_rates, table.drift_phases, table.formants, table.increments,
            table.next_increments, table.strengths, table.next_phases, table.amplitudes,
            table.next_amplitudes, table.breath_gains, table.breaths, table.next_breaths,
            table.noise_places, table.bounds, table.next_bounds, table.next_ages, table.used,
            table.cells, noise_bands(table.rate),
        )  # fmt: skip
        self._scratch = scratch
        self._cutting = (
            table.increments, table.next_increments, table.next_phases, table.amplitudes,
            table.next_amplitudes, table.breaths, table.next_breaths, table.next_bounds,
            table.next_ages, table.used,
        )  # fmt: skip
        self._landing = (
            table.records, table.course.records, table.course.answers, table.ratio_goals,
            table.ratio_slopes, table.levels, table.second_levels, table.former_levels,
            table.drift_rates, table.drift_phases, table.formants, table.increments,
            table.next_increments, table.strengths, table.next_ages, scratch[1],
        )  # fmt: skip
        self._letting_go = (
            table.next_ages, table.envelopes.records, table.envelopes.silencing_samples
        )  # fmt: skip

    def cut(self, rows: Rows) -> None:
        """Do as `NoteTable.cut`."""
        cut_notes(rows, *self._cutting)

    def land(self, rows: Rows) -> None:
        """Do as `NoteTable.land`; a note's basis is made when it is read."""
        land_notes(rows, *self._landing)

    def release(self, rows: Rows, stage: Stage) -> None:
        """Cut the notes in `rows`, let them go, and land them where their pitch moves."""
        cut_notes(rows, *self._cutting)
        move_envelopes(rows, *self._letting_go, float(stage))
        land_notes(rows, *self._landing)

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        read_notes(rows, gains, out, *self._state, *self._scratch)


@compiled
def read_notes(
    rows: Rows, gains: F32, out: F32,
    envelopes: Records, silencing: float, records: Records,
    courses: Records, answers: F64, ratio_goals: F64, ratio_slopes: F64,
    levels: F32, second_levels: F32, former_levels: F32, decays: F32, rises: F32,
    drift_rates: F64, drift_phases: F64, formants: F64, increments: F64,
    next_increments: F64, strengths: F32, next_phases: F64, amplitudes: F32,
    next_amplitudes: F32, breath_gains: F32, breaths: F32, next_breaths: F32,
    noise_places: Counts, bounds: F32, next_bounds: F32, next_ages: Counts, used: Counts,
    cells: F32, bands: F32, basis: F32, work: F32, middles: F64,
) -> None:  # fmt: skip
    """Do what `Reader.read` says; the state is that of `NoteTable`, the rest is scratch."""
    channels, length = out.shape
    count = increments.shape[1]
    out[:] = ZERO
    for row in rows:
        basis_is_made = False
        at = 0
        while at < length:
            if used[row] == CELL:
                begun_age = next_ages[row]
                age = begun_age + CELL
                change = 0.0
                if is_restless(courses[row], begun_age) or records[row].drifting != 0.0:
                    change = move_increments(
                        records[row], courses[row], answers[row], age, ratio_goals[row],
                        ratio_slopes[row], drift_rates[row], drift_phases[row],
                        increments[row], next_increments[row],
                    )  # fmt: skip
                    move_strengths(
                        records[row], courses[row], answers[row], age, levels[row],
                        second_levels[row], former_levels[row], formants[row],
                        drift_rates[row], drift_phases[row], next_increments[row],
                        strengths[row], work,
                    )  # fmt: skip
                elif not basis_is_made:
                    copy(next_increments[row], increments[row])
                used[row] = 0
                next_ages[row] = age
                level = np.float32(level_at(envelopes[row], age, silencing))
                aim(records[row], level, np.float32(age), strengths[row], decays[row],
                    rises[row], work)  # fmt: skip
                bounds[row] = next_bounds[row]
                next_bounds[row] = ramp(amplitudes[row], next_amplitudes[row], work)
                if change == 0.0:
                    if not basis_is_made:
                        write_basis(increments[row], basis)
                        basis_is_made = True
                    write_runs(increments[row], next_phases[row], basis, work)
                    sum_runs(count, basis, work, cells[row])
                else:
                    basis_is_made = False
                    bend(increments[row], next_increments[row], next_phases[row],
                         amplitudes[row], next_amplitudes[row], basis, work, middles,
                         cells[row])  # fmt: skip
                if records[row].breathing != 0.0:
                    gain = gain_at(courses[row], answers[row], age)
                    gain *= breath_at(courses[row], answers[row], age)
                    breaths[row] = next_breaths[row]
                    next_breaths[row] = level * np.float32(gain)
                    next_bounds[row] += next_breaths[row]
                    place = (noise_places[row] + begun_age) % LENGTH
                    breathe(breaths[row], next_breaths[row], breath_gains[row], bands, place,
                            work[:CELL], cells[row])  # fmt: skip
            begun = used[row]
            samples = min(CELL - begun, length - at)
            for channel in range(channels):
                mix(gains[channel, row], cells[row, begun:], out[channel, at : at + samples])
            used[row] += samples
            at += samples


@inlined
def copy(values: F64, out: F64) -> None:
    """Write `values` into `out`."""
    for k in range(len(values)):
        out[k] = values[k]


@inlined
def bend(
    increments: F64, next_increments: F64, phases: F64, amplitudes: F32, next_amplitudes: F32,
    basis: F32, work: F32, middles: F64, cell: F32,
) -> None:  # fmt: skip
    """Make a cell whose frequencies do not stay, and move the phases on."""
    count = len(increments)
    first, second, whole = bending_errors(
        increments, next_increments, amplitudes, next_amplitudes, work
    )
    if second <= BENDING_LIMIT * whole:
        write_middles(increments, next_increments, middles)
        write_basis(middles[:count], basis)
        if first <= BENDING_LIMIT * whole:
            write_bent_runs(FIRST, increments, next_increments, phases, basis, work)
            sum_runs(count, basis, work, cell)
        else:
            write_bent_runs(SECOND, increments, next_increments, phases, basis, work)
            sum_bent_runs(count, basis, work, cell)
    else:
        sum_moving(increments, next_increments, phases, work, cell)


@inlined
def breathe(
    begun: Single, ending: Single, gains: F32, bands: F32, place: int, noise: F32, cell: F32
) -> None:
    """Add noise from `place` on, whose amplitude runs straight from one to the other."""
    noise[:] = ZERO
    for band in range(BANDS):
        mix(gains[band], bands[band, place:], noise)
    step = (ending - begun) * CELLTH
    for b in range(CELL):
        cell[b] += (begun + step * np.float32(b)) * noise[b]


@inlined
def mix(gain: Single, samples: F32, out: F32) -> None:
    """Add as many of `samples` as `out` holds to it."""
    for b in range(len(out)):
        out[b] += gain * samples[b]
