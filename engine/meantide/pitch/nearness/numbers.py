"""Whole numbers by their primes, for the searches beside this."""

from collections.abc import Mapping

from meantide.errors import InvalidValue
from meantide.pitch.factors import prime_factors

LARGEST_LIMIT = 97
MAX_NUMBERS = 200_000  # kept at once; they take about half a second to make and sort

_PRIMES = tuple(
    number
    for number in range(2, LARGEST_LIMIT + 1)
    if all(number % low for low in range(2, number))
)


def primes_up_to(limit: int) -> tuple[int, ...]:
    """Return the primes up to `limit`, which is 2 to 97. Raises InvalidValue."""
    if type(limit) is not int or not 2 <= limit <= LARGEST_LIMIT:
        raise InvalidValue("limit", limit, f"a whole number from 2 to {LARGEST_LIMIT}")
    return tuple(prime for prime in _PRIMES if prime <= limit)


def largest_prime(*numbers: int) -> int:
    """Return the largest prime in any of `numbers` (1 to 10**12), or 1 if there is none."""
    return max((prime_factors(number)[-1][0] for number in numbers if number > 1), default=1)


def products(weights: Mapping[int, int], most: int) -> dict[int, int]:
    """Return every product of the primes in `weights` up to `most`, and its weight.

    A product weighs the sum of its primes' weights, each counted as often as it occurs; 1 weighs
    nothing. Raises InvalidValue when there are more than `MAX_NUMBERS`.
    """
    found = {1: 0}
    for prime, weight in weights.items():
        layer = found
        while layer:
            layer = {n * prime: w + weight for n, w in layer.items() if n * prime <= most}
            found = found | layer
            if len(found) > MAX_NUMBERS:
                got = f"more than {MAX_NUMBERS} numbers"
                raise InvalidValue("search", got, "a lower most, a lower limit or fewer primes")
    return found
