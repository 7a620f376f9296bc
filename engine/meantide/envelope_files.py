"""Envelopes as mappings: read from YAML or a journal, and written back."""

from dataclasses import fields
from typing import Any

from meantide.reading import Value
from meantide.voice.envelope import CURVES, Curve, Envelope

NUMBERS = ("delay_s", "attack_s", "hold_s", "decay_s", "sustain_db", "release_s")


def read_envelope(value: Value) -> Envelope:
    """Return the envelope that a mapping describes; what it leaves out is as usual.

    Raises InvalidValue naming the place of what is wrong.
    """
    said = value.fields(*NUMBERS, *CURVES, "repeats")
    found: dict[str, Any] = {key: said[key].number(-1e9, 1e9) for key in NUMBERS if key in said}
    found |= {key: Curve(said.choice(key, CURVES[key])) for key in CURVES if key in said}
    with said.placing():
        return Envelope(**found, repeats=said.flag("repeats", Envelope().repeats))


def envelope_to_mapping(envelope: Envelope) -> dict[str, Any]:
    """Return what is not as usual of `envelope`; `read_envelope` reads it back to an equal one."""
    said = {field.name: getattr(envelope, field.name) for field in fields(envelope)}
    usual = Envelope()
    return {
        name: str(value) if isinstance(value, Curve) else value
        for name, value in said.items()
        if value != getattr(usual, name)
    }
