"""A bank of FM notes: what events do to them, and their samples by a kernel.

Each note lives on its own grid of cells, begun at its first sample and begun anew at every event
that touches it, as additive notes do (`additive.py`). A note that is oversampled begins on its
sample; what an event changes later is heard `decimator.DELAY` samples after it (0.5 ms at 48 kHz).
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.additive import INAUDIBLE
from meantide.voice.bank import Strike
from meantide.voice.decimator import REACH
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.fm_kernels import fm_reader
from meantide.voice.fm_points import FEEDBACK, HEARD, LEVEL, SHARE
from meantide.voice.fm_prepared import PreparedFm
from meantide.voice.fm_table import FmTable
from meantide.voice.kernel import CELL, F32, F64, Kernel, Rows

SOUNDING = np.iinfo(np.int64).max // 2


class FmBank:
    """Up to `notes` notes of any FM voices, at one sample rate: a `Bank`.

    Where a spectrum folds onto 0 Hz, `read` gives what is there: whoever mixes takes it away by a
    `DcBlocker`. Nothing is allocated after construction but temporaries of a block's length.
    """

    def __init__(self, notes: int, rate: int, kernel: Kernel) -> None:
        self._rate = rate
        self._table = FmTable(notes, rate)
        self._reader = fm_reader(kernel, self._table)
        self._prepared: list[PreparedFm | None] = [None] * notes
        self._quiet_from = np.full(notes, SOUNDING)
        """The age from which on nothing is made of a note, as far as was seen."""

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, prepared: PreparedFm, strike: Strike) -> None:
        """Begin a note of `prepared` in `row`."""
        self._prepared[row] = prepared
        self._quiet_from[row] = SOUNDING
        self._table.start(row, prepared, strike)
        self._reader.land(np.array([row]))

    def release(self, rows: Rows, stage: Stage = Stage.RELEASED) -> None:
        """Let the notes in `rows` go from this sample on, by their release or at once."""
        self._reader.release(rows, stage)

    def retune(self, rows: Rows, hz: F64, samples: int, grid: DegreeGrid | None) -> None:
        """Bring the notes in `rows` to `hz` (one each), linear in cents over `samples`.

        Operators whose ratios the scale gives come to those of `grid` with them.
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
                table.move_ratios(row, prepared, prepared.ratios_for(goal_hz, grid), samples)
        self._reader.land(rows)

    def touch(self, ramp: str, rows: Rows, goals: F64, samples: int) -> None:
        """Move "bend" (cents), "pressure" or "timbre" (0..1), linearly over `samples`."""
        self._reader.cut(rows)
        self._table.course.move(ramp, rows, self._table.next_ages[rows], goals, samples)
        self._reader.land(rows)

    def revoice(
        self, rows: Rows, prepared: PreparedFm, samples: int, grid: DegreeGrid | None
    ) -> None:
        """Let the notes in `rows` become notes of `prepared` over `samples`.

        Envelopes stay as they were struck, and so does the oversampling. Notes whose operators
        stand in another order, or are more or fewer, stay what they are.
        """
        self._reader.cut(rows)
        for row in rows.tolist():
            former = self._prepared[row]
            if former is not None and former.is_alike(prepared):
                self._prepared[row] = prepared
                ratios = prepared.ratios_for(self.hz(row), grid)
                self._table.revoice(row, prepared, ratios, samples)
        self._reader.land(rows)

    # -- what stands ------------------------------------------------------------------------

    def gone(self, rows: Rows) -> NDArray[np.bool_]:
        """Tell which of the notes in `rows` are over and silent."""
        table = self._table
        at_end = table.used[rows] >= CELL
        oversampled = table.records["factor"][rows] > 1
        heard = slice(HEARD, FEEDBACK)
        begun = np.abs(table.points[rows, heard]).sum(axis=1)
        ended = np.abs(table.next_points[rows, heard]).sum(axis=1)
        silent: NDArray[np.bool_] = np.where(at_end & ~oversampled, ended, begun) < INAUDIBLE
        if not silent.any():  # the usual case, and seldom worth more
            self._quiet_from[rows] = SOUNDING
            return silent
        ages = table.next_ages[rows] - np.where(at_end & ~oversampled, 0, CELL)
        # what was made before is still in the decimator, until it has passed; a cell may be looked
        # at always at the same place, and so one cell alone cannot tell
        quiet_from = np.where(silent, np.minimum(self._quiet_from[rows], ages), SOUNDING)
        self._quiet_from[rows] = quiet_from
        passed = ~oversampled | (
            table.next_ages[rows] - CELL + table.used[rows] - quiet_from >= REACH
        )
        gone: NDArray[np.bool_] = silent & passed & table.settled(rows, ages)
        return gone

    def loudness(self, rows: Rows) -> F32:
        """Return the power that each note in `rows` stands at, or is rising to in its attack."""
        table = self._table
        ages = table.next_ages[rows] - CELL + table.used[rows]
        rising = ~table.settled(rows, ages)[:, None]
        rising_to = table.shape_goals[rows, LEVEL:SHARE] * table.course.gains(rows, ages[:, None])
        heard = table.standing_points(rows)[:, HEARD:FEEDBACK]
        standing = np.where(rising, rising_to, heard)
        power: F32 = np.einsum("rk,rk->r", standing, standing).astype(np.float32)
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
