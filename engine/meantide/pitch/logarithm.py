"""Logarithms of products of primes, to as many digits as a question needs.

The logarithms of different primes are independent over the rationals (unique factorisation), so a
product of primes with some power other than nought has a logarithm other than nought, and
working at rising precision always ends.
"""

import math
from decimal import MAX_EMAX, MIN_EMIN, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import lru_cache

Powers = tuple[tuple[int, Fraction], ...]  # (prime, power), primes rising, no power nought

_FIRST_DIGITS = 40
_WANTED = Decimal(10) ** 20  # how much smaller than the result its error must be


def combined(left: Powers, right: Powers, times: int) -> Powers:
    """Return the product of `left` and `right` raised to `times`."""
    powers = dict(left)
    for prime, power in right:
        powers[prime] = powers.get(prime, 0) + times * power
    return tuple(sorted((prime, power) for prime, power in powers.items() if power))


def octaves(powers: Powers) -> float:
    """Return log2 of the product, correct to about 20 digits before its one rounding."""
    if not powers:
        return 0.0
    if powers[-1][0] == 2:
        return float(powers[0][1])
    total, digits = _natural(powers)
    context = _context(digits)
    return float(context.divide(total, _ln(2, digits)))


def sign(powers: Powers) -> int:
    """Return -1, 0 or 1 as the product is below, at or above 1."""
    if not powers:
        return 0
    return 1 if _natural(powers)[0] > 0 else -1


def ratio_value(powers: Powers, size_octaves: float) -> float:
    """Return the product as a float: a ratio of whole numbers rounded once, others within 1e-15.

    Raises OverflowError past the range of floats.
    """
    above = below = 1
    for prime, power in powers:
        if power.denominator != 1 or abs(power) > 53:
            break
        if power > 0:
            above *= prime ** int(power)
        else:
            below *= prime ** -int(power)
    else:
        return above / below
    whole = math.floor(size_octaves)
    return math.ldexp(math.exp2(size_octaves - whole), whole)


def floor_quotient(powers: Powers, period: Powers) -> int:
    """Return the greatest n for which n periods do not pass the product; `period` is above 1."""
    if not powers:
        return 0
    digits = _natural(powers)[1] + _natural(period)[1] + 60  # quotients reach about 10**40
    context = _context(digits)
    quotient = context.divide(_sum(powers, digits)[0], _sum(period, digits)[0])
    nearest = int(quotient.to_integral_value(ROUND_HALF_EVEN))
    if abs(context.subtract(quotient, nearest)) > Decimal("1e-20"):
        return int(quotient.to_integral_value(ROUND_FLOOR))
    return nearest if sign(combined(powers, period, -nearest)) >= 0 else nearest - 1


def _natural(powers: Powers) -> tuple[Decimal, int]:
    """Return ln of the product with 20 sure digits, and the precision that took."""
    digits = _FIRST_DIGITS
    while True:
        total, error = _sum(powers, digits)
        if error * _WANTED <= abs(total):
            return total, digits
        digits *= 2


def _sum(powers: Powers, digits: int) -> tuple[Decimal, Decimal]:
    """Return ln of the product at a working precision, and a bound on its error."""
    context = _context(digits)
    total = size = Decimal(0)
    for prime, power in powers:
        term = context.divide(
            context.multiply(_ln(prime, digits), power.numerator), power.denominator
        )
        total = context.add(total, term)
        size = context.add(size, context.abs(term))
    # Four roundings a term, each of half a unit in the last digit, doubled to be safe.
    return total, size.scaleb(-digits, context) * (4 * len(powers) + 4)


@lru_cache(maxsize=4096)
def _ln(prime: int, digits: int) -> Decimal:
    """Return the natural logarithm of a prime; pure, so kept once computed."""
    return _context(digits).ln(prime)


@lru_cache(maxsize=32)
def _context(digits: int) -> Context:
    """Return decimal arithmetic with so many significant digits."""
    return Context(prec=digits, rounding=ROUND_HALF_EVEN, Emin=MIN_EMIN, Emax=MAX_EMAX)
