"""The written form of intervals: `3/2 - 1/4 of 81/80`, `7/31 of 2/1`, `386.31 cents`.

    interval := ["+" | "-"] term (("+" | "-") term)*
    term     := [fraction "of"] atom            fraction := whole ["/" whole]
    atom     := whole "/" whole | number "cents"

A plus sign stacks intervals, so ratios are multiplied; a fraction raises its atom to that power.
"""

import math
import re
from collections.abc import Iterable
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.pitch.factors import LARGEST

MAX_LENGTH = 4000  # characters
MAX_TERMS = 64
MAX_DIGITS = 40  # of any one number
ALLOWED = "an interval such as 3/2, 7/31 of 2/1, 386.31 cents or 3/2 - 1/4 of 81/80"

_TERM = re.compile(
    r"\s*(?P<sign>[+-])?\s*"
    r"(?:(?P<times>[0-9]+)(?:/(?P<share>[0-9]+))?\s+of\s+)?"
    r"(?:(?P<above>[0-9]+)/(?P<below>[0-9]+)|(?P<cents>[0-9]+(?:\.[0-9]+)?)\s*cents?)"
    r"(?![^\s+-])\s*"
)

Term = tuple[Fraction, int, int]  # a power, and the ratio it is the power of


def read_terms(text: str) -> list[Term]:
    """Return each term of `text` as a power and the whole numbers of its ratio.

    Raises InvalidValue for anything the grammar does not know, for a ratio of zero or one with a
    number over 10**12, and for text, terms or numbers beyond the limits of this module.
    """
    if not isinstance(text, str) or len(text) > MAX_LENGTH:
        raise InvalidValue("interval", text, f"{ALLOWED}, in at most {MAX_LENGTH} characters")
    terms: list[Term] = []
    place = 0
    while place < len(text) or not terms:
        match = _TERM.match(text, place)
        if match is None or (match["sign"] is None and terms):
            raise InvalidValue("interval", text, ALLOWED)
        if len(terms) == MAX_TERMS:
            raise InvalidValue("interval", text, f"at most {MAX_TERMS} terms")
        terms.append(_read_term(match, text))
        place = match.end()
    return terms


def _read_term(match: re.Match[str], text: str) -> Term:
    """Turn one matched term into its power and ratio."""
    if any(len(number) > MAX_DIGITS for number in match.groups() if number):
        raise InvalidValue("interval", text, f"numbers of at most {MAX_DIGITS} digits")
    power = Fraction(-1 if match["sign"] == "-" else 1)
    if match["times"]:
        share = int(match["share"] or 1)
        if share == 0:
            raise InvalidValue("interval", text, "a fraction that does not divide by zero")
        power *= Fraction(int(match["times"]), share)
    if match["cents"]:
        return power * Fraction(match["cents"]) / 1200, 2, 1
    above, below = int(match["above"]), int(match["below"])
    if not (1 <= above <= LARGEST and 1 <= below <= LARGEST):
        raise InvalidValue("interval", text, "ratios of whole numbers from 1 to 10**12")
    return power, above, below


def write_terms(powers: Iterable[tuple[int, Fraction]]) -> str:
    """Return the canonical text of a product of primes to rational powers.

    It is a ratio where it can be (`81/80`), else a fraction of one ratio (`7/31 of 2/1`), whole
    or decimal cents where those are exact and short, else a sum over the primes. `read_terms`
    gives the same product back.
    """
    powers = tuple(powers)
    share = math.lcm(*(power.denominator for _, power in powers))
    whole = [(prime, int(power * share)) for prime, power in powers]
    if share == 1 and (ratio := _ratio(whole)):
        return f"{ratio[0]}/{ratio[1]}"
    if cents := _short_cents(powers):
        return cents
    times = math.gcd(*(power for _, power in whole))
    if ratio := _ratio([(prime, power // times) for prime, power in whole]):
        above, below = ratio
        sign = "-" if above < below else ""
        return f"{sign}{Fraction(times, share)} of {max(ratio)}/{min(ratio)}"
    text = "".join(
        f"{' - ' if power < 0 else ' + '}{_share(prime, abs(power))}" for prime, power in powers
    )
    return text[3:] if powers[0][1] > 0 else "-" + text[3:]


def _share(prime: int, power: Fraction) -> str:
    """Write one prime and its power."""
    return f"{prime}/1" if power == 1 else f"{power} of {prime}/1"


def _ratio(whole: Iterable[tuple[int, int]]) -> tuple[int, int] | None:
    """Return the ratio of primes to whole powers, or None if it has a number over 10**12."""
    above = below = 1
    for prime, power in whole:
        if abs(power) > LARGEST.bit_length():
            return None
        if power > 0:
            above *= prime**power
        else:
            below *= prime**-power
        if max(above, below) > LARGEST:
            return None
    return above, below


def _short_cents(powers: tuple[tuple[int, Fraction], ...]) -> str:
    """Return `386.31 cents` for a power of 2 that is exact in at most six decimals, else ""."""
    if [prime for prime, _ in powers] != [2]:
        return ""
    millionths = powers[0][1] * 1200 * 10**6
    if millionths.denominator != 1 or abs(millionths) >= 10**15:
        return ""
    whole, rest = divmod(abs(millionths.numerator), 10**6)
    decimals = f"{rest:06d}".rstrip("0")
    sign = "-" if millionths < 0 else ""
    return f"{sign}{whole}{'.' if decimals else ''}{decimals} cents"
