"""Anchors read from their YAML mappings, and what scales and layouts share with them.

Each writes itself back with `to_mapping()`, and what is read from that is equal to it.
"""

from typing import TypedDict

from meantide.pitch.anchor import (
    ABSOLUTE_ZERO_CELSIUS,
    FIRST_YEAR,
    HIGHEST_HZ,
    HOTTEST_CELSIUS,
    LAST_YEAR,
    LOWEST_HZ,
    MAX_DEGREE,
    Anchor,
)
from meantide.pitch.interval import Interval
from meantide.pitch.interval_text import ALLOWED as INTERVAL_ALLOWED
from meantide.pitch.note_name import ALLOWED as NOTE_ALLOWED
from meantide.pitch.note_name import NoteName
from meantide.reading import Fields, Value

LABELS = ("name", "source", "about")
"""What every definition may say about itself."""


class Labels(TypedDict):
    """What a definition says about itself."""

    name: str
    source: str
    about: str


def read_anchor(value: Value, name: str = "") -> Anchor:
    """Return the anchor a mapping describes; `name` is its name if it gives none.

    Raises InvalidValue with the place and field of what is wrong.
    """
    fields = value.fields(*LABELS, "note", "degree", "hz", "celsius", "year", "place")
    labels = labels_of(fields, name)
    form = fields.only_one_of("note", "degree")
    hz = fields.number("hz", LOWEST_HZ, HIGHEST_HZ)
    celsius = year = None
    if "celsius" in fields:
        celsius = fields.number("celsius", ABSOLUTE_ZERO_CELSIUS, HOTTEST_CELSIUS)
    if "year" in fields:
        year = fields.integer("year", FIRST_YEAR, LAST_YEAR)
    place = fields.text("place", default="")
    note = read_note(fields["note"]) if form == "note" else None
    degree = fields.integer("degree", -MAX_DEGREE, MAX_DEGREE) if form == "degree" else None
    with fields.placing():
        return Anchor(hz, note, degree, celsius, **labels, year=year, place=place)


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


def labels_of(fields: Fields, name: str) -> Labels:
    """Return what a definition says about itself; `name` is its name if it gives none."""
    return {
        "name": fields.text("name", default=name),
        "source": fields.text("source", default=""),
        "about": fields.text("about", default=""),
    }
