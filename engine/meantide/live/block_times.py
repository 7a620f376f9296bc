"""How long blocks took to make, and how many the device had to do without."""

import math

BINS_AN_OCTAVE = 16
"""A quantile is told to the next 2^(1/16) above it: 4.4 % too much at most."""
LOWEST_OCTAVE, HIGHEST_OCTAVE = -12, 6
"""Shares below 2^-12 or above 2^6 of a block's length go to the outermost bins."""
BINS = (HIGHEST_OCTAVE - LOWEST_OCTAVE) * BINS_AN_OCTAVE
DRIFT = 1.0 / 1024.0
"""The part of a block's lateness that is put down to the device's own clock."""


class BlockTimes:
    """A histogram of shares: the time a block took, over its length. The audio side adds to it.

    It never grows. The control side may read at any time, and misses at most the block being added.
    """

    def __init__(self) -> None:
        self.worst = 0.0
        self.blocks = 0
        self.long = 0
        """Blocks that took longer than they last."""
        self._bins = [0] * BINS

    def add(self, share: float) -> None:
        """Count a block."""
        place = math.ceil((math.log2(max(share, 1e-9)) - LOWEST_OCTAVE) * BINS_AN_OCTAVE) - 1
        self._bins[min(max(place, 0), BINS - 1)] += 1
        self.blocks += 1
        self.long += share > 1.0
        self.worst = max(self.worst, share)

    def quantile(self, part: float) -> float:
        """Return the share that `part` (0..1) of all blocks did not pass; 0 if there were none."""
        bins = list(self._bins)
        wanted, passed = part * sum(bins), 0
        for place, count in enumerate(bins):
            passed += count
            if count and passed >= wanted:
                edge = 2.0 ** (LOWEST_OCTAVE + (place + 1) / BINS_AN_OCTAVE)
                return self.worst if place == BINS - 1 else min(edge, self.worst)
        return 0.0


class LostBlocks:
    """Counts the blocks that were not asked for in time, from when each was asked for.

    A device asks at even distances, and passes over a block that it cannot have in time. So one
    that is asked for late by its whole length, or several, means that so many were lost. When the
    next is due is known from the earliest so far; a device whose clock is slower than ours, by up
    to half a block in a thousand, is followed.
    """

    def __init__(self, block_s: float) -> None:
        self.lost = 0
        self._block_s = block_s
        self._due_s: float | None = None

    def asked(self, now_s: float) -> None:
        """Take note that a block is asked for at `now_s`, by any steady clock."""
        late_s = 0.0 if self._due_s is None else now_s - self._due_s
        missed = max(int(late_s / self._block_s), 0)
        self.lost += missed
        late_s = max(late_s - missed * self._block_s, 0.0)
        self._due_s = now_s - late_s * (1.0 - DRIFT) + self._block_s
