"""What a kernel is: the arithmetic that turns the state of notes into samples.

A note's sound is made in cells of `CELL` samples. Within a cell every partial's amplitude runs
linearly between its values at the two ends. There are two kernels, and each is the other's test:
that of `kernel_numpy.py`, matrix products in plain numpy, and that of `kernel_compiled.py`, one
compiled call for all notes of a bank. `kernels.py` finds the one to be used.
"""

from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from meantide.voice.envelope import Stage
    from meantide.voice.note_table import NoteTable

CELL = 64
"""Samples between two points of the control grid."""
LONGEST_READ = 8192
"""Samples in one `read`."""

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Rows = NDArray[np.intp]


class Reader(Protocol):
    """A kernel at work on the notes of one table; all methods are safe in the audio callback."""

    def cut(self, rows: Rows) -> None:
        """Do as `NoteTable.cut`."""

    def land(self, rows: Rows) -> None:
        """Do as `NoteTable.land`, and make ready to read the notes in `rows`."""

    def release(self, rows: Rows, stage: "Stage") -> None:
        """Cut the notes in `rows`, let them go, and land them where their pitch moves."""

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` (ascending) into `out`.

        `out` (channels, samples), contiguous, at most LONGEST_READ samples; `gains` (channels,
        notes of the table), contiguous. The table moves on by as many samples.
        """


class Kernel(Protocol):
    """One way to do the arithmetic."""

    @property
    def name(self) -> str:
        """The name it is asked for by, and that stands in takes and journals."""

    def reader(self, table: "NoteTable") -> Reader:
        """Make ready to read the notes of `table`: control side, since it allocates."""
