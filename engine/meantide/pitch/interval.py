"""Intervals held exactly, as products of primes raised to rational powers.

3/2, seven thirty-first parts of an octave and 386.31 cents are all of that one form. A number has
only one such form (unique factorisation), so two intervals are equal exactly when their powers
are, and every comparison can be decided by computing logarithms precisely enough.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import total_ordering
from typing import Self

from meantide.errors import InvalidValue
from meantide.pitch import factors, interval_text, logarithm
from meantide.pitch.logarithm import Powers

MAX_PRIMES = 32  # in one interval; it bounds the work of comparing, and music rarely needs six
MAX_EXPONENT = 10**18  # of numerator and denominator; cents with fifteen decimals fit


@total_ordering
@dataclass(frozen=True, slots=True, repr=False)
class Interval:
    """A frequency ratio, exact, made by `parse` or `ratio` and by arithmetic on those.

    Adding stacks intervals (multiplies their ratios), and multiplying by a whole number or a
    Fraction stacks that many. `powers` holds (prime, power) with rising primes and no zero power.
    """

    powers: Powers = ()
    octaves: float = field(init=False, compare=False)
    """Its size as log2 of the ratio, rounded from at least twenty correct digits."""

    def __post_init__(self) -> None:
        if len(self.powers) > MAX_PRIMES:
            raise InvalidValue("interval", str(self), f"at most {MAX_PRIMES} different primes")
        for _, power in self.powers:
            if abs(power.numerator) > MAX_EXPONENT or power.denominator > MAX_EXPONENT:
                raise InvalidValue("interval", str(self), "powers of at most 10**18/10**18")
        object.__setattr__(self, "octaves", logarithm.octaves(self.powers))

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the interval written as `text`; see `interval_text` for the grammar.

        `386.31 cents` is exactly 2**(38631/120000). Raises InvalidValue.
        """
        powers: dict[int, Fraction] = {}
        for times, above, below in interval_text.read_terms(text):
            for number, power in ((above, times), (below, -times)):
                for prime, count in factors.prime_factors(number):
                    powers[prime] = powers.get(prime, Fraction(0)) + count * power
        try:
            return cls(_sorted(powers.items()))
        except InvalidValue as error:
            raise InvalidValue("interval", text, error.allowed) from None

    @classmethod
    def ratio(cls, above: int, below: int = 1) -> Self:
        """Return the interval above/below of two whole numbers from 1 to 10**12."""
        for number in (above, below):
            if type(number) is not int or not 1 <= number <= factors.LARGEST:
                raise InvalidValue("interval", number, "whole numbers from 1 to 10**12")
        powers = {prime: Fraction(count) for prime, count in factors.prime_factors(above)}
        for prime, count in factors.prime_factors(below):
            powers[prime] = powers.get(prime, Fraction(0)) - count
        return cls(_sorted(powers.items()))

    @property
    def cents(self) -> float:
        """Its size in cents: 1200 log2 of the ratio."""
        if [prime for prime, _ in self.powers] == [2]:
            return float(1200 * self.powers[0][1])
        return 1200 * self.octaves

    @property
    def ratio_value(self) -> float:
        """Its frequency ratio as a float; raises InvalidValue past the range of floats."""
        try:
            return logarithm.ratio_value(self.powers, self.octaves)
        except OverflowError:
            raise InvalidValue("interval", str(self), "less than 1024 octaves") from None

    def floor_div(self, period: "Interval") -> int:
        """Return how many whole periods lie below this interval: the greatest n, n·period ≤ self.

        Exact, however near a whole number of periods it lies. The period is above 1/1.
        """
        if period <= UNISON:
            raise InvalidValue("period", str(period), "an interval above 1/1")
        return logarithm.floor_quotient(self.powers, period.powers)

    def __add__(self, other: "Interval") -> "Interval":
        return Interval(logarithm.combined(self.powers, other.powers, 1))

    def __sub__(self, other: "Interval") -> "Interval":
        return Interval(logarithm.combined(self.powers, other.powers, -1))

    def __mul__(self, times: int | Fraction) -> "Interval":
        if not isinstance(times, int | Fraction):
            return NotImplemented
        return Interval(_sorted((prime, power * times) for prime, power in self.powers))

    __rmul__ = __mul__

    def __neg__(self) -> "Interval":
        return self * -1

    def __lt__(self, other: "Interval") -> bool:
        if not isinstance(other, Interval):
            return NotImplemented
        gap = self.octaves - other.octaves
        # Each float is within an ulp (2.2e-16) of the truth; inside the margin only digits decide.
        if abs(gap) > 1e-15 * (abs(self.octaves) + abs(other.octaves)):
            return gap < 0
        return logarithm.sign(logarithm.combined(self.powers, other.powers, -1)) < 0

    def __str__(self) -> str:
        return interval_text.write_terms(self.powers)

    def __repr__(self) -> str:
        return f"Interval.parse({str(self)!r})"


def _sorted(powers: Iterable[tuple[int, Fraction]]) -> Powers:
    """Order powers by prime and leave out those that came to nothing."""
    return tuple(sorted((prime, power) for prime, power in powers if power))


UNISON = Interval()
OCTAVE = Interval.ratio(2)
