"""OSC 1.0 packets: bytes to values and values to bytes; nothing here touches a socket.

The network is hostile, so reading is our own: one walk by index over the packet, every size checked
before it is used, nothing copied but the arguments, nesting bounded. `decode` returns or raises
`WireError`, whatever the bytes. Writing is for our own replies and uses python-osc.

Sentences in quotation marks are from the OSC 1.0 specification (M. Wright, 26 March 2002).
"""

import math
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from pythonosc.osc_message_builder import BuildError, OscMessageBuilder

from meantide.errors import InvalidValue, MeantideError

Argument: TypeAlias = int | float | str | bytes | bool | None

MIN_PACKET_BYTES = 4
"""The shortest message is an address of up to three characters and its zero."""

MAX_PACKET_BYTES = 65_535
"""The most the length field of an IP packet can state: nothing longer can be one datagram."""

MAX_DEPTH = 8
"""Bundles within bundles. One or two are met in practice; the bound keeps the recursion shallow."""

_BUNDLE = b"#bundle\0"
_BUNDLE_HEAD_BYTES = len(_BUNDLE) + 8
_IMMEDIATELY = 1  # "63 zero bits followed by a one in the least significant bit"

# "printable ASCII characters" but for space # * , / ? [ ] { }; here "/" parts the names.
_PLAIN_ADDRESS = re.compile(rb"/[^\x00-\x20#*,?\[\]{}\x7f-\xff]*")
_PATTERN_ADDRESS = re.compile(rb"/[!-~]*[*?\[\]{}][!-~]*")
_ADDRESS_RULE = '"/" and printable ASCII without space # * , ? [ ] { }'

_INT32 = struct.Struct(">i")
_INT64 = struct.Struct(">q")
_UINT64 = struct.Struct(">Q")
_FLOAT32 = struct.Struct(">f")
_FLOAT64 = struct.Struct(">d")
_FLOAT32_MAX = float.fromhex("0x1.fffffep127")


class WireError(MeantideError):
    """A packet, or one message of it, that is refused.

    `reason` says what is wrong, `offset` is the byte of the packet where it was seen, and `address`
    is the message's address, or "" where it is not known.
    """

    def __init__(self, reason: str, offset: int, address: str = "") -> None:
        self.reason = reason
        self.offset = offset
        self.address = address
        super().__init__(reason, offset, address)

    def __str__(self) -> str:
        return f"{_clip(self.address) or 'packet'}: {self.reason} (byte {self.offset})"


class UnsupportedMessageError(WireError):
    """A well-framed message that asks for what is not spoken here; its neighbours stand."""


@dataclass(frozen=True, slots=True)
class Message:
    """One OSC message: its address, its arguments, and the timetag of the bundle it came in.

    `timetag` is NTP, 64 bits: seconds since 1900 in the upper 32, their fraction in the lower. None
    means at once. Numbers are finite; strings may hold any character but zero, so whoever shows one
    must guard the terminal. An argument tagged `t` is an int like that of `h`.
    """

    address: str
    arguments: tuple[Argument, ...] = ()
    timetag: int | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """The messages of one bundle, to be applied together, or a message that came alone.

    "OSC Messages in the same OSC Bundle are atomic"; that does not reach into bundles inside it,
    which are groups of their own. `timetag_ntp` is that of each of the messages. `discarded` tells
    of the messages left out because they ask for what is not spoken here.
    """

    timetag_ntp: int | None
    messages: tuple[Message, ...]
    discarded: tuple[UnsupportedMessageError, ...] = ()


def decode(packet: bytes) -> tuple[Group, ...]:
    """Read one datagram into its groups: an outer bundle before those inside it, else as they came.

    A message with a type tag or an address pattern we do not know is discarded: alone, it is
    raised; in a bundle, it is listed in `Group.discarded` ("an application should discard any
    message whose OSC Type Tag String contains any unrecognized OSC Type Tags"). All other faults
    refuse the packet whole. Raises `WireError`, and nothing else.
    """
    size = len(packet)
    if not MIN_PACKET_BYTES <= size <= MAX_PACKET_BYTES:
        allowed = f"{MIN_PACKET_BYTES} to {MAX_PACKET_BYTES}"
        raise WireError(f"a packet has {allowed} bytes, this one {size}", 0)
    if size % 4:
        raise WireError(f"a packet's size is a multiple of 4, this one's is {size}", 0)
    if packet[0] == _BUNDLE[0]:
        return tuple(_bundle(packet, 0, size, 0, 1))
    return (Group(None, (_message(packet, 0, size, None),)),)


