"""FM notes by plain numpy: notes that are alike together, all the cells that a block wants."""

import numpy as np

from meantide.voice.decimator import REACH, decimated
from meantide.voice.envelope import Stage
from meantide.voice.fm_operators import MOST_ERRORS, errors_of, sum_of_operators
from meantide.voice.fm_points import FEEDBACK, FREQUENCY, HEARD, INDEX
from meantide.voice.fm_table import FmTable
from meantide.voice.kernel import CELL, F32, F64, Rows

SAMPLES_AT_ONCE = 8192
"""In one pass over notes that are alike, so that what is made stays in the cache."""


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
        records, waiting = table.records[rows], CELL - table.used[rows]
        skips = np.where(waiting < length, records["skip"], 0)
        wanted = np.maximum(-(-(length - waiting + skips) // CELL), 0)
        alike: dict[tuple[int, int, int], list[int]] = {}
        for place, key in enumerate(
            zip(wanted.tolist(), records["count"].tolist(), records["factor"].tolist(), strict=True)
        ):
            alike.setdefault(key, []).append(place)
        for (cells, count, factor), found in alike.items():
            at_once = max(1, SAMPLES_AT_ONCE // (max(cells, 1) * CELL * factor))
            for first in range(0, len(found), at_once):
                places = np.array(found[first : first + at_once])
                some = rows[places]
                strips = table.cells[some]
                if cells > 0:
                    made = self._make(some, cells, count, factor)
                    strips = np.concatenate([strips, made], axis=1)
                    table.cells[some] = strips[:, -CELL:]
                    table.records["skip"][some] = 0
                # what is waiting of the current cell, then the new ones; only a note that begins,
                # which has nothing waiting, skips any
                starts = (table.used[some] + skips[places]).tolist()
                for row, strip, start in zip(some.tolist(), strips, starts, strict=True):
                    out += gains[:, row, None] * strip[start : start + length]
        table.used[rows] = CELL - (waiting + wanted * CELL - skips - length)

    def _make(self, rows: Rows, cells: int, count: int, factor: int) -> F32:
        """Return the next cells of notes that are alike (rows, samples), and move them on."""
        table = self._table
        ages = table.next_ages[rows, None] + CELL * np.arange(1, cells + 1)
        points = np.concatenate(
            [table.next_points[rows, None], table.points_at(rows, ages)], axis=1
        )
        table.points[rows], table.next_points[rows] = points[:, -2], points[:, -1]
        table.next_ages[rows] = ages[:, -1]
        frequencies = points[..., FREQUENCY : FREQUENCY + count]
        phases = self._phases(rows, frequencies)

        # (notes, cells, phases of the decimator, samples)
        samples = np.arange(CELL) + np.arange(factor)[:, None] / factor
        begun, steps = points[:, :-1, :, None, None], np.diff(points, axis=1) / CELL
        steps = steps[..., None, None]

        def straight(number: int) -> F64:
            """Return a number of the points at all samples; where it is nothing, one zero."""
            if not points[:, :, number].any():
                return np.zeros(1)
            run: F64 = begun[:, :, number] + steps[:, :, number] * samples
            return run.ravel()

        cycles = np.empty((count, len(rows), cells, factor, CELL))
        for number in range(count):
            mean = begun[:, :, number] + 0.5 * steps[:, :, number] * samples
            cycles[number] = phases[:, :, number, None, None] + mean * samples
        sound = sum_of_operators(
            cycles.reshape(count, -1),
            [straight(HEARD + number) for number in range(count)],
            [straight(FEEDBACK + number) for number in range(count)],
            [straight(INDEX + path) for path in range(count * (count - 1) // 2)],
            single=errors_of(count, points[..., INDEX:].max(axis=(0, 1)).tolist()) <= MOST_ERRORS,
        ).astype(np.float32)
        if factor == 1:
            return sound.reshape(len(rows), -1)
        by_phase = sound.reshape(len(rows), cells, factor, CELL).transpose(0, 2, 1, 3)
        return np.stack(
            [self._decimated(*each) for each in zip(rows.tolist(), by_phase, strict=True)]
        )

    def _decimated(self, row: int, fresh: F32) -> F32:
        """Return the samples of a note for those made, (factor, cells, CELL)."""
        table, factor = self._table, len(fresh)
        kept = int(table.records["kept"][row])
        table.records["kept"][row] = CELL
        past = table.fine[row, :factor, kept : kept + REACH]
        line = np.concatenate([past, fresh.reshape(factor, -1)], axis=1)
        table.fine[row, :factor] = line[:, -(REACH + CELL) :]
        return decimated(line, factor)

    def _phases(self, rows: Rows, frequencies: F64) -> F64:
        """Return the phases (notes, cells, operators) at starts of cells; move the notes' on."""
        table, (cells, count) = self._table, frequencies.shape[1:]
        phases = np.empty(frequencies.shape)
        phases[:, 0] = table.next_phases[rows, :count]
        for cell in range(1, cells):  # reduced each, so that they stay exact
            ahead = 0.5 * (frequencies[:, cell - 1] + frequencies[:, cell]) * CELL
            phases[:, cell] = phases[:, cell - 1] + ahead
            phases[:, cell] -= np.rint(phases[:, cell])
        table.next_phases[rows, :count] = phases[:, -1]
        return phases[:, :-1]
