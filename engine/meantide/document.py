"""Texts read into values that know their places: YAML files, and JSON.

Of YAML, one document of the core schema of YAML 1.2 is understood: `on`, `no` and `1:30` are text,
`010` is ten, and only `true` and `false` are flags. Tags, aliases and repeated keys are refused,
and so are files over 4 MB and nesting beyond 32 levels. The library's events are taken one by one,
so nothing recurses and nothing is built that was not written out.

JSON (RFC 8259) is what the engine writes itself, logs and journals. It is read strictly: what the
standard leaves to the reader (a key given twice, half a surrogate pair) is refused, as is what the
standard library takes beyond it (NaN, infinities).
"""

import json
import math
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import yaml

from meantide.errors import InvalidValue, NotFound, not_found
from meantide.reading import (
    MAX_DEPTH,
    Scalar,
    Value,
    check_key,
    child_field,
    item_field,
    value_of,
)

MAX_BYTES = 4_000_000  # a scale of 100,000 listed degrees fits, and is read within a second
_MAX_NUMBER = 40  # characters of one number; anything longer is text

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # compiled where there is one

_CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_INTEGER = re.compile(r"[-+]?[0-9]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")  # in JSON: half of a pair, maybe without the other
_CONSTANTS: dict[str, bool | None] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}


def read_document(path: Path) -> Value:
    """Return the one document in a YAML file.

    Raises NotFound if there is no such file, and InvalidValue, with file and line, if it cannot
    be read or is not as this module's first lines say.
    """
    try:
        if path.exists() and not path.is_file():
            raise InvalidValue("file", str(path), "a file")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        names = [near.name for near in path.parent.glob("*.yaml")]
        near = not_found("file", path.name, names).allowed if names else "a file that is there"
        raise NotFound("file", str(path), near) from None
    except (OSError, ValueError) as error:  # ValueError: a null character in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise InvalidValue("file", str(path), f"a readable file ({reason})") from None
    if len(data) > MAX_BYTES:
        raise InvalidValue("file", "a larger file", f"at most {MAX_BYTES} bytes", str(path))
    try:
        text = data.decode("utf-8")  # the parser skips a byte order mark
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        got = f"byte {data[error.start]:#04x}"
        raise InvalidValue("text", got, "UTF-8", f"{path}:{line}") from None
    return parse_document(text, str(path))


def parse_document(text: str, file: str) -> Value:
    """Return the one YAML document in `text`; `file` is its name in errors (InvalidValue)."""
    if control := _CONTROLS.search(text):
        line = text.count("\n", 0, control.start()) + 1
        got = f"control character {ord(control[0]):#04x}"
        raise InvalidValue("text", got, "printable text", f"{file}:{line}")
    tree = _Tree(file)
    try:
        for event in yaml.parse(text, Loader=_Loader):
            tree.take(event)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = f"{file}:{mark.line + 1}" if mark else file
        raise InvalidValue("YAML", error.problem or "an error", "valid YAML", where) from None
    except yaml.YAMLError as error:
        raise InvalidValue("YAML", str(error), "valid YAML", file) from None
    if tree.root is None:
        raise InvalidValue("file", "an empty file", "a YAML document", file)
    return tree.root


def parse_json(text: str, where: str) -> Value:
    """Return the JSON document in `text`, all of it standing at `where` in errors (InvalidValue).

    An error of syntax names the line as well, where `text` has several.
    """
    try:
        data = json.loads(
            text, parse_float=_finite, parse_constant=_finite, object_pairs_hook=_unique
        )
        value = value_of(data, where)
        if _SURROGATE.search(text):
            json.dumps(data, ensure_ascii=False).encode()
    except InvalidValue as error:
        raise error.at(where) from None
    except json.JSONDecodeError as error:
        place = f"{where}:{error.lineno}" if "\n" in text else where
        raise InvalidValue("JSON", error.msg, "a JSON document", place) from None
    except UnicodeEncodeError:
        raise InvalidValue("JSON", "half a surrogate pair", "Unicode text", where) from None
    except (RecursionError, ValueError) as error:  # ValueError: an integer of thousands of digits
        raise InvalidValue("JSON", str(error), "a JSON document", where) from None
    return value


