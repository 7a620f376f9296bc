"""Wall time to samples: when the first sample of a block is, by the entries of blocks.

A host asks for a block at its time or somewhat later, never sooner. So the earliest entries tell,
and the line under them all (their lower envelope) has the device's own rate as its slope.
"""

import time
from collections import deque
from collections.abc import Callable
from typing import NamedTuple, Protocol

WINDOW_S = 1.0
WINDOWS = 8
"""The slope is that of the line through the earliest entries of so many windows."""
RECENT = 2
"""How high the line lies is told by the last windows: this one and those before it."""
MOST_DRIFT = 2e-3
"""A device's clock that is further off than 2 parts in 1000 is none; audio devices keep 1e-4."""
LATE_IN_A_ROW = 4
"""So many entries, all late by whole blocks, mean that blocks were lost."""


class BlockStart(NamedTuple):
    """A block's first sample, the wall time (seconds since 1970) of it, and a sample's length."""

    sample: int
    began_s: float
    sample_s: float

    def sample_at(self, wall_s: float) -> int:
        """Return the sample at a wall time, before or after."""
        return self.sample + round((wall_s - self.began_s) / self.sample_s)


class EntryClock(Protocol):
    """What is told of every block that is asked for; safe in the audio callback."""

    name: str

    def asked(self, sample: int) -> BlockStart:
        """Hear that the block from `sample` on is asked for now."""


class NowClock:
    """Takes each entry for its block's time: exact where a test asks for the blocks."""

    name = "entries"

    def __init__(self, rate: int) -> None:
        self._sample_s = 1.0 / rate

    def asked(self, sample: int) -> BlockStart:
        """Return the block as begun now."""
        return BlockStart(sample, time.time(), self._sample_s)


class EnvelopeClock:
    """The lower envelope of entries, with its slope.

    `steady` and `wall` are clocks in seconds. Entries are timed by the steady one, and told by the
    wall: when that is set, the line stays.
    """

    name = "envelope of block entries"

    def __init__(
        self,
        rate: int,
        block: int,
        steady: Callable[[], float] = time.perf_counter,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._steady, self._wall = steady, wall
        self._nominal_s, self._block = block / rate, block
        self._window = max(LATE_IN_A_ROW, round(WINDOW_S * rate / block))
        self._turn = self._next_window = 0
        """Blocks of the device so far, the lost ones with them."""
        self._slope = 0.0
        """Seconds a block longer than nominal."""
        self._earliest: deque[tuple[int, float]] = deque(maxlen=WINDOWS)
        """Of each window the block that was earliest, and how late it was by the nominal length."""
        self._late = 0
        self._least_late_s = 0.0
        self._first_s: float | None = None
        self.lost = 0
        """Blocks that the device had to do without, as far as entries tell."""

    def asked(self, sample: int) -> BlockStart:
        """Return when the block would have been asked for if the host were never late."""
        now_s = self._steady()
        to_wall_s = self._wall() - now_s
        if self._first_s is None:
            self._first_s = now_s
        if self._turn >= self._next_window:
            self._next_window = self._turn + self._window
            self._begin_window()
        off_s = now_s - self._first_s - self._turn * self._nominal_s
        line_s = self._line(off_s)
        self._look_for_lost(off_s - line_s)
        turn, self._turn = self._turn, self._turn + 1
        began_s = self._first_s + turn * self._nominal_s + line_s
        sample_s = (self._nominal_s + self._slope) / self._block
        return BlockStart(sample, began_s + to_wall_s, sample_s)

    def _line(self, off_s: float) -> float:
        """Take in an entry; return how late, by the nominal length, the line is here."""
        last = self._earliest
        here = self._turn
        if last[-1][0] < 0 or off_s - last[-1][1] < self._slope * (here - last[-1][0]):
            last[-1] = (here, off_s)
        recent = [last[place] for place in range(-min(RECENT, len(last)), 0)]
        return min(late_s + self._slope * (here - turn) for turn, late_s in recent)

    def _begin_window(self) -> None:
        """Draw the line anew through the earliest entries so far, by least squares."""
        points = list(self._earliest)
        if len(points) >= RECENT:
            mean_turn = sum(turn for turn, _ in points) / len(points)
            mean_s = sum(late_s for _, late_s in points) / len(points)
            spread = sum((turn - mean_turn) ** 2 for turn, _ in points)
            slope = sum((turn - mean_turn) * (late_s - mean_s) for turn, late_s in points) / spread
            most = MOST_DRIFT * self._nominal_s
            self._slope = min(max(slope, -most), most)
        self._earliest.append((-1, 0.0))

    def _look_for_lost(self, late_s: float) -> None:
        """Count blocks as lost when several entries in a row are late by as many."""
        if late_s < 0.75 * self._nominal_s:
            self._late = 0
            return
        self._least_late_s = late_s if self._late == 0 else min(self._least_late_s, late_s)
        self._late += 1
        if self._late >= LATE_IN_A_ROW:
            lost = round(self._least_late_s / self._nominal_s)
            self._late = 0
            self.lost += lost
            self._turn += lost
