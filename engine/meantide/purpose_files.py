"""What a voice is for, as fields of its mapping: read from files, and written back.

`range` is [lowest, highest], each in Hz or a note name, which stands here for twelve equal parts
of the octave and A4 at 440 Hz: a range is a guide, and no tuning.
"""

from collections.abc import Iterable, Mapping
from typing import Any, TypedDict

from meantide.number_files import number_in
from meantide.pitch import NoteName
from meantide.pitch.note_name import ALLOWED as NOTE_ALLOWED
from meantide.reading import Fields, Value
from meantide.voice.description import AdditiveVoice
from meantide.voice.fm_description import FmVoice
from meantide.voice.purpose import FAMILIES, HIGHEST_HZ, LOWEST_HZ, MOST_TRIMS

PURPOSE = ("family", "range", "trims_db")
"""The fields that tell it."""
_ENDS = ("lowest_hz", "highest_hz")
END_ALLOWED = f"a number from {LOWEST_HZ:g} to {HIGHEST_HZ:g} (Hz), or {NOTE_ALLOWED}"
_A4_HZ, _A4_SEMITONES = 440.0, 57


class Purpose(TypedDict, total=False):
    """What a file says of it, for the voice's constructor to check."""

    family: str
    lowest_hz: float
    highest_hz: float
    trims_db: tuple[float, ...]


def purpose_in(said: Fields) -> Purpose:
    """Return what is said of a voice's purpose; what is left out is as usual.

    Raises InvalidValue naming the place of what is wrong.
    """
    found: Purpose = {}
    if "family" in said:
        found["family"] = said.choice("family", FAMILIES)
    if "range" in said:
        ends = said["range"]
        if not isinstance(ends.data, tuple) or len(ends.data) != 2:
            raise ends.error("[lowest, highest], each in Hz or a note name")
        lowest, highest = (end_hz(end) for end in ends.data)
        if lowest > highest:
            raise ends.data[1].error("a note no lower than the lowest")
        found["lowest_hz"], found["highest_hz"] = lowest, highest
    if "trims_db" in said:
        found["trims_db"] = tuple(number_in(item) for item in said.items("trims_db", MOST_TRIMS))
    return found


def end_hz(end: Value) -> float:
    """Return the frequency of one end of a range."""
    hz: Any = number_in(end)
    if isinstance(end.data, str):
        with end.placing():
            hz = note_hz(end.data)
    if isinstance(hz, bool) or not isinstance(hz, float) or not LOWEST_HZ <= hz <= HIGHEST_HZ:
        raise end.error(END_ALLOWED)
    return hz


def note_hz(name: str) -> float:
    """Return where a note lies in twelve equal parts with A4 at 440 Hz; InvalidValue if none."""
    return float(_A4_HZ * 2.0 ** ((NoteName.parse(name).semitones - _A4_SEMITONES) / 12.0))


def voice_number_names(names: Iterable[str]) -> tuple[str, ...]:
    """Return the names of a voice's numbers that a file has as such."""
    return tuple(name for name in names if name not in _ENDS)


def purpose_of(voice: AdditiveVoice | FmVoice, numbers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the `numbers` of a voice that are not as usual, and its purpose, as a file has them.

    `purpose_in` reads it back to an equal one.
    """
    mapping = {name: number for name, number in numbers.items() if name not in _ENDS}
    if voice.family:
        mapping["family"] = voice.family
    if len(mapping) < len(numbers) + bool(voice.family):
        mapping["range"] = [voice.lowest_hz, voice.highest_hz]
    if voice.trims_db:
        mapping["trims_db"] = list(voice.trims_db)
    return mapping
