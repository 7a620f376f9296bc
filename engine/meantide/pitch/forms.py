"""Ways of making a scale: chains, temperaments by fifths, harmonics, products, modes.

Each returns exact intervals above degree 0 for `Scale.from_degrees`, rising, without degree 0
itself. Where two of them would fall on one pitch they are refused: a degree is one pitch.
"""

from collections.abc import Sequence
from itertools import accumulate, combinations
from math import comb

from meantide.errors import InvalidValue
from meantide.pitch.interval import UNISON, Interval
from meantide.pitch.notation import name_of
from meantide.pitch.note_name import NoteName, count_up, is_spelling
from meantide.pitch.scale import Scale

MAX_MADE = 10_000  # degrees made by a rule; each takes exact arithmetic of some 50 microseconds
MAX_HARMONIC = 10**6
MAX_FACTORS = 32  # numbers of which products are made


def chain(by: Interval, up: int, down: int, period: Interval) -> list[Interval]:
    """Return degree 0 stacked with `by` so many times `up` and `down`, folded into the period.

    Raises InvalidValue if two links fall on one pitch, as the fifths of an equal division would.
    """
    for field, count in (("chain.up", up), ("chain.down", down)):
        if type(count) is not int or not 0 <= count < MAX_MADE:
            raise InvalidValue(field, count, f"a whole number from 0 to {MAX_MADE - 1}")
    if not 1 <= up + down < MAX_MADE:
        allowed = f"1 to {MAX_MADE - 1} links, up and down together"
        raise InvalidValue("chain", f"{up + down} links", allowed)
    links = [(_folded(by * link, period), f"link {link}") for link in range(-down, up + 1)]
    return _sorted("chain", links, period)


def twelve_fifths(
    first: str, fifths: Sequence[Interval], period: Interval
) -> tuple[list[str], list[Interval]]:
    """Return the names of a twelve-note temperament, C first, and the intervals of the others.

    The fifths are stacked from the name `first` (Eb gives Eb Bb F C G D A E B F# C# G#). Eleven
    are enough, since the closing one follows; a twelfth is a check. Raises InvalidValue if C is
    not among the names, and if twelve fifths do not make seven periods exactly.
    """
    start = _chain_place(first)
    if len(fifths) not in (11, 12):
        raise InvalidValue("fifths.each", f"{len(fifths)} fifths", "eleven fifths, or all twelve")
    over = sum(fifths, UNISON) - 7 * period
    if len(fifths) == 12 and over != UNISON:
        raise InvalidValue(
            "fifths.each",
            f"twelve fifths that make seven periods and {over.cents:+.6f} cents",
            "twelve fifths that close exactly, or the first eleven",
        )
    heights = list(accumulate(fifths[:11], initial=UNISON))
    c = heights[-start]
    names = [NoteName.from_chain(start + place, 4).spelling for place in range(12)]
    notes = [
        (_folded(height - c, period), name) for height, name in zip(heights, names, strict=True)
    ]
    intervals = _sorted("fifths.each", notes, period)
    names.sort(key=dict(zip(names, (interval for interval, _ in notes), strict=True)).__getitem__)
    return names, intervals


def harmonics(low: int, high: int, period: Interval) -> list[Interval]:
    """Return harmonics above number `low` up to `high` (itself left out where it is the period).

    Raises InvalidValue for harmonics beyond the period.
    """
    _check_segment("harmonics", low, high)
    if not low < high:
        raise InvalidValue("harmonics.to", high, f"a whole number above {low}")
    return _within("harmonics", [Interval.ratio(n, low) for n in range(low + 1, high + 1)], period)


def subharmonics(high: int, low: int, period: Interval) -> list[Interval]:
    """Return subharmonics above number `high` down to `low`: `high` over each number between.

    The last is left out where it is the period. Raises InvalidValue for those beyond the period.
    """
    _check_segment("subharmonics", high, low)
    if not low < high:
        raise InvalidValue("subharmonics.to", low, f"a whole number below {high}")
    steps = [Interval.ratio(high, n) for n in range(high - 1, low - 1, -1)]
    return _within("subharmonics", steps, period)


