"""The scale of an instrument as it sounded, from tones that were heard."""

from collections.abc import Sequence
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.offline.listen_tuning import AnchorFit, cents_between
from meantide.pitch import Interval, Scale

SAME_CENTS = 20.0  # unnamed tones as near as this, periods aside, are one degree
_CENTS_DIGITS = 4


@dataclass(frozen=True, slots=True)
class MeasuredScale:
    """A scale as it sounded, and the frequency of its degree 0.

    `spread_cents` is the most by which tones that were taken as one degree differ, periods aside.
    """

    scale: Scale
    hz: float
    spread_cents: float


def measured_scale(
    fit: AnchorFit, *, named: bool, source: str = "", name: str = ""
) -> MeasuredScale:
    """Return the scale of the tones as they sounded, folded into the period of the fitted scale.

    Tones of one degree, periods aside, become one: their mean. So do tones within 20
    cents where their degrees were not `named`. Degree 0 is the scale's own if it sounded, else the
    lowest tone. Cents are told to four decimals. Raises InvalidValue if two degrees coincide.
    """
    scale = fit.tuning.scale
    period = scale.period.cents
    lowest = min(range(len(fit.tones)), key=lambda place: fit.tones[place].hz)
    reference = fit.tones[lowest].hz
    folded = [cents_between(tone.hz, reference) for tone in fit.tones]
    groups = _groups(fit, folded, period, named=named)
    own = [group for group in groups if named and fit.tones[group[0]].degree % scale.size == 0]
    base = own[0] if own else next(group for group in groups if lowest in group)
    zero = _mean(base, folded, period)
    heights = sorted(((_mean(group, folded, period) - zero) % period, group) for group in groups)
    if heights[-1][0] > period - 0.5 * 10.0**-_CENTS_DIGITS:  # the base itself, by rounding
        heights = [(0.0, heights[-1][1]), *heights[:-1]]
    first = min(base, key=lambda place: fit.tones[place].hz)
    periods = fit.tones[first].degree // scale.size if own else 0
    hz = reference * 2.0 ** ((zero + round((folded[first] - zero) / period) * period) / 1200.0)
    steps = [Interval.parse(f"{height:.{_CENTS_DIGITS}f} cents") for height, _ in heights[1:]]
    names = _names(fit, [group for _, group in heights]) if own else None
    made = Scale.from_degrees(steps, scale.period, names=names, name=name, source=source)
    spread = max(max(each) - min(each) for each in (_apart(g, folded, period) for g in groups))
    return MeasuredScale(made, hz * 2.0 ** (-periods * period / 1200.0), spread)


def _groups(
    fit: AnchorFit, folded: Sequence[float], period: float, *, named: bool
) -> list[list[int]]:
    """Return the places of the tones that are one degree each, periods aside."""
    groups: list[list[int]] = []
    for place, tone in enumerate(fit.tones):
        for group in groups:
            first = group[0]
            size = fit.tuning.scale.size
            apart = _apart([first, place], folded, period)[1]
            same = (tone.degree - fit.tones[first].degree) % size == 0
            if same if named else abs(apart) < SAME_CENTS:
                group.append(place)
                break
        else:
            groups.append([place])
    return groups


def _apart(group: Sequence[int], folded: Sequence[float], period: float) -> list[float]:
    """Return how far tones that are one degree lie above the first of them, periods aside."""
    start = folded[group[0]]
    return [(folded[place] - start + period / 2.0) % period - period / 2.0 for place in group]


def _mean(group: Sequence[int], folded: Sequence[float], period: float) -> float:
    """Return the mean height of tones that are one degree, about the first of them.

    Each counts alike: they differ because the instrument does, not because they were ill measured.
    """
    apart = _apart(group, folded, period)
    return folded[group[0]] + sum(apart) / len(apart)


def _names(fit: AnchorFit, groups: Sequence[Sequence[int]]) -> list[str] | None:
    """Return the spellings of measured degrees, if each has one and they count up."""
    spellings = []
    for group in groups:
        name = fit.tuning.name_of_degree(fit.tones[group[0]].degree)
        if name is None:
            return None
        spellings.append(name.spelling)
    steps = [Interval.parse(f"{place} cents") for place in range(1, len(spellings))]
    try:
        Scale.from_degrees(steps, names=spellings)
    except InvalidValue:  # swapped, or one spelling twice: then by degree only
        return None
    return spellings
