"""Address patterns of OSC 1.0, matched in a number of steps that the pattern's length bounds.

A pattern and an address match part by part between the slashes. A part is a row of elements, each
of which carries the set of places reached in the name on to the next. The set is an int, one bit a
place, so nothing is ever tried twice and no pattern can make the matcher go back.

Sentences in quotation marks are from the OSC 1.0 specification (M. Wright, 26 March 2002).
"""

from collections.abc import Iterable
from dataclasses import dataclass

from meantide.errors import InvalidValue

MOST_CHARACTERS = 256
"""The longest pattern; the longest address has some fifty."""

_SPECIAL = frozenset("*?[]{}")


class Name:
    """One part of an address, with the places of each of its characters."""

    __slots__ = ("beyond", "end", "places")

    def __init__(self, text: str) -> None:
        self.places: dict[str, int] = {}
        for place, letter in enumerate(text):
            self.places[letter] = self.places.get(letter, 0) | 1 << place
        self.end = 1 << len(text)
        self.beyond = self.end << 1


@dataclass(frozen=True, slots=True)
class _Letter:
    """A character that stands for itself."""

    letter: str

    def reach(self, name: Name, places: int) -> int:
        return (places & name.places.get(self.letter, 0)) << 1


@dataclass(frozen=True, slots=True)
class _AnyLetter:
    """`?` "matches any single character"."""

    def reach(self, name: Name, places: int) -> int:
        return (places & (name.end - 1)) << 1


@dataclass(frozen=True, slots=True)
class _Anything:
    """`*` "matches any sequence of zero or more characters"."""

    def reach(self, name: Name, places: int) -> int:
        return name.beyond - (places & -places) if places else 0


@dataclass(frozen=True, slots=True)
class _OneOf:
    """`[...]` "matches any character in the string", or with a `!` before them any other."""

    letters: frozenset[str]
    others: bool

    def reach(self, name: Name, places: int) -> int:
        wanted = 0
        for letter, at in name.places.items():
            if (letter in self.letters) != self.others:
                wanted |= at
        return (places & wanted) << 1


@dataclass(frozen=True, slots=True)
class _Words:
    """`{...}` "matches any of the strings in the list"."""

    words: tuple[str, ...]

    def reach(self, name: Name, places: int) -> int:
        reached = 0
        for word in self.words:
            here = places
            for letter in word:
                here = (here & name.places.get(letter, 0)) << 1
            reached |= here
        return reached


_Element = _Letter | _AnyLetter | _Anything | _OneOf | _Words


def is_pattern(address: str) -> bool:
    """Tell whether an address is a pattern, and not an address in full."""
    return not _SPECIAL.isdisjoint(address)


class Pattern:
    """An address pattern. Raises InvalidValue for what is none."""

    def __init__(self, text: str) -> None:
        if len(text) > MOST_CHARACTERS:
            raise InvalidValue("pattern", text, f"at most {MOST_CHARACTERS} characters")
        self.text = text
        self.parts = tuple(_elements(part, text) for part in text.split("/")[1:])

    def find(self, addresses: Iterable[str]) -> list[str]:
        """Return those addresses that it matches; each different part is looked at once."""
        known: dict[tuple[int, str], bool] = {}
        found = []
        for address in addresses:
            names = address.split("/")[1:]
            if len(names) != len(self.parts):
                continue
            for index, name in enumerate(names):
                matched = known.get((index, name))
                if matched is None:
                    matched = known[index, name] = matches_part(self.parts[index], name)
                if not matched:
                    break
            else:
                found.append(address)
        return found

    def matches(self, address: str) -> bool:
        """Tell whether it matches an address."""
        return bool(self.find((address,)))


def matches_part(elements: tuple[_Element, ...], text: str) -> bool:
    """Tell whether one part of a pattern matches one part of an address."""
    name = Name(text)
    places = 1
    for element in elements:
        places = element.reach(name, places)
        if not places:
            return False
    return bool(places & name.end)


def _elements(part: str, text: str) -> tuple[_Element, ...]:
    """Read one part of a pattern."""
    elements: list[_Element] = []
    position = 0
    while position < len(part):
        letter = part[position]
        position += 1
        if letter == "*":
            if not elements or not isinstance(elements[-1], _Anything):
                elements.append(_Anything())
        elif letter == "?":
            elements.append(_AnyLetter())
        elif letter in "[{":
            closing = part.find("]" if letter == "[" else "}", position)
            inside = part[position:closing]
            if closing < 0 or not _SPECIAL.isdisjoint(inside):
                what = "[...] and {...} closed before the next / and with no * ? [ ] { } inside"
                raise InvalidValue("pattern", text, what)
            elements.append(_one_of(inside, text) if letter == "[" else _words(inside))
            position = closing + 1
        elif letter in "]}":
            raise InvalidValue("pattern", text, f"a {letter} that closes something")
        else:
            elements.append(_Letter(letter))
    return tuple(elements)


def _words(inside: str) -> _Words:
    return _Words(tuple(inside.split(",")))


def _one_of(inside: str, text: str) -> _OneOf:
    """Read what stands in brackets; "!" first and "-" between two characters are special."""
    others = inside.startswith("!")
    listed = inside.removeprefix("!")
    if not listed:
        raise InvalidValue("pattern", text, "one character at least between [ and ]")
    letters: set[str] = set()
    position = 0
    while position < len(listed):
        first = listed[position]
        if listed[position + 1 : position + 2] == "-" and position + 2 < len(listed):
            ends = sorted((ord(first), ord(listed[position + 2])))
            letters.update(map(chr, range(ends[0], ends[1] + 1)))
            position += 3
        else:
            letters.add(first)
            position += 1
    return _OneOf(frozenset(letters), others)