def encode(address: str, *arguments: Argument) -> bytes:
    """Write one message: int as `i` or, past 32 bits, `h`; float as `f` or, past its range, `d`.

    Raises `InvalidValue` for an address that is a pattern or not ASCII, a number that is not finite
    or does not fit 64 bits, text with a zero in it, an empty blob, a message past one datagram.
    """
    if not _PLAIN_ADDRESS.fullmatch(address.encode("ascii", "replace")):
        raise InvalidValue("OSC address", address, _ADDRESS_RULE)
    builder = OscMessageBuilder(address)
    for argument in arguments:
        builder.add_arg(argument, _tag(argument, address))
    try:
        packet = builder.build().dgram
    except BuildError as error:
        raise InvalidValue(
            "OSC message", str(error), "what python-osc can build", address
        ) from None
    if len(packet) > MAX_PACKET_BYTES:
        raise InvalidValue("OSC message size", len(packet), f"{MAX_PACKET_BYTES} bytes", address)
    return packet


def _tag(argument: Argument, address: str) -> str:
    """Choose the type tag of an argument, or refuse it."""
    if argument is None or isinstance(argument, bool):
        return {None: "N", True: "T", False: "F"}[argument]
    if isinstance(argument, int) and -(2**63) <= argument < 2**63:
        return "i" if -(2**31) <= argument < 2**31 else "h"
    if isinstance(argument, float) and math.isfinite(argument):
        return "f" if abs(argument) <= _FLOAT32_MAX else "d"
    if isinstance(argument, str) and "\0" not in argument:
        return "s"
    if isinstance(argument, bytes) and argument:
        return "b"
    allowed = "an int of 64 bits, a finite float, text without zeros, bytes, a bool or None"
    raise InvalidValue("OSC argument", argument, allowed, address)


def _bundle(packet: bytes, start: int, end: int, not_before: int, depth: int) -> list[Group]:
    """Read the bundle in packet[start:end]: its own group, then those of the bundles inside."""
    if depth > MAX_DEPTH:
        raise WireError(f"bundles are nested more than {MAX_DEPTH} deep", start)
    if not packet.startswith(_BUNDLE, start, end):
        raise WireError('what begins with "#" is a bundle and begins with "#bundle"', start)
    if end - start < _BUNDLE_HEAD_BYTES:
        raise WireError(f"a bundle has {_BUNDLE_HEAD_BYTES} bytes or more", start)
    (ntp,) = _UINT64.unpack_from(packet, start + len(_BUNDLE))
    if ntp < not_before:
        raise WireError(
            f"the timetag {ntp:016x} is before {not_before:016x}, that of the bundle around it",
            start + len(_BUNDLE),
        )
    timetag = None if ntp == _IMMEDIATELY else ntp
    messages: list[Message] = []
    discarded: list[UnsupportedMessageError] = []
    inner: list[Group] = []
    position = start + _BUNDLE_HEAD_BYTES
    while position < end:  # both are multiples of 4, so four bytes are there to read
        (size,) = _INT32.unpack_from(packet, position)
        element = position + 4
        if size <= 0 or size % 4 or size > end - element:
            allowed = f"a multiple of 4 from 4 to {end - element}"
            raise WireError(f"the bundle element's size is {size}, not {allowed}", position)
        position = element + size
        if packet[element] == _BUNDLE[0]:
            inner += _bundle(packet, element, position, ntp, depth + 1)
            continue
        try:
            messages.append(_message(packet, element, position, timetag))
        except UnsupportedMessageError as error:
            discarded.append(error)
    if messages or discarded:
        inner.insert(0, Group(timetag, tuple(messages), tuple(discarded)))
    return inner


def _message(packet: bytes, start: int, end: int, timetag: int | None) -> Message:
    """Read the message that fills packet[start:end]."""
    cursor = _Cursor(packet, start, end)
    cursor.address = address = _address(cursor.string("the address"), start)
    if cursor.position == end:  # "be robust in the case of a missing OSC Type Tag String"
        return Message(address, (), timetag)
    tags_at = cursor.position
    tags = cursor.string("the type tags").decode("latin-1")
    if not tags.startswith(","):
        raise cursor.error('the type tags begin with ","', tags_at)
    for index, tag in enumerate(tags[1:], tags_at + 1):
        if tag not in _READERS:
            reason = f"the type tag {tag!a} is not known; known are {' '.join(_READERS)}"
            raise UnsupportedMessageError(reason, index, address)
    arguments = tuple([_READERS[tag](cursor) for tag in tags[1:]])
    if cursor.position != end:
        raise cursor.error(f"{end - cursor.position} bytes stand after the last argument")
    return Message(address, arguments, timetag)


