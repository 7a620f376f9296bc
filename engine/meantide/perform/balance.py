"""Where a part stands: its level, its pan, and how far its notes spread around it."""

import math
from dataclasses import dataclass, field

from meantide.perform.line import Line

MIDDLE_HZ = 440.0 * 2.0**-0.75
"""Middle C where A4 is 440 Hz: there a note stands at its part's pan, whatever the width."""
SPREAD_OCTAVES = 3.0
"""So far above middle C a note stands at the far right of the width, so far below at the left."""
MOST_WIDTH = 1.0


def spread_of(hz: float) -> float:
    """Return where in the width a note of `hz` stands: -1 (low) to 1 (high), as on a keyboard."""
    return min(max(math.log2(hz / MIDDLE_HZ) / SPREAD_OCTAVES, -1.0), 1.0)


def sides_of(place: float) -> tuple[float, float]:
    """Return the gains of the left and the right channel at a place from -1 (left) to 1.

    Constant power, so cos and sin.
    """
    angle = (min(max(place, -1.0), 1.0) + 1.0) * math.pi / 4.0
    return math.cos(angle), math.sin(angle)


@dataclass(slots=True, eq=False)
class Balance:
    """A part's level (a factor), pan (-1 to 1) and width (0 to 1): each moves in straight lines."""

    gain: Line = field(default_factory=lambda: Line(1.0))
    pan: Line = field(default_factory=Line)
    width: Line = field(default_factory=Line)

    @property
    def arrive(self) -> int:
        """The sample from which on nothing of it moves."""
        return max(self.gain.arrive, self.pan.arrive, self.width.arrive)

    def place(self, spread: float, sample: int) -> float:
        """Return where a note that stands at `spread` in the width stands in all, -1 to 1."""
        return min(max(self.pan.at(sample) + self.width.at(sample) * spread, -1.0), 1.0)

    def sides(self, spread: float, sample: int) -> tuple[float, float]:
        """Return the gains of a note's left and right channel."""
        left, right = sides_of(self.place(spread, sample))
        gain = self.gain.at(sample)
        return gain * left, gain * right
