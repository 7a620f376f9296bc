"""Layouts: which key plays which degree."""

from dataclasses import dataclass
from typing import Any, Protocol

from meantide.errors import InvalidValue

MAX_KEY = 1_000_000  # keys and degrees a layout may be rooted at


class Layout(Protocol):
    """The rule from key to degree."""

    @property
    def name(self) -> str:
        """Its name in the catalogue, or an empty text."""

    def degree(self, key: int) -> int:
        """Return the degree that `key` plays; safe in the audio callback."""

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""


@dataclass(frozen=True, slots=True)
class LinearLayout:
    """Neighbouring keys play neighbouring degrees; `root_key` plays `root_degree`."""

    root_key: int = 60
    root_degree: int = 0
    name: str = ""
    source: str = ""
    about: str = ""

    def __post_init__(self) -> None:
        for field, value in (("root.key", self.root_key), ("root.degree", self.root_degree)):
            if type(value) is not int or abs(value) > MAX_KEY:
                raise InvalidValue(field, value, f"a whole number from {-MAX_KEY} to {MAX_KEY}")

    def degree(self, key: int) -> int:
        """Return the degree that `key` plays."""
        return key - self.root_key + self.root_degree

    def to_mapping(self) -> dict[str, Any]:
        """Return the layout as its YAML mapping."""
        mapping: dict[str, Any] = {}
        for key in ("name", "source", "about"):
            if text := getattr(self, key):
                mapping[key] = text
        mapping["kind"] = "linear"
        mapping["root"] = {"key": self.root_key, "degree": self.root_degree}
        return mapping
