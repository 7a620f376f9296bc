"""Scales read from their YAML mappings, in each of the forms there are, checked field by field.

`to_mapping()` writes a scale back as the degrees it came to, and what is read from that is equal
to it.
"""

from collections.abc import Callable, Mapping, Sequence

from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval, Scale, forms
from meantide.pitch.forms import MAX_FACTORS, MAX_HARMONIC, MAX_MADE
from meantide.pitch.scale import MAX_DEGREE, MAX_SIZE
from meantide.pitch_files import LABELS, Labels, labels_of, read_interval
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
FindScale = Callable[[Value], Scale]
"""Returns the scale that a reference stands for."""


def read_scale(value: Value, name: str = "", find: FindScale | None = None) -> Scale:
    """Return the scale a mapping describes; `name` is its name if it gives none.

    `find` returns the scale that `choose` refers to. Raises InvalidValue with the place and field
    of what is wrong.
    """
    fields = value.fields(*LABELS, "period", "fifth", "names", *FORMS)
    labels = labels_of(fields, name)
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
    labels: Labels,
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


def _spellings(fields: Fields) -> Sequence[str]:
    """Return the listed note names."""
    return [spelling.text() for spelling in fields.items("names", MAX_SIZE)]
