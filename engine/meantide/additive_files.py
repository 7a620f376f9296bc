"""Additive voices as mappings: read from YAML or a journal, and written back."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import partial
from typing import Any

from meantide.envelope_files import envelope_to_mapping, read_envelope
from meantide.number_files import number_in, number_names, numbers_in, numbers_of, read_numbers
from meantide.pitch_files import LABELS, labels_of
from meantide.purpose_files import PURPOSE, purpose_in, purpose_of, voice_number_names
from meantide.reading import Value
from meantide.touch_files import read_response, response_to_mapping
from meantide.voice.description import (
    MOST_FORMANTS,
    MOST_PARTIALS,
    AdditiveVoice,
    Breath,
    Drift,
    Formant,
    Law,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.touch import Vibrato

_USUAL = AdditiveVoice("", (Partial(1.0),))


def read_additive(value: Value, name: str = "") -> AdditiveVoice:
    """Return the additive voice that a mapping describes; `name` is its name if it gives none.

    `partials` is a list of {ratio, level_db, decay_s, attack_s}, or a series {count, odd_only,
    decay_s, attack_s}. Raises InvalidValue naming the place of what is wrong.
    """
    names = voice_number_names(number_names(AdditiveVoice))
    said = value.fields(*LABELS, *PURPOSE, "kind", "partials", *names, *_PARTS)
    purpose = purpose_in(said)
    partials = _read_partials(said["partials"])
    parts = {key: read(said[key]) for key, (read, _) in _PARTS.items() if key in said}
    with said.placing():
        return AdditiveVoice(
            partials=partials,
            **labels_of(said, name),
            **purpose,
            **numbers_in(said, AdditiveVoice),
            **parts,
        )


def additive_to_mapping(voice: AdditiveVoice) -> dict[str, Any]:
    """Return what is not as usual of `voice`; `read_additive` reads it back to an equal one."""
    mapping: dict[str, Any] = {key: text for key in LABELS if (text := getattr(voice, key))}
    mapping |= {"kind": "additive", "partials": _write_partials(voice.partials)}
    mapping |= purpose_of(voice, numbers_of(voice))
    for key, (_, write) in _PARTS.items():
        part = getattr(voice, key)
        if part != getattr(_USUAL, key):
            mapping[key] = write(part)
    return mapping


@dataclass(frozen=True, slots=True)
class _Series:
    """The first `count` harmonics, or odd harmonics, all of one level."""

    count: int
    odd_only: bool = False
    decay_s: float | None = None
    attack_s: float | None = None

    def partials(self) -> tuple[Partial, ...]:
        step = 2 if self.odd_only else 1
        return tuple(
            Partial(1.0 + step * place, decay_s=self.decay_s, attack_s=self.attack_s)
            for place in range(self.count)
        )


def _read_partials(value: Value) -> tuple[Partial, ...]:
    if isinstance(value.data, tuple):
        return tuple(read_numbers(item, Partial) for item in value.items(MOST_PARTIALS))
    said = value.fields(*(field.name for field in fields(_Series)))
    said.integer("count", 1, MOST_PARTIALS)
    odd_only = said.flag("odd_only", default=False)
    with said.placing():
        return _Series(odd_only=odd_only, **numbers_in(said, _Series)).partials()


def _write_partials(partials: tuple[Partial, ...]) -> Any:
    """Return partials as a series if they are one, else as a list."""
    first = partials[0]
    for odd_only in (False, True):
        series = _Series(len(partials), odd_only, first.decay_s, first.attack_s)
        if series.partials() == partials:
            return numbers_of(series) | ({"odd_only": True} if odd_only else {})
    return [numbers_of(each) for each in partials]


def _read_second(value: Value) -> SecondTable:
    said = value.fields("levels_db", *number_names(SecondTable))
    levels = said.items("levels_db", MOST_PARTIALS) if "levels_db" in said else ()
    with said.placing():
        return SecondTable(tuple(map(number_in, levels)), **numbers_in(said, SecondTable))


def _write_second(second: SecondTable) -> dict[str, Any]:
    levels = {"levels_db": list(second.levels_db)} if second.levels_db else {}
    return levels | numbers_of(second)


def _read_formants(value: Value) -> tuple[Formant, ...]:
    return tuple(read_numbers(item, Formant) for item in value.items(MOST_FORMANTS))


def _write_formants(formants: tuple[Formant, ...]) -> list[dict[str, Any]]:
    return [numbers_of(formant) for formant in formants]


_PARTS: Mapping[str, tuple[Callable[[Value], Any], Callable[[Any], Any]]] = {
    "decay": (partial(read_numbers, kind=Law), numbers_of),
    "attack": (partial(read_numbers, kind=Law), numbers_of),
    "second": (_read_second, _write_second),
    "formants": (_read_formants, _write_formants),
    "drift": (partial(read_numbers, kind=Drift), numbers_of),
    "unison": (partial(read_numbers, kind=Unison), numbers_of),
    "breath": (partial(read_numbers, kind=Breath), numbers_of),
    "vibrato": (partial(read_numbers, kind=Vibrato), numbers_of),
    "response": (read_response, response_to_mapping),
    "envelope": (read_envelope, envelope_to_mapping),
}
"""The parts of a voice beside its partials and numbers: how each is read, and written."""
