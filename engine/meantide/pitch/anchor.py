"""Anchors: the frequency given to one named note, or to one degree."""

from dataclasses import dataclass
from typing import Any, Self

from meantide.errors import InvalidValue
from meantide.pitch.note_name import NoteName

LOWEST_HZ = 0.01
HIGHEST_HZ = 20_000.0
MAX_DEGREE = 1_000_000
ABSOLUTE_ZERO_CELSIUS = -273.15
HOTTEST_CELSIUS = 100.0
FIRST_YEAR, LAST_YEAR = 1, 9999
ALLOWED = "a note or degree and its frequency in Hz, such as A4=440 or 0=256"


@dataclass(frozen=True, slots=True)
class Anchor:
    """One note name, or one degree, and its frequency, perhaps stated at a temperature.

    `hz` is 0.01 to 20,000 Hz; `celsius` says at what temperature of the air (or of a fork) it was
    stated and changes nothing by itself. `year` (1 to 9999, the first of several) and `place` say
    when and where it was in use. Raises InvalidValue.
    """

    hz: float
    note: NoteName | None = None
    degree: int | None = None
    celsius: float | None = None
    name: str = ""
    source: str = ""
    about: str = ""
    year: int | None = None
    place: str = ""

    def __post_init__(self) -> None:
        if (self.note is None) == (self.degree is None):
            raise InvalidValue("anchor", str(self.note), "a note name or a degree, one of the two")
        if self.degree is not None and (
            type(self.degree) is not int or abs(self.degree) > MAX_DEGREE
        ):
            raise InvalidValue(
                "degree", self.degree, f"a whole number from {-MAX_DEGREE} to {MAX_DEGREE}"
            )
        _check_number("hz", self.hz, LOWEST_HZ, HIGHEST_HZ)
        object.__setattr__(self, "hz", float(self.hz))
        if self.celsius is not None:
            _check_number("celsius", self.celsius, ABSOLUTE_ZERO_CELSIUS, HOTTEST_CELSIUS)
            object.__setattr__(self, "celsius", float(self.celsius))
        if self.year is not None and (
            type(self.year) is not int or not FIRST_YEAR <= self.year <= LAST_YEAR
        ):
            allowed = f"a whole number from {FIRST_YEAR} to {LAST_YEAR}"
            raise InvalidValue("year", self.year, allowed)

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the anchor written `A4=440`, or `0=256` for a degree. Raises InvalidValue."""
        place, equals, hz_text = text.partition("=")
        place = place.strip()
        try:
            hz = float(hz_text)
        except ValueError:
            raise InvalidValue("anchor", text, ALLOWED) from None
        if not equals or "_" in hz_text:
            raise InvalidValue("anchor", text, ALLOWED)
        digits = place.removeprefix("-")
        if digits.isascii() and digits.isdigit() and len(digits) <= len(str(MAX_DEGREE)):
            return cls(hz, degree=int(place))
        return cls(hz, note=NoteName.parse(place))

    @property
    def label(self) -> str:
        """The anchor in its short form, such as A4=440 or 0=256."""
        return f"{self.degree if self.note is None else self.note}={self.hz:.17g}"

    def to_mapping(self) -> dict[str, Any]:
        """Return the anchor as its YAML mapping."""
        mapping: dict[str, Any] = {}
        for key in ("name", "source", "about"):
            if text := getattr(self, key):
                mapping[key] = text
        if self.note is not None:
            mapping["note"] = str(self.note)
        else:
            mapping["degree"] = self.degree
        mapping["hz"] = self.hz
        if self.celsius is not None:
            mapping["celsius"] = self.celsius
        if self.year is not None:
            mapping["year"] = self.year
        if self.place:
            mapping["place"] = self.place
        return mapping


def _check_number(field: str, value: object, low: float, high: float) -> None:
    """Refuse what is no finite number within the limits."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InvalidValue(field, value, f"a number from {low:g} to {high:g}")
