"""Layouts: which key plays which degree, in whatever scale.

A layout is what a file says. `on(scale)` is what it comes to on one scale: a `KeyMap`, made once
for a tuning and then asked at every key.
"""

from dataclasses import dataclass, field
from typing import Any, Protocol, Self

from meantide.errors import InvalidValue
from meantide.pitch.scale import Scale

MAX_KEY = 1_000_000  # keys and degrees a layout may name
MAX_COLUMNS = 1000
MAX_TABLE = 10_000  # keys in a table


class KeyMap(Protocol):
    """The rule from key to degree, on one scale."""

    def degree(self, key: int) -> int | None:
        """Return the degree that `key` plays, or None; safe in the audio callback."""


class Layout(Protocol):
    """The rule from key to degree, on any scale that has what it needs."""

    @property
    def name(self) -> str:
        """Its name in the catalogue, or an empty text."""

    @property
    def label(self) -> str:
        """Its name, or what it is, for messages."""

    def on(self, scale: Scale) -> KeyMap:
        """Return what the keys play on `scale`; raises InvalidValue if it lacks what is needed."""

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Labelled:
    """What a layout says about itself."""

    name: str = ""
    source: str = ""
    about: str = ""

    @property
    def label(self) -> str:
        """Its name, or what it is, for messages."""
        return self.name or "this layout"

    def labels(self) -> dict[str, Any]:
        """Return what it says, as the beginning of its YAML mapping."""
        keys = ("name", "source", "about")
        return {key: text for key in keys if (text := getattr(self, key))}


@dataclass(frozen=True, slots=True)
class LinearLayout(Labelled):
    """Neighbouring keys play neighbouring degrees; `root_key` plays `root_degree`."""

    root_key: int = 60
    root_degree: int = 0

    def __post_init__(self) -> None:
        check_root(self.root_key, self.root_degree)

    def degree(self, key: int) -> int:
        """Return the degree that `key` plays."""
        return key - self.root_key + self.root_degree

    def on(self, scale: Scale) -> Self:
        """Return the layout itself: it is the same on every scale."""
        del scale
        return self

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""
        return {**self.labels(), "kind": "linear", "root": root(self.root_key, self.root_degree)}


@dataclass(frozen=True, slots=True)
class GridLayout(Labelled):
    """Rows of `columns` keys: one to the right is `right` degrees on, one row up is `up` degrees.

    Keys count from left to right and then up; `root_key` plays `root_degree`.
    """

    right: int
    up: int
    columns: int
    root_key: int = 60
    root_degree: int = 0

    def __post_init__(self) -> None:
        check_root(self.root_key, self.root_degree)
        check_whole("right", self.right)
        check_whole("up", self.up)
        if type(self.columns) is not int or not 1 <= self.columns <= MAX_COLUMNS:
            raise InvalidValue("columns", self.columns, f"a whole number from 1 to {MAX_COLUMNS}")

    def degree(self, key: int) -> int:
        """Return the degree that `key` plays."""
        row, column = divmod(key - self.root_key, self.columns)
        return self.root_degree + column * self.right + row * self.up

    def on(self, scale: Scale) -> Self:
        """Return the layout itself: it is the same on every scale."""
        del scale
        return self

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""
        return {
            **self.labels(),
            "kind": "grid",
            "root": root(self.root_key, self.root_degree),
            "right": self.right,
            "up": self.up,
            "columns": self.columns,
        }


@dataclass(frozen=True, slots=True)
class TableLayout(Labelled):
    """Each key listed plays its degree, and no other key plays."""

    keys: tuple[tuple[int, int], ...]
    """Each key and its degree, keys rising."""
    _degrees: dict[int, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not 1 <= len(self.keys) <= MAX_TABLE:
            raise InvalidValue("keys", f"{len(self.keys)} keys", f"1 to {MAX_TABLE} keys")
        for key, degree in self.keys:
            check_whole("keys", key)
            check_whole(f"keys.{key}", degree)
        object.__setattr__(self, "keys", tuple(sorted(self.keys)))
        object.__setattr__(self, "_degrees", dict(self.keys))
        if len(self._degrees) < len(self.keys):
            raise InvalidValue("keys", "a key twice", "each key once")

    def degree(self, key: int) -> int | None:
        """Return the degree that `key` plays, or None."""
        return self._degrees.get(key)

    def on(self, scale: Scale) -> Self:
        """Return the layout itself: it is the same on every scale."""
        del scale
        return self

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping; keys are text, since JSON knows no others."""
        keys = {str(key): degree for key, degree in self.keys}
        return {**self.labels(), "kind": "table", "keys": keys}


def root(key: int, degree: int) -> dict[str, int]:
    """Return the key and degree a layout starts from, as their YAML mapping."""
    return {"key": key, "degree": degree}


def check_root(key: object, degree: object) -> None:
    """Refuse what is no key, or no degree, to start from."""
    check_whole("root.key", key)
    check_whole("root.degree", degree)


def check_whole(name: str, value: object) -> None:
    """Refuse what is no whole number that a key or degree may be."""
    if type(value) is not int or abs(value) > MAX_KEY:
        raise InvalidValue(name, value, f"a whole number from {-MAX_KEY} to {MAX_KEY}")
