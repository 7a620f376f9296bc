"""Scales: degrees within a period, going on above and below by whole periods."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import Any, Self

from meantide.errors import InvalidValue
from meantide.pitch.interval import OCTAVE, UNISON, Interval
from meantide.pitch.note_name import MIDDLE_OCTAVE, count_up, is_spelling

MAX_SIZE = 100_000  # degrees in one period
MAX_DEGREE = 10**12  # beyond any sound; keeps exact and float arithmetic in their ranges
_FIFTH = Interval.ratio(3, 2)


@dataclass(frozen=True, slots=True)
class Scale:
    """Intervals above degree 0, and the period at which they repeat.

    `Scale.equal(parts)` divides the period equally; `Scale.from_degrees(intervals)` lists the
    intervals of degrees 1 to size - 1. Note names come from `fifth`, the degree that stands for a
    fifth on the chain of fifths, or from `names`, one spelling a degree; a scale may have neither.
    """

    size: int
    period: Interval = OCTAVE
    steps: tuple[Interval, ...] | None = None
    """Intervals of degrees 0 to size - 1, or None for an equal division."""
    fifth: int | None = None
    names: tuple[str, ...] | None = None
    name: str = ""
    source: str = ""
    about: str = ""
    listed: Mapping[str, int] = field(init=False, repr=False, compare=False)
    """Each listed name's degree in octave 4; empty when no names are listed."""
    _above: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _below: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if type(self.size) is not int or not 1 <= self.size <= MAX_SIZE:
            raise InvalidValue("size", self.size, f"a whole number from 1 to {MAX_SIZE}")
        if self.period <= UNISON:
            raise InvalidValue("period", str(self.period), "an interval above 1/1")
        steps = self.steps or ()
        above = tuple(step.octaves for step in steps)
        # Kept apart, so that degrees just under a period boundary lose no digits to subtraction.
        below = tuple((step - self.period).octaves for step in steps)
        object.__setattr__(self, "_above", above)
        object.__setattr__(self, "_below", below)
        if self.steps is not None:
            self._check_steps(self.steps)
        self._check_naming()
        object.__setattr__(self, "listed", MappingProxyType(self._list_names()))

    @classmethod
    def equal(
        cls,
        parts: int,
        period: Interval = OCTAVE,
        *,
        fifth: int | None = None,
        names: Sequence[str] | None = None,
        name: str = "",
        source: str = "",
        about: str = "",
    ) -> Self:
        """Return `period` divided into 1 to 100,000 equal parts.

        A division of 2/1 takes the degree nearest to 3/2 as its fifth unless `fifth` or `names`
        says otherwise; of any other period it has no note names unless told. Raises InvalidValue.
        """
        if type(parts) is not int or not 1 <= parts <= MAX_SIZE:
            raise InvalidValue("equal", parts, f"a whole number of parts from 1 to {MAX_SIZE}")
        if fifth is None and names is None:
            fifth = _nearest_fifth(parts, period)
        listed = None if names is None else tuple(names)
        return cls(parts, period, None, fifth, listed, name, source, about)

    @classmethod
    def from_degrees(
        cls,
        intervals: Iterable[Interval],
        period: Interval = OCTAVE,
        *,
        fifth: int | None = None,
        names: Sequence[str] | None = None,
        name: str = "",
        source: str = "",
        about: str = "",
    ) -> Self:
        """Return the scale whose degrees 1, 2, ... lie at `intervals` above degree 0.

        They rise strictly, within the period, and the period itself is left out; an empty list
        repeats degree 0 alone. Raises InvalidValue.
        """
        steps = (UNISON, *intervals)
        listed = None if names is None else tuple(names)
        return cls(len(steps), period, steps, fifth, listed, name, source, about)

    def __reduce__(self) -> tuple[type["Scale"], tuple[Any, ...]]:
        """Cross to another process as what the scale was made of; tables are made anew there."""
        made_of = (self.size, self.period, self.steps, self.fifth, self.names)
        return Scale, (*made_of, self.name, self.source, self.about)

    @property
    def label(self) -> str:
        """Its name, or what it is, for messages."""
        return self.name or f"this scale of {self.size} degrees"

    def interval(self, degree: int) -> Interval:
        """Return the exact interval of any degree above degree 0; below it for negative ones."""
        _check_degree(degree)
        if self.steps is None:
            return self.period * Fraction(degree, self.size)
        periods, place = divmod(degree, self.size)
        return self.steps[place] + self.period * periods

    def octaves(self, degree: int) -> float:
        """Return log2 of the ratio of `degree` to degree 0, within 1e-15 of itself.

        Plain float arithmetic on kept tables: safe in the audio callback.
        """
        if self.steps is None:
            return degree * self.period.octaves / self.size
        periods, place = divmod(degree, self.size)
        if periods < 0:
            return (periods + 1) * self.period.octaves + self._below[place]
        return periods * self.period.octaves + self._above[place]

    def to_mapping(self) -> dict[str, Any]:
        """Return the scale as its YAML mapping; the catalogue reads it back as an equal scale."""
        mapping: dict[str, Any] = {}
        for key in ("name", "source", "about"):
            if text := getattr(self, key):
                mapping[key] = text
        if self.period != OCTAVE:
            mapping["period"] = str(self.period)
        if self.names is not None:
            mapping["names"] = list(self.names)
        implied = None if self.steps is not None else _nearest_fifth(self.size, self.period)
        if self.fifth is not None and self.fifth != implied:
            mapping["fifth"] = self.fifth
        if self.steps is None:
            mapping["equal"] = self.size
        else:
            mapping["degrees"] = [str(step) for step in self.steps[1:]]
        return mapping

    def _check_steps(self, steps: tuple[Interval, ...]) -> None:
        """Refuse steps that do not rise from 1/1 to below the period."""
        if len(steps) != self.size or steps[0] != UNISON:
            raise InvalidValue("degrees", len(steps), f"1/1 and {self.size - 1} intervals above it")
        for place, (lower, step) in enumerate(pairwise(steps), start=1):
            if step <= lower:
                raise InvalidValue(
                    f"degrees item {place}",
                    str(step),
                    f"intervals that rise; this is not above {lower}",
                )
        if steps[-1] >= self.period:
            raise InvalidValue(
                f"degrees item {self.size - 1}",
                str(steps[-1]),
                f"intervals below the period {self.period}, which is left out",
            )

    def _check_naming(self) -> None:
        """Refuse both ways of naming at once, and a fifth or names that do not fit."""
        if self.fifth is not None:
            if self.names is not None:
                raise InvalidValue("names", "names and fifth", "one of names and fifth, not both")
            if type(self.fifth) is not int or not 1 <= self.fifth <= self.size:
                raise InvalidValue("fifth", self.fifth, f"a degree from 1 to {self.size}")
        if self.names is None:
            return
        if len(self.names) != self.size:
            raise InvalidValue(
                "names", f"{len(self.names)} names", f"one name for each of {self.size} degrees"
            )
        seen: set[str] = set()
        for place, spelling in enumerate(self.names, start=1):
            if not isinstance(spelling, str) or not is_spelling(spelling):
                raise InvalidValue(
                    f"names item {place}", spelling, "a letter A to G with # or b, such as F# or Bb"
                )
            if spelling in seen:
                raise InvalidValue(f"names item {place}", spelling, "names that differ")
            seen.add(spelling)

    def _list_names(self) -> dict[str, int]:
        """Give each listed name the degree it has in octave 4."""
        placed = count_up(self.names or ())
        if self.names is not None and len(placed) < self.size:
            before = placed[-1].spelling
            raise InvalidValue(
                f"names item {len(placed) + 1}",
                self.names[len(placed)],
                f"names that count up within an octave; this one does not after {before}",
            )
        return {
            name.spelling: degree - (name.octave - MIDDLE_OCTAVE) * self.size
            for degree, name in enumerate(placed)
        }


def _nearest_fifth(parts: int, period: Interval) -> int | None:
    """Return the degree nearest to 3/2 in equal parts of 2/1; None for any other period."""
    return max(1, round(parts * _FIFTH.octaves)) if period == OCTAVE else None


def _check_degree(degree: int) -> None:
    """Refuse what is no whole number, or is out of all range."""
    if type(degree) is not int or abs(degree) > MAX_DEGREE:
        raise InvalidValue("degree", degree, f"a whole number from {-MAX_DEGREE} to {MAX_DEGREE}")
