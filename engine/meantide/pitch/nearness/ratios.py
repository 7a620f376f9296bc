"""The simplest ratios near an interval.

A ratio n/d in lowest terms is the simpler the less n·d is; beside that stands its prime limit, the
largest prime in it. Every search here is complete within its bounds: nothing simpler is missed.
"""

import heapq
import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

from meantide.errors import InvalidValue
from meantide.pitch.factors import LARGEST
from meantide.pitch.interval import Interval
from meantide.pitch.nearness.numbers import largest_prime, primes_up_to, products
from meantide.pitch.nearness.window import Window

By = Literal["size", "limit"]
Pair = tuple[int, int]  # numerator, denominator

MAX_FOUND = 200_000  # ratios that are gathered before they are sorted
_FIRST_STAGE = 10_000
_STAGE_GROWTH = 64


@dataclass(frozen=True, slots=True)
class NearRatio:
    """A ratio in lowest terms, and how far it lies above the interval asked about."""

    numerator: int
    denominator: int
    limit: int
    """The largest prime in it; 1 for 1/1."""
    error_cents: float

    @property
    def size(self) -> int:
        """Numerator times denominator."""
        return self.numerator * self.denominator


def near_ratios(
    target: Interval,
    tolerance: Interval,
    *,
    count: int = 12,
    most: int = 10**6,
    limit: int | None = None,
    by: By = "size",
) -> list[NearRatio]:
    """Return the `count` simplest ratios within `tolerance` of `target`, the bounds included.

    They have n·d up to `most` (at most 10**12) and no prime over `limit`, if one is given (2 to
    97). They come by rising n·d, or `by` rising limit and then n·d. Raises InvalidValue, also
    where more than `MAX_FOUND` would have to be sorted by limit.
    """
    if type(most) is not int or not 1 <= most <= LARGEST:
        raise InvalidValue("most", most, "a whole number from 1 to 10**12")
    window = Window.around(target, tolerance)
    enough = count if by == "size" else MAX_FOUND + 1
    if limit is None:
        pairs = list(islice(pairs_by_size(window, most), enough))
    else:
        pairs = _limited_pairs(window, most, primes_up_to(limit), enough)
    if by == "limit":
        refuse_too_many(len(pairs))
        pairs.sort(key=lambda pair: largest_prime(*pair))  # stable: by size within a limit
    return [_near(pair, target) for pair in pairs[:count]]


def refuse_too_many(found: int) -> None:
    """Refuse a search that found more than can be sorted. Raises InvalidValue."""
    if found > MAX_FOUND:
        got = f"more than {MAX_FOUND} of them"
        raise InvalidValue("search", got, "a lower most or a smaller tolerance")


def pairs_by_size(window: Window, most: int) -> Iterator[Pair]:
    """Give every ratio in lowest terms within `window`, n·d rising to `most`.

    They are found on the tree of Stern (1858) and Brocot (1861): each ratio is the mediant of the
    two that enclose it, and numerators and denominators only grow on the way down.
    """
    waiting: list[tuple[int, int, int, Pair, Pair]] = []

    def seek(left: Pair, right: Pair) -> None:
        """Put down the topmost ratio within the window between two that enclose it."""
        while True:
            above, below = left[0] + right[0], left[1] + right[1]
            if above * below > most:
                return
            side = window.side(above, below)
            if side == 0:
                heapq.heappush(waiting, (above * below, above, below, left, right))
                return
            if side < 0:
                left = _last(left, right, most, lambda n, d: window.side(n, d) < 0)
            else:
                right = _last(right, left, most, lambda n, d: window.side(n, d) > 0)

    seek((0, 1), (1, 0))
    while waiting:
        _, above, below, left, right = heapq.heappop(waiting)
        yield above, below
        seek(left, (above, below))
        seek((above, below), right)


def _last(start: Pair, stride: Pair, most: int, without: Callable[[int, int], bool]) -> Pair:
    """Return the last of start + stride, start + 2 stride, ... that is still without.

    The first is, and the numbers' product is to stay within `most`; found by doubling and halving.
    """

    def holds(times: int) -> bool:
        above, below = start[0] + times * stride[0], start[1] + times * stride[1]
        return above * below <= most and without(above, below)

    low, high = 1, 2
    while holds(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return start[0] + low * stride[0], start[1] + low * stride[1]


def _limited_pairs(window: Window, most: int, primes: Iterable[int], enough: int) -> list[Pair]:
    """Return the `enough` least pairs of products of `primes` by n·d, or all up to `most`.

    The bound grows in stages, so that a few are found without making all; each stage is complete.
    """
    weights = dict.fromkeys(primes, 0)
    bound = min(most, _FIRST_STAGE)
    while True:
        pairs = []
        reach = math.log2(bound) + 1
        if window.low.octaves <= reach and window.high.octaves >= -reach:
            # n·d ≤ bound and n/d ≤ high give n² ≤ bound·high; likewise d² ≤ bound/low.
            farthest = min(reach, max(window.high.octaves, -window.low.octaves))
            largest = math.isqrt(math.ceil(bound * math.exp2(farthest))) + 1
            pairs = _pairs_of(sorted(products(weights, min(largest, bound))), window, bound)
        if len(pairs) >= enough or bound == most:
            return pairs[:enough]
        bound = min(most, bound * _STAGE_GROWTH)


def _pairs_of(numbers: Sequence[int], window: Window, bound: int) -> list[Pair]:
    """Return the pairs of `numbers` without a common divisor within `window`, by n·d."""
    found = []
    for below in numbers:
        within = window.numbers_over(below, bound // below)
        for place in range(bisect_left(numbers, within.start), bisect_left(numbers, within.stop)):
            above = numbers[place]
            if math.gcd(above, below) == 1:
                found.append((above * below, above, below))
        refuse_too_many(len(found))
    return [(above, below) for _, above, below in sorted(found)]


def _near(pair: Pair, target: Interval) -> NearRatio:
    """Return a pair with what is told about it."""
    error = Interval.ratio(*pair) - target
    return NearRatio(*pair, largest_prime(*pair), error.cents)
