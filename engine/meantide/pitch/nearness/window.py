"""The ratios within a tolerance, told from those without by exact comparison."""

import math
from dataclasses import dataclass
from typing import Self

from meantide.errors import InvalidValue
from meantide.pitch.interval import OCTAVE, UNISON, Interval

# Of one octave and of an interval's own size; both logarithms are within a few 1e-16 of theirs.
_MARGIN = 1e-14
_ROOM = 1e-12  # of a number; its estimate is within a few 1e-15
_FAR_OCTAVES = 60.0  # beyond every ratio of numbers up to 10**12


@dataclass(frozen=True, slots=True)
class Window:
    """The intervals from `low` to `high`, both included."""

    low: Interval
    high: Interval

    @classmethod
    def around(cls, target: Interval, tolerance: Interval) -> Self:
        """Return the window that reaches `tolerance`, 1/1 to 2/1, to both sides of `target`."""
        if not UNISON <= tolerance <= OCTAVE:
            raise InvalidValue("tolerance", str(tolerance), "0 to 1200 cents")
        return cls(target - tolerance, target + tolerance)

    def side(self, above: int, below: int) -> int:
        """Return -1, 0 or 1 as above/below lies under, within or over the window.

        The numbers are 1 to 10**12. Floats decide where they can, exact intervals elsewhere.
        """
        height = math.log2(above / below)
        over_low, under_high = height - self.low.octaves, self.high.octaves - height
        margin = _MARGIN * (1 + abs(height))
        if over_low > margin and under_high > margin:
            return 0
        if over_low < -margin:
            return -1
        if under_high < -margin:
            return 1
        interval = Interval.ratio(above, below)
        return (interval > self.high) - (interval < self.low)

    def numbers_over(self, below: int, most: int) -> range:
        """Return the numbers n up to `most` whose n/below lies within, as a range.

        An empty one starts at the least number over the window, or just past `most`.
        """
        first = max(1, math.floor(_ratio(self.low) * below * (1 - _ROOM)))
        while first <= most and self.side(first, below) < 0:
            first += 1
        first = min(first, most + 1)
        last = min(most, math.ceil(_ratio(self.high) * below * (1 + _ROOM)))
        while last >= first and self.side(last, below) > 0:
            last -= 1
        return range(first, last + 1)


def _ratio(interval: Interval) -> float:
    """Return about its ratio, or a number that is as good for what lies out of reach."""
    return math.exp2(max(-_FAR_OCTAVES, min(_FAR_OCTAVES, interval.octaves)))
