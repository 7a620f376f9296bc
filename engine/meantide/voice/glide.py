"""The frequencies of many notes, held or gliding linearly in cents, in closed form."""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.kernel import CELL, F64, Rows

GLIDE = np.dtype(
    [(name, np.float64) for name in ("now", "goal", "left", "bend", "begun", "begun_left")]
)
"""One note's frequency; see `GlideTable`."""


class GlideTable:
    """One frequency a row, in cycles a sample; methods take the rows they act on.

    While a glide of `left` more samples runs, the frequency t samples on is

        f(t) = now · e^(bend·t),  t <= left,  and the goal after that,

    and the cycles gone are its integral, now · (e^(bend·t) - 1) / bend. A note moves a cell at a
    time: `begin_cell`, `travel`, `end_cell`; `cut` goes back to a sample inside that cell. Safe in
    the audio callback.
    """

    def __init__(self, notes: int) -> None:
        self.records = np.zeros(notes, GLIDE)
        """The same numbers as the columns below, one record a note."""
        self.now: F64 = self.records["now"]
        self.goal: F64 = self.records["goal"]
        self.left: F64 = self.records["left"]
        self._bend: F64 = self.records["bend"]
        self._bend[:] = 1.0
        self._begun: F64 = self.records["begun"]
        self._begun_left: F64 = self.records["begun_left"]

    def hold(self, rows: Rows, frequencies: F64) -> None:
        """Put the notes on `frequencies` at once."""
        self.now[rows] = frequencies
        self.goal[rows] = frequencies
        self.left[rows] = 0.0

    def glide(self, rows: Rows, frequencies: F64, samples: int) -> None:
        """Let the notes move from where they are to `frequencies` in `samples` samples."""
        bend = np.log(frequencies / self.now[rows]) / samples
        self.goal[rows] = frequencies
        self.left[rows] = np.where(bend == 0.0, 0.0, float(samples))
        self._bend[rows] = np.where(bend == 0.0, 1.0, bend)

    def steady_cell(self, rows: Rows) -> None:
        """Note that the current cell of these notes is one without movement."""
        self._begun_left[rows] = 0.0

    def begin_cell(self, rows: Rows) -> None:
        """Remember where these notes stand, at the start of a cell."""
        self._begun[rows] = self.now[rows]
        self._begun_left[rows] = self.left[rows]

    def travel(self, rows: Rows) -> F64:
        """Return the cycles gone after 0 .. CELL samples of the cell begun, (rows, CELL + 1)."""
        return self._travel(rows, np.arange(CELL + 1.0)[None, :])

    def frequency_after(self, rows: Rows, samples: F64 | float) -> F64:
        """Return the frequencies so many samples into the cell begun."""
        left, begun = self._begun_left[rows], self._begun[rows]
        moving = begun * np.exp(self._bend[rows] * np.minimum(samples, left))
        return np.where(samples >= left, self.goal[rows], moving)

    def end_cell(self, rows: Rows) -> Rows:
        """Move these notes on by the cell begun; return those that are at their goal."""
        self.now[rows] = self.frequency_after(rows, float(CELL))
        self.left[rows] = np.maximum(self._begun_left[rows] - CELL, 0.0)
        return rows[self.left[rows] <= 0.0]

    def cut(self, rows: Rows, at: NDArray[np.intp]) -> F64:
        """Go back to `at` samples into the current cell; return the cycles from there to its end.

        The cycles are those of the cell as it was made.
        """
        moved = self._begun_left[rows] > 0.0
        samples = at.astype(np.float64)
        ends = np.stack([samples, np.full(samples.shape, float(CELL))], axis=1)
        travel = self._travel(rows, ends)
        ahead = np.where(moved, travel[:, 1] - travel[:, 0], self.now[rows] * (CELL - samples))
        within = rows[moved]
        self.now[within] = self.frequency_after(within, samples[moved])
        self.left[within] = np.maximum(self._begun_left[within] - samples[moved], 0.0)
        return ahead

    def _travel(self, rows: Rows, samples: F64) -> F64:
        left = self._begun_left[rows, None]
        bend = self._bend[rows, None]
        moving = self._begun[rows, None] * np.expm1(bend * np.minimum(samples, left)) / bend
        resting = self.goal[rows, None] * np.maximum(samples - left, 0.0)
        cycles: F64 = moving + resting
        return cycles