def products(numbers: Sequence[int], take: int, period: Interval) -> list[Interval]:
    """Return a combination product set: every product of `take` of the numbers, folded.

    The smallest product is degree 0. Raises InvalidValue if two products fall on one pitch.
    """
    if not 1 <= len(numbers) <= MAX_FACTORS:
        raise InvalidValue("products.of", f"{len(numbers)} numbers", f"1 to {MAX_FACTORS} numbers")
    for place, number in enumerate(numbers, start=1):
        if type(number) is not int or not 1 <= number <= MAX_HARMONIC:
            raise InvalidValue(
                f"products.of item {place}", number, f"a whole number from 1 to {MAX_HARMONIC}"
            )
    if type(take) is not int or not 1 <= take <= len(numbers):
        raise InvalidValue("products.take", take, f"a whole number from 1 to {len(numbers)}")
    if comb(len(numbers), take) > MAX_MADE:
        count = f"{comb(len(numbers), take)} products"
        raise InvalidValue("products", count, f"at most {MAX_MADE} products")
    intervals = [Interval.ratio(number) for number in sorted(numbers)]
    smallest = sum(intervals[:take], UNISON)
    made = [
        (_folded(sum(map(Interval.ratio, chosen), UNISON) - smallest, period),
         "·".join(map(str, chosen)))
        for chosen in combinations(numbers, take)
    ]  # fmt: skip
    return _sorted("products.of", made, period)


def mode(scale: Scale, degrees: Sequence[int]) -> tuple[list[str] | None, list[Interval]]:
    """Return the names and intervals of chosen degrees of a scale, above the first of them.

    The degrees rise within one period. Names are those the scale lists, or those of its chain of
    fifths where each degree has one and they count up; otherwise None.
    """
    if not degrees:
        raise InvalidValue("choose.degrees", "no degrees", "one degree or more")
    first = degrees[0]
    last = first - 1
    for place, degree in enumerate(degrees, start=1):
        if not last < degree < first + scale.size:
            raise InvalidValue(
                f"choose.degrees item {place}",
                degree,
                f"degrees that rise, within one period of {scale.size} degrees",
            )
        last = degree
    intervals = [scale.interval(degree) - scale.interval(first) for degree in degrees[1:]]
    found = [name_of(scale, degree) for degree in degrees]
    names = [name.spelling for name in found if name is not None]
    named = len(set(names)) == len(degrees) == len(count_up(names))
    return (names if named else None), intervals


def _folded(interval: Interval, period: Interval) -> Interval:
    """Return an interval moved by whole periods to lie from 1/1 to below the period."""
    return interval - period * interval.floor_div(period)


def _sorted(field: str, made: Sequence[tuple[Interval, str]], period: Interval) -> list[Interval]:
    """Return folded intervals in order, 1/1 left out; refuse two on one pitch, by what they are."""
    what: dict[Interval, str] = {}
    for interval, name in made:
        if interval in what:
            raise InvalidValue(
                field,
                f"{what[interval]} and {name} on one pitch, {interval}",
                f"what gives a pitch of its own within {period} to each",
            )
        what[interval] = name
    return sorted(interval for interval in what if interval != UNISON)


def _within(field: str, steps: list[Interval], period: Interval) -> list[Interval]:
    """Return rising steps below the period, the last of which may be the period itself."""
    if steps[-1] == period:
        return steps[:-1]
    if steps[-1] > period:
        raise InvalidValue(
            f"{field}.to",
            f"{steps[-1]} above the first",
            f"numbers within the period {period}, or a `period` that holds them",
        )
    return steps


def _check_segment(field: str, first: int, last: int) -> None:
    """Refuse numbers out of range, and too many of them."""
    for key, number in (("from", first), ("to", last)):
        if type(number) is not int or not 1 <= number <= MAX_HARMONIC:
            raise InvalidValue(f"{field}.{key}", number, f"a whole number from 1 to {MAX_HARMONIC}")
    if abs(last - first) > MAX_MADE:
        raise InvalidValue(field, f"{abs(last - first)} steps", f"at most {MAX_MADE}")


def _chain_place(first: str) -> int:
    """Return the place of a spelling on the chain of fifths; C must be within eleven above it."""
    if not isinstance(first, str) or not is_spelling(first):
        raise InvalidValue("fifths.from", first, "a letter A to G with # or b, such as Eb")
    place = NoteName.parse(f"{first}4").chain
    if not -11 <= place <= 0:
        raise InvalidValue("fifths.from", first, "a name from which C is 0 to 11 fifths up")
    return place
