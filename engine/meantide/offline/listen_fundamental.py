"""The fundamental of a tone, from the lines of its spectrum: which comb of partials explains most.

Every line may be a partial of any number, so there are many combs to try; each is followed up and
down from that line, partial by partial, its stiffness (Fletcher's B) learnt on the way. A comb is
the better for the lines it explains and the worse for the partials it lacks between those it has:
half the true frequency lacks every other partial, twice the true frequency leaves as many lines
unexplained. A weak or missing fundamental costs little.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.listen_peaks import Peaks
from meantide.offline.partials import Reals

LOWEST_HZ = 19.8  # 20 Hz to 5 kHz, and a little, so that a tone at either end is not missed
HIGHEST_HZ = 5050.0
MOST_PARTIALS = 64
FEWEST_BINS = 6.0  # between partials; nearer than this their main lobes meet
STIFFEST = 0.02  # of any string or bar that sounds like one

_SEEDS = 10  # lines, the strongest, that are tried as partials
_MOST_BELOW = 20  # the highest number that is tried for them
_TOLERANCE_CENTS = 8.0
_TOLERANCE_BINS = 0.5
_STIFF_GUESS = 2e-3  # allowed for while a comb is too short to show its stiffness
_MOST_STRETCH_CENTS = 35.0
_CENTS = 1200.0 / np.log(2.0)


@dataclass(frozen=True, slots=True)
class Comb:
    """Partials found: the line of number `numbers[i]` is `lines[i]` of the peaks, rising.

    `hz` is the first partial by the law of a stiff string, f_n = n f_0 sqrt(1 + B n^2), with
    `stiffness` B; `score` is 1 for a comb that has all its partials and explains every line.
    """

    hz: float
    stiffness: float
    numbers: NDArray[np.int64]
    lines: NDArray[np.int64]
    score: float

    def partial_hz(self, numbers: Reals) -> Reals:
        """Return where partials of any number should lie, in Hz."""
        return self.hz * numbers * stretch(numbers, self.stiffness)


def stretch(numbers: Reals, stiffness: float) -> Reals:
    """Return f_n / (n f_1) of a stiff string (Fletcher, JASA 36, 1964)."""
    ratio: Reals = np.sqrt((1.0 + stiffness * numbers**2) / (1.0 + stiffness))
    return ratio


def find_comb(peaks: Peaks, low_hz: float = LOWEST_HZ, high_hz: float = HIGHEST_HZ) -> Comb | None:
    """Return the best comb with its first partial in `low_hz`..`high_hz`, or None."""
    if not len(peaks):
        return None
    low_hz = max(low_hz, FEWEST_BINS * peaks.bin_hz)
    best: Comb | None = None
    for seed in np.argsort(-peaks.amplitude)[:_SEEDS]:
        for number in range(1, _MOST_BELOW + 1):
            hz = float(peaks.hz[seed]) / number
            if not low_hz / 1.02 <= hz <= high_hz * 1.02:
                continue
            comb = _follow(peaks, int(seed), number)
            if low_hz <= comb.hz <= high_hz and (best is None or comb.score > best.score + 1e-9):
                best = comb
    return best


def _follow(peaks: Peaks, seed: int, number: int) -> Comb:
    """Follow the comb of which the line `seed` is the partial `number`."""
    found = {number: seed}
    stiffness = 0.0
    most = min(MOST_PARTIALS, int(peaks.hz[-1] * number / peaks.hz[seed]) + 1)
    order = [*range(number - 1, 0, -1), *range(number + 1, most + 1)]
    for each in order:
        near = _nearest(found, each)
        line = _line_near(peaks, float(peaks.hz[found[near]]), near, each, stiffness, len(found))
        if line is not None and line not in found.values():
            found[each] = line
            if len(found) >= 3:
                stiffness = _stiffness(peaks, found)
    numbers = np.array(sorted(found), dtype=np.int64)
    lines = np.array([found[int(each)] for each in numbers], dtype=np.int64)
    ratios = numbers * stretch(numbers.astype(np.float64), stiffness)
    weight = peaks.amplitude[lines] * numbers
    first = float(np.exp(np.sum(weight * np.log(peaks.hz[lines] / ratios)) / weight.sum()))
    return Comb(first, stiffness, numbers, lines, _score(peaks.amplitude, numbers, lines))


def _nearest(found: dict[int, int], number: int) -> int:
    """Return the number of the partial found that is nearest to `number`."""
    return min(found, key=lambda have: abs(have - number))


def _line_near(
    peaks: Peaks, from_hz: float, have: int, number: int, stiffness: float, count: int
) -> int | None:
    """Return the line that may be partial `number`, seen from partial `have` at `from_hz`."""
    bend = (1.0 + stiffness * number**2) / (1.0 + stiffness * have**2)
    expected = from_hz * number / have * float(np.sqrt(bend))
    allowed = _TOLERANCE_CENTS + _TOLERANCE_BINS * peaks.bin_hz / expected * _CENTS
    further = 0.0
    if count < 3:
        turn = 0.5 * _CENTS * _STIFF_GUESS * abs(number**2 - have**2)
        further = min(turn, _MOST_STRETCH_CENTS)
    sharp, flat = (further, 0.0) if number > have else (0.0, further)
    place = int(np.searchsorted(peaks.hz, expected))
    near = [each for each in (place - 1, place) if 0 <= each < len(peaks)]
    line = min(near, key=lambda each: abs(peaks.hz[each] - expected))
    off = _CENTS * float(np.log(peaks.hz[line] / expected))
    return line if -allowed - flat <= off <= allowed + sharp else None


def _stiffness(peaks: Peaks, found: dict[int, int]) -> float:
    """Return B by a straight line through (n^2, (f_n / n)^2), no less than 0."""
    numbers = np.array(list(found), dtype=np.float64)
    square = (peaks.hz[list(found.values())] / numbers) ** 2
    slope, level = np.polyfit(numbers**2, square, 1, w=numbers**0.5)
    return float(np.clip(slope / level, 0.0, STIFFEST)) if level > 0.0 else 0.0


def _score(amplitude: Reals, numbers: NDArray[np.int64], lines: NDArray[np.int64]) -> float:
    """Return the share of the amplitude explained, less the share of the comb that is not there.

    A partial that is missing counts as the weaker of its neighbours; below them all, as the
    strongest there is.
    """
    have = amplitude[lines]
    explained = have.sum() / amplitude.sum()
    every = np.arange(1, numbers[-1] + 1)
    above = np.searchsorted(numbers, every)
    missing = numbers[above] != every
    upper = have[above]
    lower = np.where(above > 0, have[above - 1], have.max())
    expected = np.where(above > 0, np.minimum(upper, lower), lower)
    gaps = float(expected[missing].sum())
    return float(explained - gaps / (gaps + have.sum()))
