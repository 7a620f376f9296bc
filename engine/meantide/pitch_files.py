"""Scales, anchors and layouts read from their YAML mappings, checked field by field.

Each of them writes itself back with `to_mapping()`, and what is read from that is equal to it.
"""

from collections.abc import Sequence
from typing import TypedDict

from meantide.pitch.anchor import (
    ABSOLUTE_ZERO_CELSIUS,
    HIGHEST_HZ,
    HOTTEST_CELSIUS,
    LOWEST_HZ,
    Anchor,
)
from meantide.pitch.interval import OCTAVE, Interval
from meantide.pitch.interval_text import ALLOWED as INTERVAL_ALLOWED
from meantide.pitch.layout import MAX_KEY, LinearLayout
from meantide.pitch.note_name import ALLOWED as NOTE_ALLOWED
from meantide.pitch.note_name import NoteName
from meantide.pitch.scale import MAX_SIZE, Scale
from meantide.reading import Fields, Value

FORMS = ("equal", "degrees")  # how a scale may be given
KINDS = ("linear",)  # of layout
_LABELS = ("name", "source", "about")


class _Labels(TypedDict):
    """What a definition says about itself."""

    name: str
    source: str
    about: str


def read_scale(value: Value, name: str = "") -> Scale:
    """Return the scale a mapping describes; `name` is its name if it gives none.

    Raises InvalidValue with the place and field of what is wrong.
    """
    fields = value.fields(*_LABELS, "period", "fifth", "names", *FORMS)
    labels = _labels(fields, name)
    form = fields.only_one_of(*FORMS)
    period = read_interval(fields["period"]) if "period" in fields else OCTAVE
    fifth = fields.integer("fifth", 1, MAX_SIZE) if "fifth" in fields else None
    names = _spellings(fields) if "names" in fields else None
    if form == "equal":
        parts = fields.integer("equal", 1, MAX_SIZE)
        with fields.placing():
            return Scale.equal(parts, period, fifth=fifth, names=names, **labels)
    steps = [read_interval(step) for step in fields.items("degrees", MAX_SIZE - 1)]
    with fields.placing():
        return Scale.from_degrees(steps, period, fifth=fifth, names=names, **labels)


def read_anchor(value: Value, name: str = "") -> Anchor:
    """Return the anchor a mapping describes; `name` is its name if it gives none.

    Raises InvalidValue with the place and field of what is wrong.
    """
    fields = value.fields(*_LABELS, "note", "degree", "hz", "celsius")
    labels = _labels(fields, name)
    place = fields.only_one_of("note", "degree")
    hz = fields.number("hz", LOWEST_HZ, HIGHEST_HZ)
    celsius = None
    if "celsius" in fields:
        celsius = fields.number("celsius", ABSOLUTE_ZERO_CELSIUS, HOTTEST_CELSIUS)
    with fields.placing():
        if place == "note":
            return Anchor(hz, note=read_note(fields["note"]), celsius=celsius, **labels)
        degree = fields.integer("degree", -MAX_KEY, MAX_KEY)
        return Anchor(hz, degree=degree, celsius=celsius, **labels)


def read_layout(value: Value, name: str = "") -> LinearLayout:
    """Return the layout a mapping describes; `name` is its name if it gives none.

    Raises InvalidValue with the place and field of what is wrong.
    """
    fields = value.fields(*_LABELS, "kind", "root")
    labels = _labels(fields, name)
    fields.choice("kind", KINDS)
    if "root" not in fields:
        return LinearLayout(**labels)
    root = fields.fields("root", "key", "degree")
    key = root.integer("key", -MAX_KEY, MAX_KEY)
    return LinearLayout(key, root.integer("degree", -MAX_KEY, MAX_KEY, default=0), **labels)


def read_interval(value: Value) -> Interval:
    """Return the interval written as a text, such as 3/2 or 386.31 cents."""
    if not isinstance(value.data, str):
        raise value.error(INTERVAL_ALLOWED)
    with value.placing():
        return Interval.parse(value.data)


def read_note(value: Value) -> NoteName:
    """Return the note name written as a text, such as A4."""
    if not isinstance(value.data, str):
        raise value.error(NOTE_ALLOWED)
    with value.placing():
        return NoteName.parse(value.data)


def _labels(fields: Fields, name: str) -> _Labels:
    """Return what a definition says about itself."""
    return {
        "name": fields.text("name", default=name),
        "source": fields.text("source", default=""),
        "about": fields.text("about", default=""),
    }


def _spellings(fields: Fields) -> Sequence[str]:
    """Return the listed note names."""
    return [spelling.text() for spelling in fields.items("names", MAX_SIZE)]
