"""The numpy kernel: cells for many notes at a time by matrix products, then shifted and mixed."""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.breath_noise import LENGTH, noise_bands
from meantide.voice.envelope import Stage
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.matrix_cells import BASIS_LIMIT, MOVING_LIMIT, STEADY_LIMIT, MatrixCells
from meantide.voice.note_table import NoteTable

ROWS_LIMIT = 4096
"""Partials in one pass over the notes, so that what is gathered stays in the cache."""


class NumpyKernel:
    """The kernel that needs numpy alone; its tables share one scratch."""

    name = "numpy"

    def __init__(self) -> None:
        self._cells = MatrixCells()

    def reader(self, table: NoteTable) -> "NumpyReader":
        """Make ready to read the notes of `table`."""
        return NumpyReader(table, self._cells)


class NumpyReader:
    """Reads the notes of `table`, and keeps the matrix of sines of each (512 bytes a partial)."""

    def __init__(self, table: NoteTable, cells: MatrixCells) -> None:
        self._table, self._cells = table, cells
        self._rows_at_once = max(1, ROWS_LIMIT // table.count)
        wide = (2 * table.count, CELL)
        self._basis = np.ones((table.notes, *wide), np.float32)  # ones: every page touched
        self._gathered_basis = np.ones((self._rows_at_once, *wide), np.float32)
        self._cell_phases = np.zeros(STEADY_LIMIT)
        self._bands = noise_bands(table.rate)
        self._cell_amplitudes = np.zeros(STEADY_LIMIT + ROWS_LIMIT, np.float32)
        strips = (STEADY_LIMIT + ROWS_LIMIT) // table.count * CELL
        self._strips = np.zeros(strips, np.float32)
        self._lines = np.zeros(strips, np.float32)

    def cut(self, rows: Rows) -> None:
        """Do as `NoteTable.cut`."""
        self._table.cut(rows)

    def land(self, rows: Rows) -> None:
        """Do as `NoteTable.land`, and make ready to read the notes in `rows`."""
        self._table.land(rows)
        self._settle(rows)

    def release(self, rows: Rows, stage: Stage) -> None:
        """Cut the notes in `rows`, let them go, and land them where their pitch moves."""
        table = self._table
        table.cut(rows)
        table.envelopes.move(rows, table.next_ages[rows], stage)
        # a pitch on a straight line to a cell's end may be short of where its law has arrived
        bent = rows[(table.increments[rows] != table.next_increments[rows]).any(axis=1)]
        if len(bent):
            self.land(bent)

    def _settle(self, rows: Rows) -> None:
        """Write the matrices of those notes in `rows` that have come to rest."""
        table = self._table
        rows = rows[~table.restless(rows)]
        limit = max(1, BASIS_LIMIT // self._table.count)
        for first in range(0, len(rows), limit):
            some = rows[first : first + limit]
            basis = self._gathered_basis[: len(some)]
            self._cells.write_basis(table.next_increments[some], basis)
            self._basis[some] = basis

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        out[:] = 0.0
        length, at = out.shape[1], 0
        while at < length:
            moving = self._table.restless(rows)
            upto = min(at + CELL, length) if moving.any() else length
            self._read_piece(rows, gains, out[:, at:upto])
            at = upto

    def _read_piece(self, rows: Rows, gains: F32, out: F32) -> None:
        """Add samples over which no note comes to rest but at the end of the last cell."""
        length = out.shape[1]
        used = self._table.used[rows]
        wanted = -(-(used + length - CELL) // CELL)  # cells still to be made, 0 or more
        cells = int(wanted.max())
        at_once = min(self._rows_at_once, STEADY_LIMIT // (self._table.count * max(1, cells)))
        for first in range(0, len(rows), max(1, at_once)):
            some = slice(first, min(first + max(1, at_once), len(rows)))
            strip = self._strip_of(rows[some], wanted[some], cells)
            out += gains[:, rows[some]] @ self._shifted(strip, used[some], length)
        self._table.used[rows] = used + length - wanted * CELL

    def _strip_of(self, rows: Rows, wanted: NDArray[np.intp], cells: int) -> F32:
        """Return each note's current cell followed by `cells` new ones, (rows, samples).

        A note that wants one cell less than the others keeps its state as of that cell.
        """
        table = self._table
        size = len(rows) * CELL * (1 + cells)
        strip = self._strips[:size].reshape(len(rows), CELL * (1 + cells))
        strip[:, :CELL] = table.cells[rows]
        if cells == 0:
            return strip
        moving = table.restless(rows)
        for kind in (False, True):
            chosen = np.flatnonzero((wanted > 0) & (moving == kind))
            if len(chosen) == 0:
                continue
            fresh = strip.reshape(len(rows), 1 + cells, CELL)[:, 1:]
            whole = len(chosen) == len(rows)
            target = fresh if whole else np.empty((len(chosen), cells, CELL), np.float32)
            if kind:
                self._make_moving(rows[chosen], target)
            else:
                self._make_steady(rows[chosen], wanted[chosen], target)
            if not whole:
                fresh[chosen] = target
            table.cells[rows[chosen]] = target[np.arange(len(chosen)), wanted[chosen] - 1]
        return strip

    def _shifted(self, strip: F32, shifts: NDArray[np.intp], length: int) -> F32:
        """Return `length` samples of each row of `strip`, without its first `shifts` ones."""
        first = int(shifts[0])
        if (shifts == first).all():
            return strip[:, first : first + length]
        lines = self._lines[: len(strip) * length].reshape(len(strip), length)
        for row, shift in enumerate(shifts.tolist()):
            lines[row] = strip[row, shift : shift + length]
        return lines

    def _make_steady(self, rows: Rows, wanted: NDArray[np.intp], out: F32) -> None:
        table = self._table
        n, cells, count = len(rows), out.shape[1], table.count
        pick = _slice_of(rows)
        steps = np.arange(cells) * float(CELL)
        table.increments[pick] = table.next_increments[pick]
        phases = self._cell_phases[: n * cells * count].reshape(n, cells, count)
        np.multiply(table.increments[pick][:, None], steps[:, None], out=phases)
        np.add(phases, table.next_phases[pick][:, None], out=phases)
        amplitudes = self._amplitude_grid(rows, cells)
        basis = self._basis[pick] if isinstance(pick, slice) else self._gather_basis(rows)
        self._cells.steady(phases, amplitudes, basis, out)
        nth, last = np.arange(n), wanted - 1
        table.amplitudes[pick] = amplitudes[nth, last]
        table.next_amplitudes[pick] = amplitudes[nth, wanted]
        table.bounds[pick] = amplitudes[nth, last].sum(axis=1)
        table.next_bounds[pick] = amplitudes[nth, wanted].sum(axis=1)
        self._add_breath(rows, wanted, out)
        ended = phases[nth, last]
        ended += table.increments[pick] * CELL
        ended -= np.rint(ended)
        table.next_phases[pick] = ended
        table.next_ages[rows] += wanted * CELL

    def _make_moving(self, rows: Rows, out: F32) -> None:
        """Make one cell of notes that move; those that come to rest in it are steady after it."""
        table = self._table
        limit = max(1, MOVING_LIMIT // table.count)
        for first in range(0, len(rows), limit):
            some = rows[first : first + limit]
            phases, begun = table.next_phases[some], table.next_increments[some]
            ages = table.next_ages[some] + CELL
            ending = table.increments_at(some, ages)
            table.increments[some], table.next_increments[some] = begun, ending
            table.strengths[some] = table.strengths_at(some, ages, ending)
            amplitudes = self._amplitude_grid(some, 1)
            into = out[first : first + limit]
            self._cells.moving(phases, begun, ending, amplitudes, into[:, 0])
            table.amplitudes[some] = amplitudes[:, 0]
            table.next_amplitudes[some] = amplitudes[:, 1]
            table.bounds[some] = amplitudes[:, 0].sum(axis=1)
            table.next_bounds[some] = amplitudes[:, 1].sum(axis=1)
            self._add_breath(some, np.ones(len(some), np.intp), into)
            ended = phases + 0.5 * CELL * (begun + ending)
            table.next_phases[some] = ended - np.rint(ended)
        table.next_ages[rows] += CELL
        self._settle(rows)

    def _add_breath(self, rows: Rows, wanted: NDArray[np.intp], out: F32) -> None:
        """Add the breath of notes that have one to their next cells `out` (rows, cells, CELL)."""
        table, cells = self._table, out.shape[1]
        for nth in np.flatnonzero(table.records["breathing"][rows]).tolist():
            row = rows[nth : nth + 1]
            ages = table.next_ages[row][:, None] + np.arange(1, cells + 1) * CELL
            ends = np.append(table.next_breaths[row].astype(np.float64), self._ends(row, ages))
            places = (table.noise_at(row)[:, None] + np.arange(cells * CELL)) % LENGTH
            noise = (table.breath_gains[row] @ self._bands[:, places[0]]).reshape(cells, CELL)
            begun: F64 = ends[:-1, None]
            out[nth] += (begun + (ends[1:, None] - begun) * (np.arange(CELL) / CELL)) * noise
            last = wanted[nth]
            table.breaths[row], table.next_breaths[row] = ends[last - 1], ends[last]
            table.bounds[row] += ends[last - 1]
            table.next_bounds[row] += ends[last]

    def _ends(self, row: Rows, ages: NDArray[np.int64]) -> F64:
        """Return a note's breath at the ends of cells."""
        levels = self._table.envelopes.levels(row, ages)[0]
        ends: F64 = levels * self._table.breaths_at(row, ages)[0]
        return ends

    def _amplitude_grid(self, rows: Rows, cells: int) -> F32:
        """Return amplitudes at the ends of the next cells, (rows, cells + 1, partials).

        The first are those that stand; the rest are what the envelope and the partials' own
        decays say of the note's age.
        """
        table = self._table
        n, count = len(rows), table.count
        pick = _slice_of(rows)
        grid = self._cell_amplitudes[: n * (cells + 1) * count].reshape(n, cells + 1, count)
        ages = table.next_ages[rows][:, None] + np.arange(1, cells + 1) * CELL
        envelope = table.envelopes.levels(rows, ages).astype(np.float32)
        law = grid[:, 1:]
        np.multiply(table.strengths[pick][:, None], envelope[:, :, None], out=law)
        presences = table.presences_at(rows, ages)
        if presences is not None:
            np.multiply(law, presences, out=law)
        grid[:, 0] = table.next_amplitudes[pick]
        return grid

    def _gather_basis(self, rows: Rows) -> F32:
        gathered = self._gathered_basis[: len(rows)]
        np.take(self._basis, rows, axis=0, out=gathered, mode="clip")
        return gathered


def _slice_of(rows: Rows) -> slice | Rows:
    """Return ascending `rows` as a slice where they are neighbours, so that nothing is copied."""
    first, last = int(rows[0]), int(rows[-1])
    return slice(first, last + 1) if last - first + 1 == len(rows) else rows
