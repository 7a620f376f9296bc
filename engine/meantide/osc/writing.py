"""OSC 1.0 packets, values to bytes; python-osc writes the single values."""

import math
import struct
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from pythonosc.parsing import osc_types

from meantide.errors import InvalidValue
from meantide.osc.reading import (
    ADDRESS_RULE,
    BUNDLE,
    IMMEDIATELY,
    MAX_DEPTH,
    MAX_PACKET_BYTES,
    PLAIN_ADDRESS,
    UINT64,
)
from meantide.osc.values import (
    Argument,
    Character,
    Colour,
    Infinitum,
    MidiMessage,
    Symbol,
    Timetag,
    clip,
)

_FLOAT32_MAX = float.fromhex("0x1.fffffep127")
_ALLOWED = "an int of 64 bits, a finite float, text without zeros, bytes, a bool, None, a list"


def encode(address: str, *arguments: Argument, pattern: bool = False) -> bytes:
    """Write one message: int as `i` or, past 32 bits, `h`; float as `f` or, past its range, `d`.

    Raises `InvalidValue` for an address that is not ASCII (or is a pattern, unless `pattern`), a
    number that is not finite or does not fit 64 bits, text with a zero in it, a message past one
    datagram.
    """
    raw = address.encode("ascii", "replace")
    if not PLAIN_ADDRESS.fullmatch(raw) and not (pattern and _may_be_pattern(address)):
        raise InvalidValue("OSC address", address, ADDRESS_RULE)
    tags, body = [","], []
    for tag, data in _written(arguments, address, 0):
        tags.append(tag)
        body.append(data)
    written = osc_types.write_string("".join(tags))
    packet = b"".join((osc_types.write_string(address), written, *body))
    return _checked(packet, address)


def encode_bundle(timetag: int | None, *elements: bytes) -> bytes:
    """Put packets into a bundle, to act at `timetag` (NTP, 64 bits; None: at once).

    Raises `InvalidValue` for one that does not fit a datagram, or a time out of its range.
    """
    ntp = IMMEDIATELY if timetag is None else timetag
    if not 0 <= ntp < 2**64:
        raise InvalidValue("OSC timetag", ntp, "a time from 1900 to 2036")
    parts = [BUNDLE, UINT64.pack(ntp)]
    for element in elements:
        parts += [osc_types.write_int(len(element)), element]
    return _checked(b"".join(parts), "#bundle")


def encode_typed(address: str, tags: str, arguments: tuple[Argument, ...]) -> bytes:
    """Write one message whose type tags are given, without arrays, as `encode` does the rest.

    The arguments of T F N I are not looked at, but stand in their places.
    """
    if len(tags) != len(arguments):
        raise InvalidValue("types", tags, f"one letter for each of {len(arguments)} arguments")
    raw = address.encode("ascii", "replace")
    if not PLAIN_ADDRESS.fullmatch(raw) and not _may_be_pattern(address):
        raise InvalidValue("OSC address", address, ADDRESS_RULE)
    body = []
    for tag, argument in zip(tags, arguments, strict=True):
        if tag not in _WRITERS:
            raise InvalidValue("type", tag, f"one of {' '.join(_WRITERS)}", address)
        body.append(_write(tag, argument, address))
    written = osc_types.write_string("," + tags)
    return _checked(b"".join((osc_types.write_string(address), written, *body)), address)


def _may_be_pattern(address: str) -> bool:
    return address.startswith("/") and all("!" <= letter <= "~" for letter in address)


def _checked(packet: bytes, address: str) -> bytes:
    if len(packet) > MAX_PACKET_BYTES:
        raise InvalidValue("OSC message size", len(packet), f"{MAX_PACKET_BYTES} bytes", address)
    return packet


def _written(
    arguments: tuple[Argument, ...] | list[Argument], address: str, depth: int
) -> Iterator[tuple[str, bytes]]:
    """Yield each tag and its bytes."""
    for argument in arguments:
        if isinstance(argument, tuple | list):
            if depth == MAX_DEPTH:
                raise InvalidValue(
                    "OSC argument", argument, f"lists up to {MAX_DEPTH} deep", address
                )
            yield "[", b""
            yield from _written(argument, address, depth + 1)
            yield "]", b""
        else:
            tag = tag_of(argument, address)
            yield tag, _write(tag, argument, address)


def tag_of(argument: Argument, address: str = "") -> str:
    """Return the type tag of an argument that is no list; raises InvalidValue."""
    tag = _TAGS.get(type(argument))
    if tag is not None:
        return tag
    if isinstance(argument, bool):
        return "T" if argument else "F"
    if isinstance(argument, int) and -(2**63) <= argument < 2**63:
        return "i" if -(2**31) <= argument < 2**31 else "h"
    if isinstance(argument, float) and math.isfinite(argument):
        return "f" if abs(argument) <= _FLOAT32_MAX else "d"
    raise InvalidValue("OSC argument", argument, _ALLOWED, address)


def _write(tag: str, argument: Any, address: str) -> bytes:
    try:
        return _WRITERS[tag](argument)
    except (osc_types.BuildError, struct.error, ValueError, TypeError, OverflowError):
        allowed = f"what the type {tag} can hold" if tag in "ifhdtcrm" else _ALLOWED
        raise InvalidValue("OSC argument", _shown(argument), allowed, address) from None


def _shown(argument: Any) -> Any:
    return clip(argument) if isinstance(argument, str) else argument


def _string(text: str) -> bytes:
    if "\0" in text:
        raise ValueError(text)
    return osc_types.write_string(text)


def _blob(data: bytes) -> bytes:
    return osc_types.write_blob(data) if data else bytes(4)  # python-osc writes no empty ones


def _finite(write: Callable[[float], bytes]) -> Callable[[float], bytes]:
    def written(value: float) -> bytes:
        if not math.isfinite(value):
            raise ValueError(value)
        return write(value)

    return written


_TAGS: Mapping[type, str] = {
    str: "s", bytes: "b", type(None): "N", Symbol: "S", Character: "c", Colour: "r",
    MidiMessage: "m", Timetag: "t", Infinitum: "I",
}  # fmt: skip

_WRITERS: Mapping[str, Callable[[Any], bytes]] = {
    "i": osc_types.write_int,
    "f": _finite(osc_types.write_float),
    "s": _string,
    "b": _blob,
    "T": lambda _: b"",
    "F": lambda _: b"",
    "N": lambda _: b"",
    "I": lambda _: b"",
    "d": _finite(osc_types.write_double),
    "h": osc_types.write_int64,
    "t": lambda tag: UINT64.pack(tag.ntp),
    "c": lambda character: osc_types.write_int(character.text.encode("ascii")[0]),
    "r": lambda colour: bytes((colour.red, colour.green, colour.blue, colour.alpha)),
    "m": lambda midi: bytes((midi.port, midi.status, midi.data_1, midi.data_2)),
    "S": _string,
}
