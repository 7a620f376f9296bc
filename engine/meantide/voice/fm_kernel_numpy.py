"""FM notes by plain numpy, in float64: note by note, all the cells that a block wants at once."""

import numpy as np

from meantide.voice.decimator import REACH, decimated
from meantide.voice.envelope import Stage
from meantide.voice.fm_operators import sum_of_operators
from meantide.voice.fm_points import FEEDBACK, FREQUENCY, HEARD, INDEX
from meantide.voice.fm_table import FmTable
from meantide.voice.kernel import CELL, F32, F64, Rows


class NumpyFmReader:
    """Reads the notes of `table`. Temporaries are as large as a block, oversampled."""

    def __init__(self, table: FmTable) -> None:
        self._table = table

    def cut(self, rows: Rows) -> None:
        """Do as `FmTable.cut`."""
        self._table.cut(rows)

    def land(self, rows: Rows) -> None:
        """Do as `FmTable.land`."""
        self._table.land(rows)

    def release(self, rows: Rows, stage: Stage) -> None:
        """Do as `FmTable.release`."""
        self._table.release(rows, stage)

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        out[:] = 0.0
        table, length = self._table, out.shape[1]
        for row in rows.tolist():
            waiting = table.cells[row, table.used[row] :]
            skip = int(table.records["skip"][row]) if len(waiting) < length else 0
            wanted = -(-(length - len(waiting) + skip) // CELL)
            if wanted > 0:
                made = self._make(row, wanted)
                strip = np.concatenate([waiting, made[skip:]])
                table.cells[row] = made[-CELL:]
                table.records["skip"][row] = 0
            else:
                strip = waiting
            table.used[row] = CELL - (len(strip) - length)
            out += gains[:, row, None] * strip[:length]

    def _make(self, row: int, cells: int) -> F32:
        """Return the next cells of a note, and move it on by them."""
        table = self._table
        record = table.records[row]
        count, factor = int(record["count"]), int(record["factor"])
        points = np.empty((cells + 1, table.next_points.shape[1]))
        points[0] = table.next_points[row]
        ages = table.next_ages[row] + CELL * np.arange(1, cells + 1)
        points[1:] = table.points_at(np.array([row]), ages[None])[0]
        table.points[row], table.next_points[row] = points[-2], points[-1]
        table.next_ages[row] = ages[-1]

        # (numbers of a point, cells, phases, samples)
        samples = np.arange(CELL) + np.arange(factor)[:, None] / factor
        begun = points[:-1].T[:, :, None, None]
        steps = np.diff(points, axis=0).T[:, :, None, None] / CELL
        run = begun + steps * samples
        frequencies = slice(FREQUENCY, FREQUENCY + count)
        phases = self._phases(row, points[:, frequencies]).T[:, :, None, None]
        mean = 0.5 * (begun[frequencies] + run[frequencies])
        cycles = phases + mean * samples
        sound = sum_of_operators(
            cycles.reshape(count, -1),
            run[HEARD : HEARD + count].reshape(count, -1),
            run[FEEDBACK : FEEDBACK + count].reshape(count, -1),
            run[INDEX:].reshape(len(run) - INDEX, -1),
        ).astype(np.float32)
        if factor == 1:
            return sound
        by_phase = sound.reshape(cells, factor, CELL).transpose(1, 0, 2).reshape(factor, -1)
        kept = int(record["kept"])
        record["kept"] = CELL
        past = table.fine[row, :factor, kept : kept + REACH]
        by_phase = np.concatenate([past, by_phase], axis=1)
        table.fine[row, :factor] = by_phase[:, -(REACH + CELL) :]
        return decimated(by_phase, factor)

    def _phases(self, row: int, frequencies: F64) -> F64:
        """Return the phases (cells, operators) at the starts of cells, and move the note's on."""
        table, count = self._table, frequencies.shape[1]
        phases = np.empty(frequencies.shape)
        phases[0] = table.next_phases[row, :count]
        for cell in range(1, len(phases)):  # reduced each, so that they stay exact
            ahead = 0.5 * (frequencies[cell - 1] + frequencies[cell]) * CELL
            phases[cell] = phases[cell - 1] + ahead
            phases[cell] -= np.rint(phases[cell])
        table.next_phases[row, :count] = phases[-1]
        return phases[:-1]
