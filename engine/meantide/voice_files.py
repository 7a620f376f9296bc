"""Voices of either kind as mappings: read from YAML or a journal, and written back."""

from typing import Any

from meantide.additive_files import additive_to_mapping, read_additive
from meantide.errors import InvalidValue
from meantide.fm_files import fm_to_mapping, read_fm
from meantide.reading import Value, child_field
from meantide.voice.description import AdditiveVoice
from meantide.voice.fm_description import FmVoice

KINDS = ("additive", "fm")


def read_voice(value: Value, name: str = "") -> AdditiveVoice | FmVoice:
    """Return the voice that a mapping describes; `name` serves where it gives none itself.

    Its `kind` says which other fields there may be. Raises InvalidValue naming the place of what
    is wrong.
    """
    said = dict(value.entries())
    if "kind" not in said:
        field = child_field(value.field, "kind")
        raise InvalidValue(field, "nothing", "one of " + ", ".join(KINDS), value.where)
    kind = said["kind"].choice(KINDS)
    return read_additive(value, name) if kind == "additive" else read_fm(value, name)


def voice_to_mapping(voice: AdditiveVoice | FmVoice) -> dict[str, Any]:
    """Return `voice` as a mapping that `read_voice` reads back to an equal one."""
    return additive_to_mapping(voice) if isinstance(voice, AdditiveVoice) else fm_to_mapping(voice)
