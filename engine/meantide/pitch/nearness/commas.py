"""The commas that an equal division tempers out: small ratios that come to no steps at all.

Each prime is given its nearest step, and a ratio the sum over its primes. 12 parts of 2/1 give 2,
3 and 5 the steps 12, 19 and 28, so 81/80 comes to 4·19 - 28 - 4·12 = 0 steps.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from meantide.errors import InvalidValue
from meantide.pitch.interval import OCTAVE, UNISON, Interval
from meantide.pitch.nearness.degrees import nearest_step
from meantide.pitch.nearness.numbers import LARGEST_LIMIT, primes_up_to, products

LARGEST_BOUND = 10**60
LARGEST_SIZE = OCTAVE

_FIRST_STAGE = 10_000
_STAGE_GROWTH = 64
_ROOM = 1e-12  # of a ratio; its float is within a few 1e-16, and exact comparison follows

# Common practice, no source.
_NAMES = {
    (81, 80): "syntonic comma",
    (531441, 524288): "Pythagorean comma",
    (32805, 32768): "schisma",
    (2048, 2025): "diaschisma",
    (128, 125): "lesser diesis",
    (64, 63): "septimal comma",
    (256, 243): "limma",
    (2187, 2048): "apotome",
}


@dataclass(frozen=True, slots=True)
class Comma:
    """A ratio above 1/1 in lowest terms."""

    numerator: int
    denominator: int
    interval: Interval
    name: str
    """Its common name, or nothing."""


def steps_of_primes(parts: int, primes: Iterable[int], period: Interval = OCTAVE) -> dict[int, int]:
    """Return the nearest step to each of `primes` (2 to 97) in `parts` equal parts of `period`.

    Raises InvalidValue for what is no such prime, and where there is none.
    """
    steps = {}
    for prime in primes:
        if prime not in primes_up_to(LARGEST_LIMIT):
            raise InvalidValue("primes", prime, f"primes from 2 to {LARGEST_LIMIT}")
        steps[prime] = nearest_step(Interval.ratio(prime), parts, period)
    if not steps:
        raise InvalidValue("primes", "none", f"primes from 2 to {LARGEST_LIMIT}")
    return steps


def tempered_commas(
    steps: Mapping[int, int], size: Interval, *, most: int = 10**12, count: int = 24
) -> list[Comma]:
    """Return the `count` simplest commas that primes of so many `steps` temper out.

    They lie above 1/1 and up to `size` (at most 2/1), the bound included, have n·d up to `most`
    (at most 10**60), and come by rising n·d. Powers of another comma are left out, since they go
    with it. Complete: all there are within the bounds, or the first `count` of them. Raises
    InvalidValue, also where the bounds leave too many numbers to search.
    """
    if not UNISON < size <= LARGEST_SIZE:
        raise InvalidValue("size", str(size), "above 0 cents, up to 1200")
    if type(most) is not int or not 1 <= most <= LARGEST_BOUND:
        raise InvalidValue("most", most, "a whole number from 1 to 10**60")
    bound = min(most, _FIRST_STAGE)
    while True:
        found = _commas_up_to(bound, steps, size)
        if len(found) >= count or bound == most:
            return found[:count]
        bound = min(most, bound * _STAGE_GROWTH)


def _commas_up_to(bound: int, steps: Mapping[int, int], size: Interval) -> list[Comma]:
    """Return all commas with n·d up to `bound`, by n·d.

    n is less than 2 d, so n² is less than twice the bound; n and d come to the same steps.
    """
    numbers = products(steps, math.isqrt(2 * bound))
    by_steps = sorted(numbers, key=lambda number: (numbers[number], number))
    found = []
    for _, group in groupby(by_steps, key=numbers.__getitem__):
        found += _commas_among(list(group), bound, steps, size)
    return sorted(found, key=lambda comma: (comma.numerator * comma.denominator, comma.numerator))


def _commas_among(
    numbers: Sequence[int], bound: int, steps: Iterable[int], size: Interval
) -> list[Comma]:
    """Return the commas between rising `numbers` that come to the same steps."""
    ratio = size.ratio_value * (1 + _ROOM)
    found = []
    for place, below in enumerate(numbers):
        for later in range(place + 1, len(numbers)):
            above = numbers[later]
            if above > ratio * below or above * below > bound:
                break
            if math.gcd(above, below) > 1:
                continue
            powers = _powers(above, below, steps)
            interval = Interval(tuple((prime, Fraction(power)) for prime, power in powers))
            if math.gcd(*(power for _, power in powers)) == 1 and interval <= size:
                found.append(Comma(above, below, interval, _NAMES.get((above, below), "")))
    return found


def _powers(above: int, below: int, primes: Iterable[int]) -> list[tuple[int, int]]:
    """Return the primes of above/below and their powers, by rising primes."""
    powers = []
    for prime in sorted(primes):
        power = 0
        while above % prime == 0:
            above //= prime
            power += 1
        while below % prime == 0:
            below //= prime
            power -= 1
        if power:
            powers.append((prime, power))
    return powers
