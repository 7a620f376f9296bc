"""Checked reading of values from YAML files or from Python: every error says where.

A `Value` is a scalar, a list or a mapping that knows the place it stands at (file and line, or an
address) and the path of fields that leads to it. `document.read_document(path)` makes one from a
YAML file, `value_of(data, where)` from anything already in memory. It is asked for what is wanted:

    score = read_document(Path("slack-water.yaml"))
    fields = score.fields("title", "scale", "tempo", "parts")    # other keys are refused here
    title = fields.text("title", default="untitled")
    tempo = fields.number("tempo", 1, 1000)                      # no default: it must be there
    scale = fields.get("scale")                                  # a Value, or None
    for name, part in fields["parts"].entries():                 # a mapping with free keys
        for note in part.fields("voice", "notes").items("notes"):
            at = note.fields("at", "for", "pitch", "velocity").number("at", 0, 86_400)

and what is not as asked raises InvalidValue with the place, the field, what was got and what is
allowed. Where a constructor does the checking, `with fields.placing():` around it adds the place
of the very field it complains of.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeAlias

from meantide.errors import InvalidValue, NotFound, not_found

MAX_DEPTH = 32  # lists and mappings within each other
MAX_TEXT = 4000  # characters of one text
MAX_KEY = 100  # characters of one key

Scalar = str | int | float | bool | None
Data: TypeAlias = "Scalar | tuple[Value, ...] | Mapping[str | int, Value]"

_SCALARS = frozenset({str, int, float, bool, type(None)})
_PATH = re.compile(r"item [0-9]+|[^.\s]+")


@dataclass(frozen=True, slots=True)
class Value:
    """Data from outside, with the place it stands at and the path of fields leading to it.

    `where` is "file:line" (for an entry of a mapping, the line of its key), an address, or empty;
    `field` is a path such as "parts.reed.notes item 3", empty at the top.
    """

    data: Data
    where: str = ""
    field: str = ""

    def number(self, low: float, high: float) -> float:
        """Return a number from `low` to `high`, both finite, as a float; true is no number."""
        data = self.data
        if isinstance(data, bool) or not isinstance(data, int | float) or not low <= data <= high:
            raise self.error(f"a number from {low:g} to {high:g}")
        return float(data)

    def integer(self, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`, written without a decimal point."""
        if type(self.data) is not int or not low <= self.data <= high:
            raise self.error(f"a whole number from {low} to {high}")
        return self.data

    def text(self) -> str:
        """Return one line of text, not empty, without its outer spaces."""
        if not isinstance(self.data, str):
            raise self.error("text")
        text = self.data.strip()
        if not 1 <= len(text) <= MAX_TEXT or not text.isprintable():
            raise self.error(f"one line of 1 to {MAX_TEXT} printable characters")
        return text

    def verbatim(self) -> str:
        """Return a text just as it stands, even an empty one or one of many lines."""
        if not isinstance(self.data, str):
            raise self.error("text")
        return self.data

    def choice(self, options: Sequence[str]) -> str:
        """Return one of the words in `options`."""
        if not isinstance(self.data, str) or self.data not in options:
            raise self.error("one of " + ", ".join(options))
        return self.data

    def flag(self) -> bool:
        """Return true or false."""
        if not isinstance(self.data, bool):
            raise self.error("true or false")
        return self.data

    def items(self, most: int | None = None) -> tuple["Value", ...]:
        """Return the values of a list, at most `most` of them."""
        if not isinstance(self.data, tuple):
            raise self.error("a list")
        if most is not None and len(self.data) > most:
            raise self.error(f"a list of at most {most}", f"{len(self.data)} items")
        return self.data

    def entries(self) -> tuple[tuple[str, "Value"], ...]:
        """Return the entries of a mapping whose keys are free text."""
        if not isinstance(self.data, Mapping):
            raise self.error("a mapping of names to values")
        found = []
        for key, value in self.data.items():
            if not isinstance(key, str):
                raise InvalidValue(self.field or "key", key, "text for a key", value.where)
            found.append((key, value))
        return tuple(found)

    def fields(self, *allowed: str) -> "Fields":
        """Return the fields of a mapping whose keys are all among `allowed`."""
        if not isinstance(self.data, Mapping):
            raise self.error("a mapping with " + ", ".join(allowed))
        for key, value in self.data.items():
            if key not in allowed:
                raise self._unknown(str(key), allowed).at(value.where)
        return Fields(self, {str(key): value for key, value in self.data.items()})

    def plain(self) -> Any:
        """Return the data as ordinary Python lists, dictionaries and scalars."""
        if isinstance(self.data, tuple):
            return [value.plain() for value in self.data]
        if isinstance(self.data, Mapping):
            return {key: value.plain() for key, value in self.data.items()}
        return self.data

    def error(self, allowed: str, got: object = None) -> InvalidValue:
        """Return the error for this value not being what `allowed` says, for the caller to raise.

        `got` describes the value where the data itself would not show what is wrong.
        """
        return InvalidValue(self.field or "value", got or self._described(), allowed, self.where)

    @contextmanager
    def placing(self) -> Iterator[None]:
        """Give errors raised within that have no place the place of the field they name."""
        try:
            yield
        except InvalidValue as error:
            if error.where:
                raise
            named = self._find(error.field)
            field = named.field or error.field
            got = named._described() if error.got is named.data else error.got
            raise type(error)(field, got, error.allowed, named.where) from None

    def _unknown(self, key: str, allowed: Sequence[str]) -> InvalidValue:
        """Return the error for a key that is not among `allowed`, with the nearest and all."""
        field = f"{self.field}: unknown field" if self.field else "unknown field"
        near = not_found(field, key, allowed).allowed
        every = "one of " + ", ".join(allowed)
        return NotFound(field, key, f"{near} {every}" if near.startswith("did") else every)

    def _described(self) -> object:
        """Return a scalar itself, or what kind of thing is there instead of one."""
        if self.data is None:
            return "nothing"
        if isinstance(self.data, tuple):
            return "a list"
        return "a mapping" if isinstance(self.data, Mapping) else self.data

    def _find(self, field: str) -> "Value":
        """Return the value that a path of fields leads to, as far as it can be followed."""
        value = self
        for part in _PATH.findall(field):
            if isinstance(value.data, Mapping) and part in value.data:
                value = value.data[part]
            elif isinstance(value.data, tuple) and part.startswith("item "):
                place = int(part.removeprefix("item "))
                if not 1 <= place <= len(value.data):
                    break
                value = value.data[place - 1]
            else:
                break
        return value


