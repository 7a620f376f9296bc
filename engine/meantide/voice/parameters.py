"""The numbers of a voice by name, so that each can be moved while it plays.

A name is the way to a number through the parts of the voice, with dots between: `tilt_db`,
`vibrato.depth_cents`, `response.pressure.level_db`, `formant.1.hz`, `operator.2.level_db`. Where
there are several of a kind they count from 1. What is not there (the formant of a voice without
any, the level of an operator that is not heard) has no name, for a voice keeps its build while it
plays: how many partials, copies, operators and paths it has, and between which. Whole numbers,
names and texts are that build.
"""

import math
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar, get_args

from meantide.errors import InvalidValue, not_found
from meantide.voice.description import AdditiveVoice
from meantide.voice.fm_description import FmVoice

AnyVoice = TypeVar("AnyVoice", bound=AdditiveVoice | FmVoice)

_ONE_OF = {
    "partials": "partial",
    "formants": "formant",
    "levels_db": "levels_db",
    "trims_db": "trim_db",
    "operators": "operator",
    "paths": "path",
}
"""What one of several is called."""
_SEVERAL = {one: several for several, one in _ONE_OF.items()}


def parameters(voice: AdditiveVoice | FmVoice) -> dict[str, float]:
    """Return every number of `voice` that can be set, under its name, in the voice's own order.

    Those of an envelope count for the notes that begin afterwards.
    """
    return dict(_within(voice))


def with_parameter(voice: AnyVoice, name: str, value: float) -> AnyVoice:
    """Return `voice` with one number set.

    Raises NotFound, with the nearest names, if there is no such number, and InvalidValue if that
    one cannot be `value`.
    """
    if name not in parameters(voice):
        raise not_found("parameter", name, parameters(voice))
    number = isinstance(value, int | float) and not isinstance(value, bool)
    try:  # what is no number is refused as NaN is, with the range that the field allows
        changed: AnyVoice = _with(voice, name.split("."), value if number else math.nan)
    except InvalidValue as error:
        raise InvalidValue(name, value, error.allowed) from None
    return changed


def _within(part: Any, prefix: str = "") -> Iterator[tuple[str, float]]:
    """Give the name and value of every number in a dataclass and in what it holds."""
    for field in fields(part):
        name, held = prefix + field.name, getattr(part, field.name)
        if isinstance(held, tuple):
            for place, each in enumerate(held, start=1):
                name = f"{prefix}{_ONE_OF[field.name]}.{place}"
                if is_dataclass(each):
                    yield from _within(each, name + ".")
                else:
                    yield name, float(each)
        elif field.type is float or float in get_args(field.type):
            if isinstance(held, int | float):
                yield name, float(held)
        elif is_dataclass(held):
            yield from _within(held, name + ".")


def _with(part: Any, steps: list[str], value: float) -> Any:
    """Return `part` with `value` where `steps` lead; without any left, that is the value itself."""
    if not steps:
        return value
    step, *rest = steps
    several = _SEVERAL.get(step)
    if several is None:
        return replace(part, **{step: _with(getattr(part, step), rest, value)})
    held, place = getattr(part, several), int(rest[0]) - 1
    changed = _with(held[place], rest[1:], value)
    return replace(part, **{several: (*held[:place], changed, *held[place + 1 :])})
