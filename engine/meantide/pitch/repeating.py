"""Layouts that begin anew with each period: so many keys to a period, or keys that bear names."""

from dataclasses import dataclass
from typing import Any

from meantide.errors import InvalidValue, NotFound
from meantide.pitch.layout import KeyMap, Labelled, check_root, check_whole, root
from meantide.pitch.notation import degree_of
from meantide.pitch.note_name import MIDDLE_OCTAVE, NoteName, is_spelling
from meantide.pitch.scale import Scale

MAX_KEYS = 1000  # that carry one period
_NAMES = 12  # keys of an octave
_SPELLING = "a letter A to G with # or b, such as Eb"


@dataclass(frozen=True, slots=True)
class Repeating:
    """What so many keys play, from `root_key` on, and again one period of `size` degrees higher."""

    root_key: int
    degrees: tuple[int | None, ...]
    size: int

    def degree(self, key: int) -> int | None:
        """Return the degree that `key` plays, or None."""
        periods, place = divmod(key - self.root_key, len(self.degrees))
        degree = self.degrees[place]
        return None if degree is None else degree + periods * self.size


@dataclass(frozen=True, slots=True)
class RepeatLayout(Labelled):
    """The keys from `root_key` on play `degrees` above `root_degree`; then comes the next period.

    So as many keys as there are degrees carry one period of the scale, whatever its size. A degree
    of None is a key that plays nothing.
    """

    degrees: tuple[int | None, ...]
    root_key: int = 60
    root_degree: int = 0

    def __post_init__(self) -> None:
        check_root(self.root_key, self.root_degree)
        if not 1 <= len(self.degrees) <= MAX_KEYS or set(self.degrees) == {None}:
            raise InvalidValue(
                "degrees", f"{len(self.degrees)} keys", f"1 to {MAX_KEYS} keys, one of which plays"
            )
        for place, degree in enumerate(self.degrees, start=1):
            if degree is not None:
                check_whole(f"degrees item {place}", degree)

    def on(self, scale: Scale) -> KeyMap:
        """Return what the keys play on `scale`, whose period comes round with them."""
        degrees = tuple(
            None if degree is None else degree + self.root_degree for degree in self.degrees
        )
        return Repeating(self.root_key, degrees, scale.size)

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""
        return {
            **self.labels(),
            "kind": "repeat",
            "root": root(self.root_key, self.root_degree),
            "degrees": list(self.degrees),
        }


@dataclass(frozen=True, slots=True)
class KeyboardLayout(Labelled):
    """A keyboard of twelve keys to the octave on a scale of any size: each key plays its name.

    `root_key` is C4. The names are twelve consecutive fifths, from `first` to `last`; which of them
    stands on which key is as in twelve equal parts. A name the scale does not have is a key that
    plays nothing.
    """

    first: str = "Eb"
    last: str = "G#"
    root_key: int = 60

    def __post_init__(self) -> None:
        check_root(self.root_key, 0)
        for field, spelling in (("from", self.first), ("to", self.last)):
            if not isinstance(spelling, str) or not is_spelling(spelling):
                raise InvalidValue(field, spelling, _SPELLING)
        first, last = (NoteName.parse(f"{name}4").chain for name in (self.first, self.last))
        if last - first != _NAMES - 1:
            fits = NoteName.from_chain(first + _NAMES - 1, MIDDLE_OCTAVE).spelling
            raise InvalidValue("to", self.last, f"{fits}, for twelve names from {self.first}")

    def names(self) -> list[NoteName]:
        """Return the names of the keys from `root_key` on, an octave of them."""
        chain = NoteName.parse(f"{self.first}4").chain
        names = []
        for place in range(chain, chain + _NAMES):
            name = NoteName.from_chain(place, MIDDLE_OCTAVE)
            beyond = (name.semitones - 12 * MIDDLE_OCTAVE) // 12
            names.append(NoteName.from_chain(place, MIDDLE_OCTAVE - beyond))
        return sorted(names, key=lambda name: name.semitones)

    def on(self, scale: Scale) -> KeyMap:
        """Return what the keys play on `scale`.

        Raises InvalidValue if it has no note names, or none of these.
        """
        if scale.fifth is None and scale.names is None:
            allowed = f"a layout by degree, since {scale.label} has no note names"
            raise InvalidValue("layout", self.label, allowed)
        degrees: list[int | None] = []
        for name in self.names():
            try:
                degrees.append(degree_of(scale, name))
            except NotFound:
                degrees.append(None)
        if set(degrees) == {None}:
            allowed = f"a layout with names of {scale.label}: {' '.join(scale.names or ())}"
            raise InvalidValue("layout", self.label, allowed)
        return Repeating(self.root_key, tuple(degrees), scale.size)

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""
        return {
            **self.labels(),
            "kind": "keyboard",
            "root": {"key": self.root_key},
            "from": self.first,
            "to": self.last,
        }
