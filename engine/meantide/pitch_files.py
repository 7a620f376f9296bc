"""Scales, anchors and layouts read from their YAML mappings, checked field by field.

Each of them writes itself back with `to_mapping()`, and what is read from that is equal to it.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import TypedDict

from meantide.errors import InvalidValue
from meantide.pitch import forms
from meantide.pitch.anchor import (
    ABSOLUTE_ZERO_CELSIUS,
    HIGHEST_HZ,
    HOTTEST_CELSIUS,
    LOWEST_HZ,
    Anchor,
)
from meantide.pitch.forms import MAX_FACTORS, MAX_HARMONIC, MAX_MADE
from meantide.pitch.interval import OCTAVE, UNISON, Interval
from meantide.pitch.interval_text import ALLOWED as INTERVAL_ALLOWED
from meantide.pitch.layout import MAX_KEY, LinearLayout
from meantide.pitch.note_name import ALLOWED as NOTE_ALLOWED
from meantide.pitch.note_name import NoteName
from meantide.pitch.scale import MAX_DEGREE, MAX_SIZE, Scale
from meantide.reading import Fields, Value

FORMS = (
    "equal",
    "degrees",
    "chain",
    "fifths",
    "harmonics",
    "subharmonics",
    "choose",
    "products",
)
"""How a scale may be given; one of them in each file."""
KINDS = ("linear",)  # of layout
FindScale = Callable[[Value], Scale]

_LABELS = ("name", "source", "about")


class _Labels(TypedDict):
    """What a definition says about itself."""

    name: str
    source: str
    about: str


def read_scale(value: Value, name: str = "", find: FindScale | None = None) -> Scale:
    """Return the scale a mapping describes; `name` is its name if it gives none.

    `find` returns the scale that `choose` refers to. Raises InvalidValue with the place and field
    of what is wrong.
    """
    fields = value.fields(*_LABELS, "period", "fifth", "names", *FORMS)
    labels = _labels(fields, name)
    form = fields.only_one_of(*FORMS)
    fifth = fields.integer("fifth", 1, MAX_SIZE) if "fifth" in fields else None
    names = _spellings(fields) if "names" in fields else None
    period = read_interval(fields["period"]) if "period" in fields else OCTAVE
    with fields.placing():
        if period <= UNISON:
            raise InvalidValue("period", str(period), "an interval above 1/1")
        if form == "equal":
            parts = fields.integer("equal", 1, MAX_SIZE)
            return Scale.equal(parts, period, fifth=fifth, names=names, **labels)
        if form == "choose":
            return _read_choice(fields, find, fifth, names, labels)
        if form == "fifths":
            given, steps = _read_fifths(fields, period)
            if fifth is not None or names is not None:
                key = "names" if fifth is None else "fifth"
                raise fields[key].error("neither names nor fifth: `fifths.from` names the notes")
            names = given
        elif form == "degrees":
            steps = [read_interval(step) for step in fields.items("degrees", MAX_SIZE - 1)]
        else:
            steps = _MADE[form](fields, period)
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


def _read_chain(fields: Fields, period: Interval) -> list[Interval]:
    inner = fields.fields("chain", "by", "up", "down")
    up = inner.integer("up", 0, MAX_MADE, default=0)
    return forms.chain(
        read_interval(inner["by"]), up, inner.integer("down", 0, MAX_MADE, default=0), period
    )


def _read_fifths(fields: Fields, period: Interval) -> tuple[Sequence[str], list[Interval]]:
    inner = fields.fields("fifths", "from", "each")
    each = [read_interval(fifth) for fifth in inner.items("each", 12)]
    return forms.twelve_fifths(inner.text("from"), each, period)


def _read_harmonics(fields: Fields, period: Interval) -> list[Interval]:
    return forms.harmonics(*_read_segment(fields, "harmonics"), period)


def _read_subharmonics(fields: Fields, period: Interval) -> list[Interval]:
    return forms.subharmonics(*_read_segment(fields, "subharmonics"), period)


def _read_segment(fields: Fields, form: str) -> tuple[int, int]:
    inner = fields.fields(form, "from", "to")
    return inner.integer("from", 1, MAX_HARMONIC), inner.integer("to", 1, MAX_HARMONIC)


def _read_products(fields: Fields, period: Interval) -> list[Interval]:
    inner = fields.fields("products", "of", "take")
    numbers = [number.integer(1, MAX_HARMONIC) for number in inner.items("of", MAX_FACTORS)]
    return forms.products(numbers, inner.integer("take", 1, MAX_FACTORS), period)


_MADE: Mapping[str, Callable[[Fields, Interval], list[Interval]]] = {
    "chain": _read_chain,
    "harmonics": _read_harmonics,
    "subharmonics": _read_subharmonics,
    "products": _read_products,
}
"""The forms that are made by a rule from what they say alone."""


def _read_choice(
    fields: Fields,
    find: FindScale | None,
    fifth: int | None,
    names: Sequence[str] | None,
    labels: _Labels,
) -> Scale:
    """Return chosen degrees of another scale, with its period, and its names unless told others."""
    inner = fields.fields("choose", "of", "degrees")
    if "period" in fields:
        raise fields["period"].error("no period: a mode has that of the scale it is chosen from")
    if find is None:
        raise inner["of"].error("a scale written out: no catalogue is at hand here")
    other = find(inner["of"])
    degrees = [
        degree.integer(-MAX_DEGREE, MAX_DEGREE) for degree in inner.items("degrees", MAX_SIZE)
    ]
    with fields.placing():
        theirs, steps = forms.mode(other, degrees)
        if names is None and fifth is None:
            names = theirs
        return Scale.from_degrees(steps, other.period, fifth=fifth, names=names, **labels)


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
