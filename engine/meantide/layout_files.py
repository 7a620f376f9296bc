"""Layouts read from their YAML mappings, each kind with its own fields.

`to_mapping()` writes a layout back, and what is read from that is equal to it.
"""

import re
from collections.abc import Callable, Mapping

from meantide.errors import InvalidValue
from meantide.pitch import (
    GridLayout,
    KeyboardLayout,
    Layout,
    LinearLayout,
    RepeatLayout,
    TableLayout,
)
from meantide.pitch.layout import MAX_COLUMNS, MAX_KEY
from meantide.pitch.repeating import MAX_KEYS
from meantide.pitch_files import LABELS, Labels, labels_of
from meantide.reading import Fields, Value

MIDDLE_KEY = 60  # C4, unless a layout says otherwise

_KEY = re.compile("-?[0-9]{1,7}")


def read_layout(value: Value, name: str = "") -> Layout:
    """Return the layout a mapping describes; `name` is its name if it gives none.

    Raises InvalidValue with the place and field of what is wrong.
    """
    every = dict.fromkeys(key for _, keys in _KINDS.values() for key in keys)
    kind = value.fields(*LABELS, "kind", *every).choice("kind", tuple(_KINDS))
    read, keys = _KINDS[kind]
    fields = value.fields(*LABELS, "kind", *keys)
    with fields.placing():
        return read(fields, labels_of(fields, name))


def _read_linear(fields: Fields, labels: Labels) -> Layout:
    return LinearLayout(*_read_root(fields), **labels)


def _read_repeat(fields: Fields, labels: Labels) -> Layout:
    degrees = tuple(
        None if degree.data is None else degree.integer(-MAX_KEY, MAX_KEY)
        for degree in fields.items("degrees", MAX_KEYS)
    )
    return RepeatLayout(degrees, *_read_root(fields), **labels)


def _read_grid(fields: Fields, labels: Labels) -> Layout:
    right, up = (fields.integer(key, -MAX_KEY, MAX_KEY) for key in ("right", "up"))
    columns = fields.integer("columns", 1, MAX_COLUMNS)
    return GridLayout(right, up, columns, *_read_root(fields), **labels)


def _read_table(fields: Fields, labels: Labels) -> Layout:
    """Read keys and their degrees; keys may be text too, since JSON knows no others."""
    table = fields["keys"].data
    if not isinstance(table, Mapping):
        raise fields["keys"].error("a mapping of keys to degrees, such as {60: 0, 61: 2}")
    keys = []
    for key, degree in table.items():
        if not isinstance(key, int) and not _KEY.fullmatch(key):
            raise InvalidValue(degree.field, key, "whole numbers for keys", degree.where)
        keys.append((int(key), degree.integer(-MAX_KEY, MAX_KEY)))
    return TableLayout(tuple(keys), **labels)


def _read_keyboard(fields: Fields, labels: Labels) -> Layout:
    key = MIDDLE_KEY
    if "root" in fields:
        key = fields.fields("root", "key").integer("key", -MAX_KEY, MAX_KEY)
    return KeyboardLayout(fields.text("from", "Eb"), fields.text("to", "G#"), key, **labels)


def _read_root(fields: Fields) -> tuple[int, int]:
    """Return the key and the degree a layout starts from."""
    if "root" not in fields:
        return MIDDLE_KEY, 0
    root = fields.fields("root", "key", "degree")
    key = root.integer("key", -MAX_KEY, MAX_KEY)
    return key, root.integer("degree", -MAX_KEY, MAX_KEY, default=0)


_KINDS: Mapping[str, tuple[Callable[[Fields, Labels], Layout], tuple[str, ...]]] = {
    "linear": (_read_linear, ("root",)),
    "repeat": (_read_repeat, ("root", "degrees")),
    "grid": (_read_grid, ("root", "right", "up", "columns")),
    "table": (_read_table, ("keys",)),
    "keyboard": (_read_keyboard, ("root", "from", "to")),
}
"""The kinds of layout: how each is read, and the fields it has."""
