"""The intervals at which a voice is least rough: the minima of its roughness curve.

The curve is smooth but for a corner at each interval where partials coincide, and most minima are
such corners. So it is looked at every cent and at every corner, and each low point found is then
closed in on by the golden section between its two neighbours, where no other corner is.
"""

import math
from dataclasses import dataclass

import numpy as np

from meantide.errors import InvalidValue
from meantide.voice.roughness import F64, RoughnessCurve

LARGEST_PERIOD = 16.0
"""Four octaves: further apart, notes have next to no roughness to speak of."""
MARGIN_OCTAVES = 200.0 / 1200.0
"""How far beyond either end of the period the curve is looked at, for minima at the ends."""
STEP_OCTAVES = 1.0 / 1200.0
SAME_OCTAVES = 1e-12
"""Places nearer than this are one place, rounded."""
SHALLOWEST = 1e-6
"""Minima shallower than this share of the curve's height are arithmetic, not music."""
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_SECTIONS = 30  # narrow two cents to 1e-9 octaves


@dataclass(frozen=True, slots=True)
class Minimum:
    """A minimum of a roughness curve.

    `ratio` is within 1e-6 of its true place. `depth` is how far the curve must climb from here
    before it can reach a lower point (its prominence, within the range looked at; known to 1e-4 of
    the roughest, since the tops are not refined), and `roughness` its height, both in the curve's
    own measure.
    """

    ratio: float
    roughness: float
    depth: float

    @property
    def octaves(self) -> float:
        """Its interval as log2 of the ratio."""
        return math.log2(self.ratio)

    @property
    def cents(self) -> float:
        """Its interval in cents."""
        return 1200.0 * self.octaves


@dataclass(frozen=True, slots=True, eq=False)
class Landscape:
    """A curve over one period: its points (ratios and roughness, shape (n,)) and its minima."""

    ratios: F64
    roughness: F64
    minima: tuple[Minimum, ...]

    @property
    def roughest(self) -> float:
        """The greatest roughness within the period."""
        return float(self.roughness.max())


def survey(curve: RoughnessCurve, period: float = 2.0) -> Landscape:
    """Return the curve from 1/1 to the ratio `period`, both included, and its minima, rising.

    The points lie a cent apart at most. Raises InvalidValue for a period that is not above 1, or
    is over four octaves.
    """
    if not 1.0 < period <= LARGEST_PERIOD:
        raise InvalidValue("period", period, f"a ratio above 1, to {LARGEST_PERIOD:g}")
    low, high = -MARGIN_OCTAVES, math.log2(period) + MARGIN_OCTAVES
    even = np.linspace(low, high, math.ceil((high - low) / STEP_OCTAVES) + 1)
    corners = np.log2(curve.coincidences(2.0**low, 2.0**high))
    places = np.sort(np.concatenate([even, corners, [0.0, math.log2(period)]]))
    places = places[np.diff(places, prepend=-math.inf) > SAME_OCTAVES]
    heights = curve.at(np.exp2(places))
    # A corner at an end of the period may stand a rounding away from it.
    start, end = -SAME_OCTAVES, math.log2(period) + SAME_OCTAVES
    inner = (places >= start) & (places <= end)
    minima = tuple(m for m in _minima(curve, places, heights) if start <= m.octaves <= end)
    return Landscape(np.exp2(places[inner]), heights[inner], minima)


def _minima(curve: RoughnessCurve, places: F64, heights: F64) -> list[Minimum]:
    """Return all minima that are deep enough, refined, in order."""
    middle = heights[1:-1]
    found = 1 + np.flatnonzero((middle < heights[:-2]) & (middle <= heights[2:]))
    refined, lows = _refine(curve, places[found - 1], places[found + 1])
    at_point = heights[found] <= lows  # a corner itself, met to the last bit
    refined[at_point], lows[at_point] = places[found][at_point], heights[found][at_point]
    least = SHALLOWEST * float(np.ptp(heights))
    minima = []
    for index, place, height in zip(found, refined, lows, strict=True):
        depth = min(_climb(heights[:index][::-1], height), _climb(heights[index + 1 :], height))
        if depth > least:
            minima.append(Minimum(float(np.exp2(place)), float(height), float(depth)))
    return minima


def _climb(heights: F64, start: float) -> float:
    """Return how far `heights` rise above `start` before they first fall below it."""
    below = np.flatnonzero(heights < start)
    walked = heights[: below[0]] if len(below) else heights
    return float(walked.max(initial=start)) - start


def _refine(curve: RoughnessCurve, low: F64, high: F64) -> tuple[F64, F64]:
    """Return the lowest place between each `low` and `high` (log2), and the height there.

    All are narrowed together, by the golden section (Kiefer 1953; from memory).
    """
    left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_left, at_right = curve.at(np.exp2(left)), curve.at(np.exp2(right))
    for _ in range(_SECTIONS):
        lower = at_left < at_right
        low, high = np.where(lower, low, left), np.where(lower, right, high)
        new = np.where(lower, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        at_new = curve.at(np.exp2(new))
        left, right = np.where(lower, new, right), np.where(lower, left, new)
        at_left, at_right = np.where(lower, at_new, at_right), np.where(lower, at_left, at_new)
    middle = (low + high) / 2.0
    return middle, curve.at(np.exp2(middle))
