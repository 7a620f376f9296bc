"""The stretches of samples over which gains run straight while a balance moves.

A stretch begins at an event or at a point of a grid that is the same for all, and ends at a point
of it. So the sound does not depend on blocks, and the notes of all parts are read at once.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from meantide.perform.line import SHORTEST_TOUCH_S
from meantide.voice.kernel import F32

GRID = 256
"""Samples between two points where gains are set while they move."""
_STEPS = np.arange(8192, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `begin` to `end`; nothing moves if they are the same."""

    begin: int = 0
    end: int = 0

    @property
    def moves(self) -> bool:
        """Whether gains move."""
        return self.end > self.begin

    @classmethod
    def after_event(cls, sample: int, rate: int) -> Self:
        """Return the stretch from an event to the first point that is far enough away."""
        return cls(sample, GRID * math.ceil((sample + SHORTEST_TOUCH_S * rate) / GRID))

    def next_until(self, sample: int) -> "Stretch":
        """Return the next stretch, or one where nothing moves if all stands still by `sample`."""
        return Stretch(self.end, self.end + GRID) if self.end < sample else Stretch()

    def over(self, sample: int) -> tuple[int, int]:
        """Return where it begins and ends, or `sample` twice if nothing moves."""
        return (self.begin, self.end) if self.moves else (sample, sample)

    def share(self, sample: int) -> float:
        """Return how much of it is over at `sample`, 0 to 1."""
        return (sample - self.begin) / (self.end - self.begin) if self.moves else 0.0

    def shares(self, sample: int, length: int) -> F32:
        """Return the same for `length` samples from `sample` on; no more than 8192."""
        shares: F32 = _STEPS[:length] + np.float32(sample - self.begin)
        shares /= np.float32(self.end - self.begin)
        return shares
