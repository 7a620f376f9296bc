"""What tones that were heard say of a tuning: their degrees, and the anchor that fits them best.

The anchor is the weighted mean of the deviations in cents. Each tone is as sure as it was measured
and as the instrument is even: the scatter among the tones, beyond what measuring explains, counts
for all alike. A tone far off the others is named and left out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Reals
from meantide.offline.scatter import probable_scatter
from meantide.pitch import Interval, Scale, Tuning
from meantide.pitch.nearness.degrees import nearest_degree

FEWEST_FOR_OUTLIERS = 4
# Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993, from memory: over 3.5 robust
# standard deviations.
_OUTLYING = 3.5
_LEAST_OUTLYING_CENTS = 1.0  # nobody retunes an instrument for less
_MAD_OF_NORMAL = 1.4826
_FAR_COST = 0.02  # a slightly better fit is no reason to think an instrument far off


@dataclass(frozen=True, slots=True)
class PlacedTone:
    """A tone at its degree: what it was measured at, and how far from the fitted tuning.

    `cents` is its deviation, `uncertainty_cents` that of its own measurement. An `outlier` had no
    part in the fit.
    """

    degree: int
    name: str | None
    hz: float
    expected_hz: float
    cents: float
    uncertainty_cents: float
    outlier: bool


@dataclass(frozen=True, slots=True)
class AnchorFit:
    """The tuning with the anchor that fits, and how far that lies above the one it began with.

    `scatter_cents` is the standard deviation of the tones about it, measuring left out.
    """

    tuning: Tuning
    cents: float
    uncertainty_cents: float
    scatter_cents: float
    tones: tuple[PlacedTone, ...]


def fit_anchor(
    tuning: Tuning,
    hz: Sequence[float],
    uncertainty_cents: Sequence[float],
    degrees: Sequence[int] | None = None,
) -> AnchorFit:
    """Return the anchor that fits tones of `hz`, which play `degrees`, or the nearest there are.

    Without degrees the tones are taken to be near degrees of some anchor close to the one given,
    not of that very one: an instrument that stands half a step off is no trouble.
    """
    doubt = np.maximum(np.array(uncertainty_cents, dtype=np.float64), 1e-6)
    placed = list(degrees) if degrees is not None else nearest_degrees(tuning, hz)
    off = np.array(
        [
            cents_between(each, tuning.hz_of_degree(degree))
            for each, degree in zip(hz, placed, strict=True)
        ]
    )
    outlying = _outlying(off, doubt)
    kept = ~outlying

    def mean_of(scatter: float) -> tuple[float, Reals]:
        weight: Reals = 1.0 / (doubt[kept] ** 2 + scatter**2)
        return float(np.sum(weight * off[kept]) / weight.sum()), weight

    def excess(scatter: float) -> float:
        mean, weight = mean_of(scatter)
        return float(np.sum(weight * (off[kept] - mean) ** 2)) - float(kept.sum() - 1)

    scatter = probable_scatter(excess) if kept.sum() > 1 else 0.0
    mean, weight = mean_of(scatter)
    anchor = replace(
        tuning.anchor,
        hz=tuning.anchor.hz * 2.0 ** (mean / 1200.0),
        celsius=None, name="", source="", about="",
    )  # fmt: skip
    fitted = Tuning(tuning.scale, anchor, tuning.layout)
    tones = []
    for place, degree in enumerate(placed):
        name = tuning.name_of_degree(degree)
        tones.append(
            PlacedTone(
                degree,
                None if name is None else str(name),
                float(hz[place]),
                fitted.hz_of_degree(degree),
                float(off[place] - mean),
                float(doubt[place]),
                bool(outlying[place]),
            )
        )
    return AnchorFit(fitted, mean, 1.0 / math.sqrt(weight.sum()), scatter, tuple(tones))


def nearest_degrees(tuning: Tuning, hz: Sequence[float]) -> list[int]:
    """Return the degrees that tones are nearest to, under the anchor near by that suits them best.

    Every shift that puts one tone upon one of its two neighbouring degrees is tried; the best has
    the least sum of distances, and of those as good the smallest shift is taken.
    """
    scale = tuning.scale
    zero_hz = tuning.hz_of_degree(0)
    heights = np.array([cents_between(each, zero_hz) for each in hz])
    lowest, highest = (_nearest(scale, float(each)) for each in (heights.min(), heights.max()))
    degrees = np.arange(lowest - 2, highest + 3)
    steps = 1200.0 * np.array([scale.octaves(int(degree)) for degree in degrees])
    middles = (steps[:-1] + steps[1:]) / 2.0
    shifts = [0.0]
    if len(hz) > 1:
        place = np.searchsorted(middles, heights)
        shifts += [float(each) for step in (-1, 0, 1) for each in heights - steps[place + step]]
    best: tuple[float, list[int]] | None = None
    for shift in sorted(shifts, key=abs):
        place = np.searchsorted(middles, heights - shift)
        left = float(np.mean(np.abs(heights - shift - steps[place])))
        cost = left + _FAR_COST * abs(shift)
        if best is None or cost < best[0] - 1e-6:
            best = cost, [int(degree) for degree in degrees[place]]
    assert best is not None  # noqa: S101  a shift of 0 is always tried
    return best[1]


def _outlying(off: Reals, doubt: Reals) -> NDArray[np.bool_]:
    """Say which tones lie far off the others; none where there are too few to tell."""
    none = np.zeros(len(off), dtype=np.bool_)
    if len(off) < FEWEST_FOR_OUTLIERS:
        return none
    middle = float(np.median(off))
    spread = _MAD_OF_NORMAL * float(np.median(np.abs(off - middle)))
    limit = np.maximum(_OUTLYING * np.hypot(spread, doubt), _LEAST_OUTLYING_CENTS)
    outlying: NDArray[np.bool_] = np.abs(off - middle) > limit
    return outlying if outlying.sum() * 2 < len(off) else none


def _nearest(scale: Scale, cents: float) -> int:
    return nearest_degree(
        scale, Interval.parse(f"{'-' if cents < 0 else ''}{abs(cents):.6f} cents")
    )[0]


def cents_between(hz: float, reference_hz: float) -> float:
    """Return how far `hz` lies above `reference_hz` in cents."""
    return 1200.0 * math.log2(hz / reference_hz)
