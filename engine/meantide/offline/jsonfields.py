"""Read JSON field by field: each is asked for by name and kind, and what is left over is refused.

Errors are `InvalidValue` with the file and the path of the field ("notes[3].start").
"""

import json
import math
from collections.abc import Callable, Mapping
from typing import TypeVar

from meantide.errors import InvalidValue

T = TypeVar("T")


class Fields:
    """A JSON object being read; `path` is where it stands in the file `where` ("notes[3]")."""

    def __init__(self, value: object, where: str, path: str = "") -> None:
        self._where = where
        self._path = path
        if not isinstance(value, dict):
            raise InvalidValue(path or "the whole file", value, "an object", where)
        self._left: dict[str, object] = dict(value)

    def refuse(self, name: str, got: object, allowed: str) -> InvalidValue:
        """Make the error for the field `name` of this object."""
        return InvalidValue(self._full(name), got, allowed, self._where)

    def text(self, name: str) -> str:
        """Take a string."""
        value = self._take(name, "a string")
        if not isinstance(value, str):
            raise self.refuse(name, value, "a string")
        return value

    def choice(self, name: str, allowed: tuple[str, ...]) -> str:
        """Take one of a few strings."""
        sentence = "one of " + ", ".join(allowed) if len(allowed) > 1 else repr(allowed[0])
        value = self._take(name, sentence)
        if not isinstance(value, str) or value not in allowed:
            raise self.refuse(name, value, sentence)
        return value

    def whole(self, name: str, least: int = 0) -> int:
        """Take an integer of at least `least`; true and 1.0 are none."""
        sentence = f"a whole number, {least} or more"
        value = self._take(name, sentence)
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise self.refuse(name, value, sentence)
        return value

    def number(
        self, name: str, above: float = -math.inf, including: bool = False, most: float = math.inf
    ) -> float:
        """Take a finite number over `above` (or at it, `including`) and up to `most`."""
        sentence = "a finite number"
        if above > -math.inf:
            sentence += f", {above:g} or more" if including else f" above {above:g}"
        if most < math.inf:
            sentence += f", at most {most:g}"
        value = self._take(name, sentence)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refuse(name, value, sentence)
        try:
            number = float(value)
        except OverflowError:
            raise self.refuse(name, value, sentence) from None
        enough = number >= above if including else number > above
        if not (math.isfinite(number) and enough and number <= most):
            raise self.refuse(name, value, sentence)
        return number

    def number_or_null(self, name: str, above: float = -math.inf) -> float | None:
        """Take a finite number over `above`, or None where null stands."""
        if name in self._left and self._left[name] is None:
            del self._left[name]
            return None
        return self.number(name, above)

    def mapping(self, name: str) -> Mapping[str, object]:
        """Take an object whose insides are not ours to judge."""
        value = self._take(name, "an object")
        if not isinstance(value, dict):
            raise self.refuse(name, value, "an object")
        return value

    def items(self, name: str, read: Callable[["Fields"], T]) -> tuple[T, ...]:
        """Take a list of objects, each read by `read` and then left with nothing."""
        value = self._take(name, "a list")
        if not isinstance(value, list):
            raise self.refuse(name, value, "a list")
        return tuple(
            self._inside(item, f"{name}[{place}]", read) for place, item in enumerate(value)
        )

    def named(self, name: str, read: Callable[["Fields"], T]) -> dict[str, T]:
        """Take an object whose every value is an object, each read by `read`, kept by its name."""
        return {
            key: self._inside(item, f"{name}.{key}", read)
            for key, item in self.mapping(name).items()
        }

    def done(self) -> None:
        """Refuse the keys that nothing asked for."""
        for name, value in self._left.items():
            raise self.refuse(name, value, "no such field here")

    def _inside(self, item: object, name: str, read: Callable[["Fields"], T]) -> T:
        fields = Fields(item, self._where, self._full(name))
        value = read(fields)
        fields.done()
        return value

    def _take(self, name: str, allowed: str) -> object:
        if name not in self._left:
            raise self.refuse(name, "nothing", allowed)
        return self._left.pop(name)

    def _full(self, name: str) -> str:
        return f"{self._path}.{name}" if self._path else name


def parse(text: str, where: str) -> object:
    """Parse strict JSON: NaN, infinities and a key given twice are refused, as is deep nesting."""

    def constant(name: str) -> object:
        raise InvalidValue("JSON", name, "finite numbers", where)

    def unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
        value: dict[str, object] = {}
        for key, item in pairs:
            if key in value:
                raise InvalidValue("JSON", key, "each key once in an object", where)
            value[key] = item
        return value

    try:
        parsed: object = json.loads(text, parse_constant=constant, object_pairs_hook=unique)
    except json.JSONDecodeError as error:
        place = f"{where}:{error.lineno}"
        raise InvalidValue("JSON", error.msg, "a JSON document", place) from error
    except (RecursionError, ValueError) as error:
        raise InvalidValue("JSON", str(error), "a JSON document", where) from error
    return parsed
