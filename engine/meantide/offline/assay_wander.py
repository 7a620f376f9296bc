"""Whether a note that moves by a law does so throughout: its lines looked at bit by bit.

The mean of a note under a wrong vibrato may be right. So where the law has been taken out each line
is measured again in windows shorter than the law's own period, and must stand in all of them where
it stands as a whole.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_law import Law
from meantide.offline.assay_measuring import (
    OVER_LEAK,
    OVER_NOISE,
    Plan,
    Raw,
    Samples,
    Task,
    apart_bins,
    measure,
    plan,
)
from meantide.offline.assay_windows import SHORTEST_WINDOW, Window
from meantide.offline.partials import Reals, fitting_size

_PERIODS = (0.5, 1.0)  # of the law: a longer window would average its errors away
# A line fainter than that beside the note's strongest may be pushed, in so short a window, by what
# no log tells of: rounding, and the faintest of what a voice makes.
_FAINTEST = 10.0 ** (-50.0 / 20.0)
_FEWEST = 2.0  # short windows in the whole
_SURE = 4.0  # uncertainties; hundreds of short windows are looked at
_ON_ITS_WAY = (
    0.3  # of a sideband's amplitude as a whole; fainter, it may be passing through nothing
)
_ONE_PEAK_BINS = 3.0  # nearer, two lines may show one peak between them; measured: 2.5
_SKIRT_BINS = 10.0  # as far as the skirts of lines that come and go quickly matter
_MOST_LINES = 8  # of those that move together, the surest


@dataclass(frozen=True, slots=True)
class Wander:
    """What became of a note in its short windows.

    `seen` says that all of them together were as sure as the tolerance, at every moment looked
    at. Where a line strays `partial` is its index, `cents` how far it is from where it stands as a
    whole, and `sample` where; else `partial` is None.
    """

    seen: bool
    partial: int | None = None
    cents: float = 0.0
    sample: int = 0


def wander(
    task: Task, raw: Raw, lines: NDArray[np.int64], samples: Samples, tolerance_cents: float
) -> Wander:
    """Look at `lines`, resolved in the windows that `raw` tells of, in short windows of those."""
    law, rate = task.law, task.sounding.rate
    lines = lines[raw.amplitude[lines] >= _FAINTEST * raw.amplitude.max()]
    if not len(lines):
        return Wander(seen=False)
    if not law.drift_is_told:
        lines = lines[np.argsort(raw.random_hz[lines] / task.hz[lines])][:_MOST_LINES]
    first, last = int(raw.first[lines].min()), int(raw.last[lines].max())
    for periods in _PERIODS:
        longest_s = min(periods * _period_s(law), (last - first) / rate / _FEWEST)
        size = fitting_size(round(longest_s * rate))
        if size < SHORTEST_WINDOW:
            continue
        found = _look(task, raw, lines, samples, _short_windows(first, last, size), tolerance_cents)
        if found.seen or found.partial is not None:
            return found
    return Wander(seen=False)


def _look(
    task: Task,
    raw: Raw,
    lines: NDArray[np.int64],
    samples: Samples,
    windows: list[Window],
    tolerance_cents: float,
) -> Wander:
    seen, worst = True, Wander(seen=False)
    for window in windows:
        inside = (raw.first[lines] <= window.first) & (raw.last[lines] >= window.last)
        here = lines[inside]
        if not len(here):
            continue
        cents, doubt = _deviations(task, raw, here, plan(task, window), samples)
        sure = np.isfinite(doubt)
        if not sure.any() or 1.0 / np.sqrt(np.sum(doubt[sure] ** -2.0)) > tolerance_cents:
            seen = False
        excess = np.where(sure, np.abs(cents) - tolerance_cents - _SURE * doubt, -np.inf)
        place = int(np.argmax(excess))
        if excess[place] > 0.0 and abs(cents[place]) > abs(worst.cents):
            middle = (window.first + window.last) // 2
            worst = Wander(True, int(here[place]), float(cents[place]), middle)
    return worst if worst.partial is not None else Wander(seen)


def _deviations(
    task: Task, raw: Raw, lines: NDArray[np.int64], short: Plan, samples: Samples
) -> tuple[Reals, Reals]:
    """Return how far each line is, in a short window, from itself as a whole; and how surely.

    In cents; NaN and infinity where it is not to be seen.
    """
    # Where its amplitude changes its sign a sideband has two peaks, beside where it lies: it is not
    # searched for, but asked whether it stands still where it stands as a whole.
    sidebands = task.sounding.voice(task.place).sidebands
    found = measure(task, lines, short, samples, raw.hz[lines] if sidebands else None)
    size = short.window.last - short.window.first
    longer = (raw.last[lines] - raw.first[lines]) / size
    with np.errstate(divide="ignore", invalid="ignore"):
        fainter = raw.amplitude[lines] / found.amplitude
        # The noise was told apart better by the longer window.
        random_hz = raw.random_hz[lines] * longer**1.5 * fainter
        cents = 1200.0 * np.log2(found.hz / raw.hz[lines])
    a_hz = 1200.0 / np.log(2.0) / task.hz[lines]
    pushed_hz = found.push_hz
    apart = apart_bins(short, lines, raw.hz[lines], raw.amplitude[lines], task.sounding.rate)
    if sidebands:
        # No log tells how quickly sidebands come and go, and so how far their skirts reach.
        pushed_hz = pushed_hz + np.where(apart < _SKIRT_BINS, found.drift_hz, 0.0)
    doubt = (random_hz + pushed_hz + raw.random_hz[lines] + raw.push_hz[lines]) * a_hz
    there = found.found & np.isfinite(cents) & np.isfinite(doubt) & (apart >= _ONE_PEAK_BINS)
    # A line may be on its way through nothing there: then what is found is another.
    there &= found.amplitude >= OVER_LEAK * found.leak
    there &= found.amplitude >= OVER_NOISE * raw.floor[lines] * np.sqrt(longer)
    if sidebands:
        there &= found.amplitude >= _ON_ITS_WAY * raw.amplitude[lines]
    return np.where(there, cents, np.nan), np.where(there, doubt, np.inf)


def _period_s(law: Law) -> float:
    """Return the law's quickest period; infinite where it moves nothing."""
    rates = [law.vibrato.rate_hz] if law.vibrato else []
    rates += [law.drift.fastest_hz] if law.drift and law.drift_is_told else []
    return 1.0 / max(rates) if rates else np.inf


def _short_windows(first: int, last: int, size: int) -> list[Window]:
    """Return windows of `size` that overlap by half, from `first` to `last`."""
    count = max(2 * (last - first - size) // size, 0) + 1
    starts = np.linspace(first, last - size, count).round().astype(int)
    return [Window(int(start), int(start) + size) for start in starts]
