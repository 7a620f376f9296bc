"""Additive voices as mappings: read from YAML or a journal, and written back."""

from typing import Any

from meantide.envelope_files import envelope_to_mapping, read_envelope
from meantide.reading import Value
from meantide.voice.description import MOST_PARTIALS, AdditiveVoice, Partial

NUMBERS = ("tilt_db", "inharmonicity", "velocity_exponent")
TEXTS = ("name", "about", "source")


def read_voice(value: Value, name: str = "") -> AdditiveVoice:
    """Return the voice that a mapping describes; `name` serves where it gives none itself.

    `partials` is a list of {ratio, level_db, decay_s}, or {count: n} for the first n harmonics.
    Raises InvalidValue naming the place of what is wrong.
    """
    fields = value.fields("kind", *TEXTS, "partials", "envelope", *NUMBERS)
    fields.choice("kind", ("additive",))
    numbers: dict[str, Any] = {
        key: fields[key].number(-1e9, 1e9) for key in NUMBERS if key in fields
    }
    envelope = read_envelope(fields["envelope"])
    partials = _partials_from(fields["partials"])
    about, source = fields.text("about", ""), fields.text("source", "")
    with fields.placing():
        return AdditiveVoice(
            name=fields.text("name", name or None),
            about=about,
            source=source,
            partials=partials,
            envelope=envelope,
            **numbers,
        )


def voice_to_mapping(voice: AdditiveVoice) -> dict[str, Any]:
    """Return `voice` as a mapping that `read_voice` reads back to an equal one."""
    mapping: dict[str, Any] = {key: text for key in TEXTS if (text := getattr(voice, key))}
    mapping["kind"] = "additive"
    mapping["partials"] = [_partial_to_mapping(partial) for partial in voice.partials]
    mapping |= {key: getattr(voice, key) for key in NUMBERS}
    mapping["envelope"] = envelope_to_mapping(voice.envelope)
    return mapping


def _partials_from(value: Value) -> tuple[Partial, ...]:
    if isinstance(value.data, tuple):
        return tuple(_partial_from(item) for item in value.items(MOST_PARTIALS))
    fields = value.fields("count", "decay_s")
    decay_s = fields["decay_s"].number(0.01, 600.0) if "decay_s" in fields else None
    count = fields.integer("count", 1, MOST_PARTIALS)
    return tuple(Partial(float(n), 0.0, decay_s) for n in range(1, count + 1))


def _partial_from(value: Value) -> Partial:
    fields = value.fields("ratio", "level_db", "decay_s")
    decay = fields.get("decay_s")
    with fields.placing():
        return Partial(
            fields["ratio"].number(-1e9, 1e9),
            fields.number("level_db", -1e9, 1e9, 0.0),
            None if decay is None or decay.data is None else decay.number(-1e9, 1e9),
        )


def _partial_to_mapping(partial: Partial) -> dict[str, float]:
    mapping = {"ratio": partial.ratio, "level_db": partial.level_db}
    return mapping if partial.decay_s is None else mapping | {"decay_s": partial.decay_s}
