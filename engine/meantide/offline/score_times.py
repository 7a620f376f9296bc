"""Times in scores: beats or seconds, exact as they are written."""

import re
from dataclasses import dataclass
from fractions import Fraction

from meantide.reading import Fields, Value

LONGEST_SCORE_S = 86_400
PLAIN = re.compile(r"\d{1,9}(\.\d{1,9}|/\d{1,9})?", re.ASCII)
"""How a number is written as a text."""


@dataclass(frozen=True, slots=True)
class Beats:
    """How long a beat is; a second where a score has no tempo."""

    beat_s: Fraction = Fraction(1)

    @classmethod
    def at_tempo(cls, tempo: Value) -> "Beats":
        """Return the beats of a tempo, so many a minute."""
        return cls(60 / exact(tempo, Fraction(1), Fraction(1000)))

    def seconds(self, value: Value) -> Fraction:
        """Return a time as exact seconds."""
        seconds = exact(value, Fraction(0), None) * self.beat_s
        if seconds > LONGEST_SCORE_S:
            raise value.error(f"a time within {LONGEST_SCORE_S} seconds of the start")
        return seconds

    def seconds_in(self, fields: Fields, key: str) -> Fraction:
        """Return the time in a field, or nothing where it is left out."""
        return self.seconds(fields[key]) if key in fields else Fraction(0)


def exact(value: Value, low: Fraction, high: Fraction | None) -> Fraction:
    """Return a number, or a text such as 1/3, exactly as it is written."""
    data = value.data
    allowed = f"a number or fraction, {low} or more" + (f", at most {high}" if high else "")
    try:
        if isinstance(data, bool) or not isinstance(data, int | float | str):
            raise ValueError
        if isinstance(data, str) and not PLAIN.fullmatch(data):  # 1e9999999 would take for ever
            raise ValueError
        fraction = Fraction(repr(data) if isinstance(data, float) else data)
    except (ValueError, ZeroDivisionError):
        raise value.error(allowed) from None
    if fraction < low or (high is not None and fraction > high):
        raise value.error(allowed)
    return fraction
