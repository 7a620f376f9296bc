"""What lies between the samples: the largest values that a table of short filters finds there.

The numpy form is one matrix product for 16 places of the filters at a time; the compiled twin
stands in `voice/compiled_master.py`.
"""

from collections.abc import Callable

import numpy as np
from numpy.lib.stride_tricks import as_strided

from meantide.voice.kernel import F32
from meantide.voice.kernels import COMPILED

GROUP = 16
"""Places that one row of the matrix product stands for, and that one compiled loop makes."""

Find = Callable[[F32, int, int, F32, float, F32, F32], None]


class Interpolator:
    """The largest of several filters at every sample of two channels.

    `filters` (filters, taps), float32, the taps a multiple of 8: tap k weighs the sample that came
    `taps - 1 - k` before.
    `longest` is the longest block in samples, `kernel` the name of the kernel.
    """

    def __init__(self, filters: F32, longest: int, kernel: str) -> None:
        self.taps = filters.shape[1]
        self.filters = np.ascontiguousarray(filters, np.float32)
        self.sums = np.zeros(GROUP, np.float32)
        """Scratch of the compiled form."""
        self._largest_sum = float(np.abs(filters).sum(axis=1).max())
        rows = -(-longest // GROUP)
        self.found = np.zeros((2, rows * GROUP), np.float32)
        self._find = self._compiled() if kernel == COMPILED else self._numpy(rows)

    @staticmethod
    def room(longest: int) -> int:
        """Return how many samples beyond its block a line must have room for."""
        return -longest % GROUP

    def largest(self, line: F32, first: int, samples: int, worth: float = 0.0) -> F32:
        """Return the largest absolute value that any filter has at each sample; a view.

        `line` (2, samples), contiguous and finite, holds the block from `first` on, the
        `taps - 1` samples before it, and `room` after it. What cannot pass `worth` may be found
        as 0. Safe in the audio callback.
        """
        quiet = self.quiet(worth)
        self._find(line, first, samples, self.filters, quiet, self.found, self.sums)
        return self.found[:, :samples]

    def quiet(self, worth: float) -> float:
        """Return the amplitude up to which samples cannot make a wave that passes `worth`."""
        return worth / self._largest_sum

    def _numpy(self, rows: int) -> Find:
        filters, taps = self.filters.shape
        window = GROUP + taps - 1
        matrix = np.zeros((window, filters, GROUP), np.float32)
        for place in range(GROUP):
            matrix[place : place + taps, :, place] = self.filters.T
        flat = matrix.reshape(window, filters * GROUP)
        windows = np.zeros((2, rows, window), np.float32)
        made = np.zeros((2 * rows, filters * GROUP), np.float32)

        def find(
            line: F32, first: int, samples: int, _: F32, quiet: float, found: F32, __: F32
        ) -> None:
            start = first - taps + 1
            heard = line[:, start : first + samples]
            if max(float(heard.max()), -float(heard.min())) <= quiet:
                found[:, :samples] = 0.0
                return
            count = -(-samples // GROUP)
            view = line[:, start:]
            strides = (view.strides[0], GROUP * view.strides[1], view.strides[1])
            np.copyto(windows[:, :count], as_strided(view, (2, count, window), strides))
            for channel in range(2):
                part = made[:count]
                np.matmul(windows[channel, :count], flat, out=part)
                np.abs(part, out=part)
                by_filter = part.reshape(count, filters, GROUP)
                by_filter.max(axis=1, out=found[channel, : count * GROUP].reshape(count, GROUP))

        return find

    def _compiled(self) -> Find:
        from meantide.voice.compiled_master import find_largest  # noqa: PLC0415  # loads numba

        find: Find = find_largest
        line = np.zeros((2, self.taps), np.float32)
        find(
            line, self.taps - 1, 0, self.filters, 0.0, self.found, self.sums
        )  # compiled now, not later
        return find
