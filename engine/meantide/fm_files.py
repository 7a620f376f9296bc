"""FM voices as mappings: read from YAML or a journal, and written back."""

from typing import Any

from meantide.envelope_files import envelope_to_mapping, read_envelope
from meantide.errors import InvalidValue
from meantide.number_files import number_in, number_names, numbers_in, numbers_of, read_numbers
from meantide.pitch import Interval
from meantide.pitch.interval_text import ALLOWED as INTERVAL_ALLOWED
from meantide.pitch_files import LABELS, labels_of
from meantide.purpose_files import PURPOSE, purpose_in, purpose_of, voice_number_names
from meantide.reading import Value
from meantide.touch_files import read_response, response_to_mapping
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import (
    MOST_DEGREES,
    MOST_OPERATORS,
    DegreesUp,
    FmVoice,
    Operator,
    Path,
)
from meantide.voice.touch import Response, Vibrato

MOST_PATHS = MOST_OPERATORS * (MOST_OPERATORS - 1) // 2
"""More cannot be without a circle."""
RATIO_ALLOWED = "a number, an interval such as 3/2 or 7/31 of 2/1, or {degree: 7}"


def read_fm(value: Value, name: str = "") -> FmVoice:
    """Return the FM voice that a mapping describes; `name` is its name if it gives none.

    `operators` is a list of mappings, each with a ratio or its hz; `paths` a list of [from, to,
    index] or {from, to, index}. Raises InvalidValue naming the place of what is wrong.
    """
    names = voice_number_names(number_names(FmVoice))
    parts = ("operators", "paths", "vibrato", "response")
    said = value.fields(*LABELS, *PURPOSE, "kind", *names, *parts)
    purpose = purpose_in(said)
    operators = tuple(_read_operator(item) for item in said.items("operators", MOST_OPERATORS))
    paths = said.items("paths", MOST_PATHS) if "paths" in said else ()
    with said.placing():
        return FmVoice(
            operators=operators,
            paths=tuple(_read_path(item, len(operators)) for item in paths),
            vibrato=read_numbers(said["vibrato"], Vibrato) if "vibrato" in said else Vibrato(),
            response=read_response(said["response"]) if "response" in said else Response(),
            **labels_of(said, name),
            **purpose,
            **numbers_in(said, FmVoice),
        )


def fm_to_mapping(voice: FmVoice) -> dict[str, Any]:
    """Return what is not as usual of `voice`; `read_fm` reads it back to an equal one."""
    mapping: dict[str, Any] = {key: text for key in LABELS if (text := getattr(voice, key))}
    mapping |= {"kind": "fm", "operators": [_write_operator(each) for each in voice.operators]}
    parts = {
        "paths": [[path.source, path.target, path.index] for path in voice.paths],
        "vibrato": numbers_of(voice.vibrato),
        "response": response_to_mapping(voice.response),
    }
    return (
        mapping
        | purpose_of(voice, numbers_of(voice))
        | {key: part for key, part in parts.items() if part}
    )


def _read_operator(value: Value) -> Operator:
    said = value.fields("ratio", *number_names(Operator), "envelope")
    with said.placing():
        return Operator(
            ratio=_read_ratio(said["ratio"]) if "ratio" in said else None,
            envelope=read_envelope(said["envelope"]) if "envelope" in said else Envelope(),
            **numbers_in(said, Operator),
        )


def _write_operator(operator: Operator) -> dict[str, Any]:
    ratio, envelope = operator.ratio, envelope_to_mapping(operator.envelope)
    mapping: dict[str, Any] = {} if ratio is None else {"ratio": _write_ratio(ratio)}
    return mapping | numbers_of(operator) | ({"envelope": envelope} if envelope else {})


def _read_ratio(value: Value) -> float | Interval | DegreesUp:
    data = value.data
    if isinstance(data, str):
        try:
            return Interval.parse(data)
        except InvalidValue as error:
            allowed = RATIO_ALLOWED if error.allowed == INTERVAL_ALLOWED else error.allowed
            raise value.error(allowed) from None
    if isinstance(data, bool) or data is None or isinstance(data, tuple):
        raise value.error(RATIO_ALLOWED)
    if isinstance(data, int | float):
        number: float = number_in(value)
        return number
    return DegreesUp(value.fields("degree").integer("degree", -MOST_DEGREES, MOST_DEGREES))


def _write_ratio(ratio: float | Interval | DegreesUp) -> Any:
    if isinstance(ratio, DegreesUp):
        return {"degree": ratio.degrees}
    return str(ratio) if isinstance(ratio, Interval) else ratio


def _read_path(value: Value, operators: int) -> Path:
    """Return a path between two of so many operators."""
    if isinstance(value.data, tuple):
        if len(value.data) != 3:
            raise value.error("[from, to, index] or {from, to, index}", f"{len(value.data)} items")
        source, target, index = value.data
    else:
        said = value.fields("from", "to", "index")
        source, target, index = (said[key] for key in ("from", "to", "index"))
    named: dict[str | int, Value] = {"source": source, "target": target, "index": index}
    with Value(named, value.where, value.field).placing():
        return Path(source.integer(1, operators), target.integer(1, operators), number_in(index))
