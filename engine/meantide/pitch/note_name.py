"""Note names: a letter, its accidentals and an octave number, such as C#4 or Bb3."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

from meantide.errors import InvalidValue

MAX_ACCIDENTALS = 9
MIDDLE_OCTAVE = 4  # degree 0 of a scale on the chain of fifths is C4
MAX_OCTAVE = 999  # past any sound; it bounds what an event record has to carry
ALLOWED = "a note name such as A4, C#4, Bb3 or C-1"

_CHAIN_LETTERS = "FCGDAEB"  # each a fifth above the one before; C is at place 0
_LETTERS = "CDEFGAB"  # going up
_LETTER_TONES = (0, 1, 2, 2, 3, 4, 5)  # whole tones below each letter; the rest are semitones
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

    def is_above(self, other: "NoteName") -> bool:
        """Tell whether it is above `other` by its letter, or by its accidentals.

        Both may be so of C# and Db, each of the other: which is higher is up to the scale. But C#
        is never above D, whatever the fifth.
        """
        mine, others = self._height, other._height
        return mine[0] > others[0] or mine[1] > others[1]

    @property
    def semitones(self) -> int:
        """How far it lies above C0 in twelve equal parts."""
        return sum(self._height)

    @property
    def _height(self) -> tuple[int, int]:
        """Its distance above C0 as minor seconds and sharps; a whole tone is one of each."""
        letter = _LETTERS.index(self.letter)
        return letter + 7 * self.octave, _LETTER_TONES[letter] + self.accidentals + 5 * self.octave

    def __str__(self) -> str:
        return f"{self.spelling}{self.octave}"


def is_spelling(text: str) -> bool:
    """Tell whether `text` is a letter with its accidentals and nothing more, such as F#."""
    return _SPELLING.fullmatch(text) is not None


def count_up(spellings: Sequence[str]) -> list[NoteName]:
    """Return spellings with octave numbers by which they rise, as far as they do.

    The first stands within the octave above middle C, and each further one above the one before it
    and below the first an octave up; the list ends before one that cannot. So A B C are A4 B4 C5,
    C Db C# D and C C# Db D both count up, and D C# does not.
    """
    placed: list[NoteName] = []
    for spelling in spellings:
        name = NoteName.parse(f"{spelling}{MIDDLE_OCTAVE}")
        if placed:
            name = _next_above(placed[-1], name)
            if not replace(placed[0], octave=placed[0].octave + 1).is_above(name):
                break
        else:
            above_c = name.semitones - 12 * MIDDLE_OCTAVE
            name = replace(name, octave=MIDDLE_OCTAVE - above_c // 12)
        placed.append(name)
    return placed


def _next_above(last: NoteName, name: NoteName) -> NoteName:
    """Return a name in the lowest octave in which it is above another.

    B# may be above Db, though in twelve equal parts it is a semitone lower; more than a fourth
    lower is never meant.
    """
    for octave in range(last.octave - 2, last.octave + 3):
        placed = replace(name, octave=octave)
        if placed.semitones >= last.semitones - 5 and placed.is_above(last):
            break
    return placed