def _address(raw: bytes, offset: int) -> str:
    """Return the address as text, if it is one that can be looked up."""
    if _PLAIN_ADDRESS.fullmatch(raw):
        return raw.decode("ascii")
    shown = _clip(raw.decode("ascii", "backslashreplace"))
    if _PATTERN_ADDRESS.fullmatch(raw):
        reason = "address patterns (* ? [ ] { }) are not understood; write the address in full"
        raise UnsupportedMessageError(reason, offset, shown)
    raise WireError(f"an address is {_ADDRESS_RULE}, not {shown!a}", offset)


def _clip(text: str) -> str:
    return text if len(text) <= 80 else text[:77] + "..."


class _Cursor:
    """A place in one message; each read is checked against the message's end, then moves on.

    The message begins and ends on a multiple of 4 of the packet, so do all its parts.
    """

    __slots__ = ("address", "end", "packet", "position")

    def __init__(self, packet: bytes, position: int, end: int) -> None:
        self.packet = packet
        self.position = position
        self.end = end
        self.address = ""

    def error(self, reason: str, offset: int | None = None) -> WireError:
        """Make the error that belongs to this message, seen here unless `offset` says where."""
        return WireError(reason, self.position if offset is None else offset, self.address)

    def take(self, size: int, what: str) -> int:
        """Move over `size` bytes and return where they begin."""
        start = self.position
        if size > self.end - start:
            raise self.error(f"{what} needs {size} bytes, {self.end - start} are left")
        self.position = start + size
        return start

    def string(self, what: str) -> bytes:
        """Read an OSC string: characters that are not zero, a zero, and zeros up to 4."""
        start = self.position
        stop = self.packet.find(b"\0", start, self.end)
        if stop < 0:
            raise self.error(f"{what} has no zero to end it")
        self.position = stop
        self.zeros(4 - stop % 4, what)
        return self.packet[start:stop]

    def zeros(self, count: int, what: str) -> None:
        """Move over `count` bytes of padding, zeros all."""
        start = self.take(count, what)
        if any(self.packet[start : start + count]):
            raise self.error(f"{what} is padded with {self.packet[start : start + count]!r}", start)


def _text(cursor: _Cursor) -> str:
    """Read a string. The standard has ASCII; its superset UTF-8 is what senders write."""
    start = cursor.position
    raw = cursor.string("a string")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        reason = f"a string is ASCII or UTF-8, not {raw[error.start : error.end]!r}"
        raise cursor.error(reason, start + error.start) from None


def _blob(cursor: _Cursor) -> bytes:
    size_at = cursor.take(4, "a blob's size")
    (size,) = _INT32.unpack_from(cursor.packet, size_at)
    if size < 0:
        raise cursor.error(f"a blob's size is {size}", size_at)
    start = cursor.take(size, "a blob")
    cursor.zeros(-size % 4, "a blob")
    return cursor.packet[start : start + size]


def _integer(layout: struct.Struct, what: str) -> Callable[[_Cursor], int]:
    def read(cursor: _Cursor) -> int:
        value: int = layout.unpack_from(cursor.packet, cursor.take(layout.size, what))[0]
        return value

    return read


def _real(layout: struct.Struct, what: str) -> Callable[[_Cursor], float]:
    def read(cursor: _Cursor) -> float:
        start = cursor.take(layout.size, what)
        value: float = layout.unpack_from(cursor.packet, start)[0]
        if not math.isfinite(value):
            raise cursor.error(f"{what} is {value}, not a finite number", start)
        return value

    return read


_READERS: dict[str, Callable[[_Cursor], Argument]] = {
    "i": _integer(_INT32, "a 32-bit integer"),
    "f": _real(_FLOAT32, "a 32-bit float"),
    "s": _text,
    "b": _blob,
    "T": lambda _: True,
    "F": lambda _: False,
    "N": lambda _: None,
    "d": _real(_FLOAT64, "a 64-bit float"),
    "h": _integer(_INT64, "a 64-bit integer"),
    "t": _integer(_UINT64, "a timetag"),
}
