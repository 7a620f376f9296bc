"""The arguments of messages, each read and checked by itself."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from meantide.errors import InvalidValue
from meantide.osc.values import Argument
from meantide.perform.event import Held, Pitch, PitchKind
from meantide.pitch import NoteName

LARGEST_ID = 2**53
LONGEST_S = 60.0

Reader = Callable[[Argument], Any]


@dataclass(frozen=True, slots=True)
class Slot:
    """One argument: its name, how it is read, and whether it may be left out."""

    name: str
    read: Reader
    optional: bool = False


def number(low: float, high: float) -> Reader:
    """Return what reads a number from `low` to `high`; each reader raises InvalidValue."""

    def read(argument: Argument) -> float:
        if (
            isinstance(argument, bool)
            or not isinstance(argument, int | float)
            or not low <= argument <= high
        ):
            raise InvalidValue("number", argument, f"a number from {low:g} to {high:g}")
        return float(argument)

    return read


def whole(low: int, high: int) -> Reader:
    """Return what reads a whole number; 60.0 is one too: some senders have only floats."""

    def read(argument: Argument) -> int:
        allowed = f"a whole number from {low} to {high}"
        given: float = number(low, high)(argument)
        if given != int(given):
            raise InvalidValue("number", argument, allowed)
        return int(argument) if isinstance(argument, int) else int(given)

    return read


def text(argument: Argument) -> str:
    """Read a text that can be printed, of one character at least."""
    if not isinstance(argument, str) or not argument.isprintable() or not argument:
        raise InvalidValue("text", argument, "text")
    return argument


def preset_name(argument: Argument) -> str:
    """Read a catalogue name: never a path, since messages come over a network."""
    name = text(argument)
    if "/" in name or "\\" in name or "=" in name or name.endswith(".yaml"):
        raise InvalidValue("name", name, "the name of a preset (no paths over the network)")
    return name


def pitch(argument: Argument) -> Pitch:
    """Read a note name, or a key."""
    if isinstance(argument, str):
        name = NoteName.parse(argument)
        return Pitch(PitchKind.NAME, float(name.chain), name.octave)
    return Pitch(PitchKind.KEY, float(whole(-1000, 1000)(argument)))


def note_or_id(argument: Argument) -> Pitch:
    """Read an id or a key, both whole numbers, or a note name."""
    if isinstance(argument, str):
        return pitch(argument)
    return Pitch(PitchKind.KEY, float(whole(-1000, LARGEST_ID)(argument)))


def flag(argument: Argument) -> bool:
    """Read 0 or 1."""
    return bool(whole(0, 1)(argument))


def one_of(field: str, *words: str) -> Reader:
    """Return what reads one of a few words."""

    def read(argument: Argument) -> str:
        if argument not in words:
            raise InvalidValue(field, argument, " or ".join((", ".join(words[:-1]), words[-1])))
        return str(argument)

    return read


def held(argument: Argument) -> Held:
    """Read what held notes do when the tuning changes."""
    if argument not in ("follow", "stay"):
        raise InvalidValue("held", argument, "follow or stay")
    return Held.FOLLOW if argument == "follow" else Held.STAY
