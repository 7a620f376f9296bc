"""What a field of a tuning message can do, and the checks that fields share.

A field is asked to `check` a value (InvalidValue names the field), to `write` a checked one, to
measure itself in data that came from outside, to `read` it, and to `explain` it piece by piece.
What is wrong in data is raised as `BadBytes`, which the reader turns into an InvalidValue.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.words import HIGHEST_WORD


class BadBytes(Exception):
    """Bytes that break the layout: where, counted from the field's first byte, and how."""

    def __init__(self, offset: int, got: str, allowed: str) -> None:
        self.offset = offset
        self.got = got
        self.allowed = allowed
        super().__init__(offset, got, allowed)


@dataclass(frozen=True, slots=True)
class Piece:
    """A few bytes of a field and what they say."""

    data: bytes
    meaning: str


class Field(Protocol):
    """One field of a message."""

    @property
    def name(self) -> str:
        """The attribute of a message that the field holds."""

    @property
    def layout(self) -> str:
        """Its bytes in letters, such as [xx yy zz]x128."""

    def check(self, value: object) -> None:
        """Raise InvalidValue unless the value can be written."""

    def size(self, data: bytes) -> int:
        """Return how many bytes the field takes at the beginning of `data`, which may be cut."""

    def write(self, value: object) -> bytes:
        """Return the bytes of a checked value."""

    def read(self, data: bytes) -> object:
        """Return the value of the field's own bytes, all below 80; raises BadBytes."""

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Yield the pieces of the field's own bytes, which can be read."""


def chunks(data: bytes, size: int) -> Iterator[bytes]:
    """Cut data into pieces of one size."""
    for start in range(0, len(data), size):
        yield data[start : start + size]


def check_whole(field: str, value: object, low: int, high: int) -> None:
    """Refuse what is no whole number within the limits."""
    if type(value) is not int or not low <= value <= high:
        raise InvalidValue(field, value, f"a whole number from {low} to {high}")


def check_word(field: str, word: object) -> None:
    """Refuse what is no frequency word."""
    if word is not None:
        check_whole(field, word, 0, HIGHEST_WORD)


def check_tuple(field: str, value: object, least: int, most: int) -> tuple[object, ...]:
    """Refuse what is no tuple of so many items."""
    if not isinstance(value, tuple) or not least <= len(value) <= most:
        count = f"{least}" if least == most else f"{least} to {most}"
        raise InvalidValue(field, value, f"a tuple of {count} items")
    return value
