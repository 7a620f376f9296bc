"""Note names: a letter, its accidentals and an octave number, such as C#4 or Bb3."""

import re
from dataclasses import dataclass
from typing import Self

from meantide.errors import InvalidValue

MAX_ACCIDENTALS = 9
MAX_OCTAVE = 999  # past any sound; it bounds what an event record has to carry
ALLOWED = "a note name such as A4, C#4, Bb3 or C-1"

_CHAIN_LETTERS = "FCGDAEB"  # each a fifth above the one before; C is at place 0
_SPELLING = re.compile(r"([A-G])(#{0,9}|b{0,9})")
_NAME = re.compile(_SPELLING.pattern + r"(-?[0-9]{1,3})")


@dataclass(frozen=True, slots=True)
class NoteName:
    """A letter A to G, accidentals (sharps positive, flats negative) and an octave number.

    The octave number goes up at each C by convention, whatever the accidentals: B#3 stands beside
    C4, and Cb4 below it. Raises InvalidValue for anything else.
    """

    letter: str
    accidentals: int
    octave: int

    def __post_init__(self) -> None:
        if self.letter not in tuple(_CHAIN_LETTERS):
            raise InvalidValue("note letter", self.letter, "A, B, C, D, E, F or G")
        for field, value, limit in (
            ("accidentals", self.accidentals, MAX_ACCIDENTALS),
            ("octave", self.octave, MAX_OCTAVE),
        ):
            if type(value) is not int or abs(value) > limit:
                raise InvalidValue(field, value, f"a whole number from {-limit} to {limit}")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the name written as `text`: "A4", "C#4", "Bb3", "F##5", "C-1"."""
        match = _NAME.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            raise InvalidValue("note name", text, ALLOWED)
        letter, marks, octave = match.groups()
        return cls(letter, marks.count("#") - marks.count("b"), int(octave))

    @classmethod
    def from_chain(cls, chain: int, octave: int) -> Self:
        """Return the name at a place on the chain of fifths: C 0, G 1, F -1, Bb -2, C# 7."""
        accidentals, letter = divmod(chain + 1, 7)
        return cls(_CHAIN_LETTERS[letter], accidentals, octave)

    @property
    def chain(self) -> int:
        """Its place on the chain of fifths; with `octave`, the whole name in two integers."""
        return self.natural_chain + 7 * self.accidentals

    @property
    def natural_chain(self) -> int:
        """The place of its letter alone: F -1, C 0, G 1, D 2, A 3, E 4, B 5."""
        return _CHAIN_LETTERS.index(self.letter) - 1

    @property
    def spelling(self) -> str:
        """The letter and accidentals, without the octave."""
        return (
            self.letter
            + ("#" * self.accidentals if self.accidentals > 0 else "")
            + ("b" * -self.accidentals)
        )

    def __str__(self) -> str:
        return f"{self.spelling}{self.octave}"


def is_spelling(text: str) -> bool:
    """Tell whether `text` is a letter with its accidentals and nothing more, such as F#."""
    return _SPELLING.fullmatch(text) is not None
