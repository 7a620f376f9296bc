"""The simplest whole-number proportions, such as 4:5:6, near a chord.

The simpler proportion has the lesser product of its numbers, which for two notes is the n·d of
their ratio; beside that stands its prime limit, the largest prime in any of its numbers.
"""

import heapq
import math
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice

from meantide.errors import InvalidValue
from meantide.pitch.interval import UNISON, Interval
from meantide.pitch.nearness.numbers import largest_prime, primes_up_to, products
from meantide.pitch.nearness.ratios import MAX_FOUND, By, refuse_too_many
from meantide.pitch.nearness.window import Window

MAX_NOTES = 16
MAX_NUMBER = 100_000

Numbers = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Proportion:
    """Rising whole numbers without a common divisor, one for each note of a chord."""

    numbers: Numbers
    limit: int
    """The largest prime in any of them."""
    errors_cents: tuple[float, ...]
    """How far each note of the proportion lies above the chord's, the lowest notes together."""
    worst_cents: float
    """The greatest error, as a distance, of any interval between two of the notes."""


def near_proportions(
    notes: Iterable[Interval],
    tolerance: Interval,
    *,
    count: int = 12,
    most: int = 1000,
    limit: int | None = None,
    by: By = "size",
) -> list[Proportion]:
    """Return the `count` simplest proportions near the chord of 1/1 and `notes`.

    Every interval between two notes is within `tolerance`, the bound included. No number is over
    `most` (at most 100,000) or has a prime over `limit`, if one is given (2 to 97). They come by
    rising product, or `by` rising limit and then product. Notes are sorted, and taken once where
    they are the same; together they are 2 to 16. Raises InvalidValue.
    """
    heights = sorted({UNISON, *notes})
    if not 2 <= len(heights) <= MAX_NOTES:
        raise InvalidValue(
            "chord", f"{len(heights)} notes", f"2 to {MAX_NOTES} different notes, with the first"
        )
    if type(most) is not int or not 1 <= most <= MAX_NUMBER:
        raise InvalidValue("most", most, f"a whole number from 1 to {MAX_NUMBER}")
    windows = {
        pair: Window.around(heights[pair[1]] - heights[pair[0]], tolerance)
        for pair in combinations(range(len(heights)), 2)
    }
    allowed: Container[int] = range(1, most + 1)
    if limit is not None:
        allowed = products(dict.fromkeys(primes_up_to(limit), 0), most)
    rising = _by_product(windows, len(heights), most, allowed)
    found = list(islice(rising, count if by == "size" else MAX_FOUND + 1))
    if by == "limit":
        refuse_too_many(len(found))
        found.sort(key=lambda numbers: largest_prime(*numbers))  # stable: by product within one
    return [_near(numbers, heights) for numbers in found[:count]]


def _by_product(
    windows: dict[tuple[int, int], Window], notes: int, most: int, allowed: Container[int]
) -> Iterator[Numbers]:
    """Give every proportion up to `most` by rising product.

    One may go out as soon as no larger first number can lead to a lesser product.
    """
    waiting: list[tuple[int, Numbers]] = []
    for first in range(1, most + 1):
        ranges = [windows[0, note].numbers_over(first, most) for note in range(1, notes)]
        if any(each.start > most for each in ranges):
            break  # so it is for every larger first number
        least = math.prod((each.start for each in ranges), start=first)
        while waiting and waiting[0][0] < least:
            yield heapq.heappop(waiting)[1]
        if first in allowed:
            for numbers in _completed((first,), ranges, windows, allowed):
                if math.gcd(*numbers) == 1:
                    heapq.heappush(waiting, (math.prod(numbers), numbers))
                    refuse_too_many(len(waiting))
    while waiting:
        yield heapq.heappop(waiting)[1]


def _completed(
    begun: Numbers,
    ranges: Sequence[range],
    windows: dict[tuple[int, int], Window],
    allowed: Container[int],
) -> Iterator[Numbers]:
    """Give all ways to complete a proportion whose first numbers are `begun`."""
    note = len(begun)
    if note > len(ranges):
        yield begun
        return
    for number in ranges[note - 1]:
        if number in allowed and all(
            windows[low, note].side(number, begun[low]) == 0 for low in range(1, note)
        ):
            yield from _completed((*begun, number), ranges, windows, allowed)


def _near(numbers: Numbers, heights: Sequence[Interval]) -> Proportion:
    """Return a proportion with what is told about it."""
    errors = [
        Interval.ratio(number, numbers[0]) - (height - heights[0])
        for number, height in zip(numbers, heights, strict=True)
    ]
    return Proportion(
        numbers,
        largest_prime(*numbers),
        tuple(error.cents for error in errors),
        (max(errors) - min(errors)).cents,  # two errors differ by the error of their interval
    )
