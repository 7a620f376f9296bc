"""A bank of additive notes: what events do to them, and their samples by a kernel.

Each note lives on its own grid of cells, begun at its first sample and begun anew at every
event that touches it. Where a block starts or ends never matters: samples of a cell that a block
does not need yet wait in the table. An event in the middle of a cell cuts it: phases and
amplitudes are taken where they stand at that sample, and a new cell starts there, so nothing
jumps and nothing depends on whether the event was known before.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.kernel import CELL, F32, F64, Kernel, Rows
from meantide.voice.note_table import NoteTable
from meantide.voice.prepared import PreparedVoice

INAUDIBLE = 1e-6
"""A settled note that stays below this (-120 dBFS) is over."""


class AdditiveBank:
    """Up to `notes` notes of `count` partials each (a padded count), at one sample rate.

    A `Bank`. Nothing is allocated after construction but small temporaries of a few numbers a
    note.
    """

    def __init__(self, notes: int, count: int, rate: int, kernel: Kernel) -> None:
        self._rate = rate
        self._table = NoteTable(notes, count, rate)
        self._reader = kernel.reader(self._table)
        self._prepared: list[PreparedVoice | None] = [None] * notes

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, prepared: PreparedVoice, strike: Strike) -> None:
        """Begin a note of `prepared` in `row`."""
        self._prepared[row] = prepared
        self._table.start(row, prepared, strike)
        self._reader.land(np.array([row]))

    def release(self, rows: Rows, stage: Stage = Stage.RELEASED) -> None:
        """Let the notes in `rows` go from this sample on, by their release or at once."""
        self._reader.release(rows, stage)

    def retune(self, rows: Rows, hz: F64, samples: int, grid: DegreeGrid | None) -> None:
        """Bring the notes in `rows` to `hz` (one each), linear in cents over `samples`.

        Partials that are drawn to degrees come to those of `grid` with them.
        """
        table = self._table
        self._reader.cut(rows)
        table.course.move("pitch", rows, table.next_ages[rows], hz / self._rate, samples)
        for row, goal_hz in zip(rows.tolist(), hz.tolist(), strict=True):
            prepared = self._prepared[row]
            if prepared is None:
                continue
            if prepared.voice.trims_db:
                here = np.array([row])
                table.course.move_to_level_of(prepared.voice, here, table.next_ages[here], samples)
            if prepared.follows_scale:
                table.move_ratios(row, prepared.ratios_for(goal_hz, grid), samples)
        self._reader.land(rows)

    def touch(self, ramp: str, rows: Rows, goals: F64, samples: int) -> None:
        """Move "bend" (cents), "pressure" or "timbre" (0..1), linearly over `samples`."""
        self._reader.cut(rows)
        self._table.course.move(ramp, rows, self._table.next_ages[rows], goals, samples)
        self._reader.land(rows)

    def revoice(
        self, rows: Rows, prepared: PreparedVoice, samples: int, grid: DegreeGrid | None
    ) -> None:
        """Let the notes in `rows` become notes of `prepared` over `samples`.

        Envelopes, and how partials come and go by themselves, stay as they were struck.
        """
        self._reader.cut(rows)
        for row in rows.tolist():
            self._prepared[row] = prepared
            ratios = prepared.ratios_for(self.hz(row), grid)
            self._table.revoice(row, prepared, ratios, samples)
        self._reader.land(rows)

    # -- what stands ------------------------------------------------------------------------

    def gone(self, rows: Rows) -> NDArray[np.bool_]:
        """Tell which of the notes in `rows` are over and silent."""
        table = self._table
        at_end = table.used[rows] >= CELL
        ages = table.next_ages[rows] - np.where(at_end, 0, CELL)
        bounds = np.where(at_end, table.next_bounds[rows], table.bounds[rows])
        gone: NDArray[np.bool_] = (bounds < INAUDIBLE) & table.envelopes.settled(rows, ages)
        return gone

    def loudness(self, rows: Rows) -> F32:
        """Return the power that each note in `rows` stands at, or is rising to in its attack."""
        table = self._table
        ages = table.next_ages[rows] - CELL + table.used[rows]
        rising = ~table.envelopes.settled(rows, ages)[:, None]
        standing = np.where(rising, table.strengths[rows], table.standing_amplitudes(rows))
        power: F32 = np.einsum("rk,rk->r", standing, standing)
        return power

    def hz(self, row: int) -> float:
        """Return the frequency that the note in `row` is at or gliding to, unbent."""
        return float(self._table.course.records["pitch_goal"][row]) * self._rate

    # -- samples ----------------------------------------------------------------------------

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` (ascending) into `out`.

        `out` (channels, samples), contiguous, at most LONGEST_READ samples; `gains` (channels,
        notes of the bank), contiguous.
        """
        self._reader.read(rows, gains, out)