def _finite(written: str) -> float:
    """Return a number with a point or an exponent; json hands NaN and Infinity here too."""
    number = float(written)
    if not math.isfinite(number):
        raise InvalidValue("JSON", written, "finite numbers")
    return number


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return the members of a JSON object, each name once."""
    members = dict(pairs)
    if len(members) < len(pairs):
        [(again, _)] = Counter(name for name, _ in pairs).most_common(1)
        raise InvalidValue("JSON", f"{again} again", "each key once")
    return members


def plain_scalar(text: str) -> Scalar:
    """Return what an unquoted YAML scalar stands for by the core schema (YAML 1.2.2, 10.3.2)."""
    if text in _CONSTANTS:
        return _CONSTANTS[text]
    if len(text) > _MAX_NUMBER:
        return text
    if _INTEGER.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    if _NOT_FINITE.fullmatch(text):
        return float(text.replace(".", ""))
    return text


@dataclass(slots=True)
class _Open:
    """A list or mapping whose end has not come yet."""

    where: str
    field: str
    items: list[Value] | None  # None in a mapping
    entries: dict[str | int, Value]
    key: str | int | None = None
    key_where: str = ""


class _Tree:
    """Builds one Value from the events of a YAML stream."""

    def __init__(self, file: str) -> None:
        self.root: Value | None = None
        self._file = file
        self._open: list[_Open] = []

    def take(self, event: Any) -> None:  # the library's types leave out what events carry
        """Take the next event; raises InvalidValue for what is not understood."""
        where = f"{self._file}:{event.start_mark.line + 1}"
        if isinstance(event, yaml.AliasEvent):
            raise InvalidValue("YAML", f"*{event.anchor}", "values written out, no aliases", where)
        if getattr(event, "anchor", None) is not None:
            raise InvalidValue("YAML", f"&{event.anchor}", "values without anchors", where)
        if getattr(event, "tag", None) is not None:
            raise InvalidValue("YAML", event.tag, "values without tags", where)
        if isinstance(event, yaml.DocumentStartEvent) and self.root is not None:
            raise InvalidValue("YAML", "a second document", "one document a file", where)
        if isinstance(event, yaml.ScalarEvent):
            self._scalar(plain_scalar(event.value) if event.implicit[0] else event.value, where)
        elif isinstance(event, yaml.CollectionStartEvent):
            self._start(isinstance(event, yaml.SequenceStartEvent), where)
        elif isinstance(event, yaml.CollectionEndEvent):
            self._end()

    def _scalar(self, data: Scalar, where: str) -> None:
        """Take a scalar as the next key, or as a value."""
        top = self._open[-1] if self._open else None
        if top is None or top.items is not None or top.key is not None:
            self._put(Value(data, *self._place(where)))
            return
        key = check_key(data, top.field, where)
        if key in top.entries:
            got = f"{key} again"
            raise InvalidValue(child_field(top.field, key), got, "each key once", where)
        top.key, top.key_where = key, where

    def _start(self, is_list: bool, where: str) -> None:
        """Open a list or a mapping."""
        top = self._open[-1] if self._open else None
        if top is not None and top.items is None and top.key is None:
            raise InvalidValue(top.field or "key", "a list or mapping", "text for a key", where)
        if len(self._open) == MAX_DEPTH:
            raise InvalidValue("YAML", "deeper nesting", f"at most {MAX_DEPTH} levels", where)
        self._open.append(_Open(*self._place(where), [] if is_list else None, {}))

    def _end(self) -> None:
        """Close the innermost list or mapping and hand it on."""
        done = self._open.pop()
        data = MappingProxyType(done.entries) if done.items is None else tuple(done.items)
        self._put(Value(data, done.where, done.field))

    def _put(self, value: Value) -> None:
        """Put a finished value where it belongs."""
        if not self._open:
            self.root = value
            return
        top = self._open[-1]
        if top.items is not None:
            top.items.append(value)
        elif top.key is not None:
            top.entries[top.key] = value
            top.key = None

    def _place(self, where: str) -> tuple[str, str]:
        """Return the place and field path of the value that starts now."""
        if not self._open:
            return where, ""
        top = self._open[-1]
        if top.items is not None:
            return where, item_field(top.field, len(top.items) + 1)
        if top.key is None:
            return where, top.field
        return top.key_where, child_field(top.field, top.key)