@dataclass(frozen=True, slots=True)
class Fields:
    """The fields of one mapping, its keys already checked.

    Each reader takes a key, what is allowed, and a `default` for when the field is not there;
    without a default the field must be there.
    """

    value: Value
    entries: Mapping[str, Value]

    def __contains__(self, key: str) -> bool:
        return key in self.entries

    def __getitem__(self, key: str) -> Value:
        value = self.entries.get(key)
        if value is None:
            raise InvalidValue(
                child_field(self.value.field, key), "nothing", "this field is needed"
            ).at(self.value.where)
        return value

    def get(self, key: str) -> Value | None:
        """Return the value of a field, or None if it is not there."""
        return self.entries.get(key)

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """Return a finite number from `low` to `high`."""
        if default is not None and key not in self:
            return default
        return self[key].number(low, high)

    def integer(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """Return a whole number from `low` to `high`."""
        if default is not None and key not in self:
            return default
        return self[key].integer(low, high)

    def text(self, key: str, default: str | None = None) -> str:
        """Return one line of text."""
        if default is not None and key not in self:
            return default
        return self[key].text()

    def choice(self, key: str, options: Sequence[str], default: str | None = None) -> str:
        """Return one of the words in `options`."""
        if default is not None and key not in self:
            return default
        return self[key].choice(options)

    def flag(self, key: str, default: bool | None = None) -> bool:
        """Return true or false."""
        if default is not None and key not in self:
            return default
        return self[key].flag()

    def items(self, key: str, most: int | None = None) -> tuple[Value, ...]:
        """Return the values of a list, which must be there."""
        return self[key].items(most)

    def fields(self, key: str, *allowed: str) -> "Fields":
        """Return the fields of a mapping within this one, which must be there."""
        return self[key].fields(*allowed)

    def only_one_of(self, *keys: str) -> str:
        """Return which of `keys` is there; exactly one must be."""
        there = [key for key in keys if key in self]
        if len(there) != 1:
            raise InvalidValue(
                self.value.field or "fields",
                " and ".join(there) or "none of them",
                "exactly one of " + ", ".join(keys),
                self.value.where,
            )
        return there[0]

    def placing(self) -> AbstractContextManager[None]:
        """Give errors raised within that have no place the place of the field they name."""
        return self.value.placing()


def value_of(data: object, where: str = "", field: str = "") -> Value:
    """Return a Value made of Python scalars, lists, tuples and mappings, to any depth allowed.

    Raises InvalidValue for data of other types, for keys that are neither text nor whole numbers,
    and for nesting beyond 32 levels.
    """
    return _wrap(data, where, field, 0)


def child_field(field: str, key: str | int) -> str:
    """Return the path of the entry `key` of the mapping at the path `field`."""
    return f"{field}.{key}" if field else str(key)


def item_field(field: str, place: int) -> str:
    """Return the path of the item at `place`, counted from one, of the list at `field`."""
    return f"{field} item {place}".lstrip()


def check_key(key: object, field: str, where: str) -> str | int:
    """Return `key` if it is short printable text or a whole number; raise InvalidValue if not."""
    if type(key) is int:
        return key
    if not isinstance(key, str) or len(key) > MAX_KEY or not key.isprintable():
        raise InvalidValue(field or "key", key, "keys of one line of text, or whole numbers", where)
    return key


def _wrap(data: object, where: str, field: str, depth: int) -> Value:
    """Wrap `data`, which lies inside `depth` lists and mappings."""
    if type(data) in _SCALARS:
        return Value(data, where, field)  # type: ignore[arg-type]
    if isinstance(data, Value):
        return data
    if depth == MAX_DEPTH:
        raise InvalidValue(field, "deeper nesting", f"at most {MAX_DEPTH} levels", where)
    if isinstance(data, list | tuple):
        items = (
            _wrap(item, where, item_field(field, place), depth + 1)
            for place, item in enumerate(data, start=1)
        )
        return Value(tuple(items), where, field)
    if isinstance(data, Mapping):
        entries = {
            check_key(key, field, where): _wrap(item, where, child_field(field, key), depth + 1)
            for key, item in data.items()
        }
        return Value(MappingProxyType(entries), where, field)
    kind = type(data).__name__
    raise InvalidValue(field or "value", kind, "text, numbers, lists and mappings", where)
