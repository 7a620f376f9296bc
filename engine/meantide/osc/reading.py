"""OSC 1.0 packets, bytes to values.

The network is hostile, so reading is our own: one walk by index over the packet, every size checked
before it is used, nothing copied but the arguments, nesting bounded. `decode` returns or raises
`WireError`, whatever the bytes.

Sentences in quotation marks are from the OSC 1.0 specification (M. Wright, 26 March 2002).
"""

import math
import re
import struct
from collections.abc import Callable, Mapping

from meantide.osc.values import (
    INFINITUM,
    Argument,
    Character,
    Colour,
    Group,
    Message,
    MidiMessage,
    Symbol,
    Timetag,
    WireError,
    clip,
)

MIN_PACKET_BYTES = 4
"""The shortest message is an address of up to three characters and its zero."""

MAX_PACKET_BYTES = 65_535
"""The most the length field of an IP packet can state: nothing longer can be one datagram."""

MAX_DEPTH = 8
"""Bundles within bundles, arrays within arrays. One or two are met in practice."""

BUNDLE = b"#bundle\0"
IMMEDIATELY = 1  # "63 zero bits followed by a one in the least significant bit"
_BUNDLE_HEAD_BYTES = len(BUNDLE) + 8

# "printable ASCII characters" but for space # * , / ? [ ] { }; here "/" parts the names.
PLAIN_ADDRESS = re.compile(rb"/[^\x00-\x20#*,?\[\]{}\x7f-\xff]*")
_PATTERN_ADDRESS = re.compile(rb"/[!-~]*[*?\[\]{}][!-~]*")
ADDRESS_RULE = '"/" and printable ASCII without space # * , ? [ ] { }'

INT32 = struct.Struct(">i")
INT64 = struct.Struct(">q")
UINT64 = struct.Struct(">Q")
FLOAT32 = struct.Struct(">f")
FLOAT64 = struct.Struct(">d")


def decode(packet: bytes) -> tuple[Group, ...]:
    """Read one packet into its groups: an outer bundle before those inside it, else as they came.

    Any fault refuses the packet whole, an unknown type tag too ("an application should discard any
    message whose OSC Type Tag String contains any unrecognized OSC Type Tags", and the messages of
    a bundle "are atomic"). Raises `WireError`, and nothing else.
    """
    size = len(packet)
    if not MIN_PACKET_BYTES <= size <= MAX_PACKET_BYTES:
        allowed = f"{MIN_PACKET_BYTES} to {MAX_PACKET_BYTES}"
        raise WireError(f"a packet has {allowed} bytes, this one {size}", 0)
    if size % 4:
        raise WireError(f"a packet's size is a multiple of 4, this one's is {size}", 0)
    if packet[0] == BUNDLE[0]:
        return tuple(_bundle(packet, 0, size, 0, 1))
    return (Group(None, (_message(packet, 0, size, None),)),)


def _bundle(packet: bytes, start: int, end: int, not_before: int, depth: int) -> list[Group]:
    """Read the bundle in packet[start:end]: its own group, then those of the bundles inside."""
    if depth > MAX_DEPTH:
        raise WireError(f"bundles are nested more than {MAX_DEPTH} deep", start)
    if not packet.startswith(BUNDLE, start, end):
        raise WireError('what begins with "#" is a bundle and begins with "#bundle"', start)
    if end - start < _BUNDLE_HEAD_BYTES:
        raise WireError(f"a bundle has {_BUNDLE_HEAD_BYTES} bytes or more", start)
    (ntp,) = UINT64.unpack_from(packet, start + len(BUNDLE))
    if ntp < not_before:
        raise WireError(
            f"the timetag {ntp:016x} is before {not_before:016x}, that of the bundle around it",
            start + len(BUNDLE),
        )
    timetag = None if ntp == IMMEDIATELY else ntp
    messages: list[Message] = []
    inner: list[Group] = []
    position = start + _BUNDLE_HEAD_BYTES
    while position < end:  # both are multiples of 4, so four bytes are there to read
        (size,) = INT32.unpack_from(packet, position)
        element = position + 4
        if size <= 0 or size % 4 or size > end - element:
            allowed = f"a multiple of 4 from 4 to {end - element}"
            raise WireError(f"the bundle element's size is {size}, not {allowed}", position)
        position = element + size
        if packet[element] == BUNDLE[0]:
            inner += _bundle(packet, element, position, ntp, depth + 1)
        else:
            messages.append(_message(packet, element, position, timetag))
    if messages:
        inner.insert(0, Group(timetag, tuple(messages)))
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
    arguments = _arguments(cursor, tags, tags_at)
    if cursor.position != end:
        raise cursor.error(f"{end - cursor.position} bytes stand after the last argument")
    return Message(address, arguments, timetag)


def _arguments(cursor: "_Cursor", tags: str, tags_at: int) -> tuple[Argument, ...]:
    """Read what the tags say; "[" and "]" are about an array."""
    read: list[Argument] = []
    around: list[list[Argument]] = []
    for index, tag in enumerate(tags[1:], tags_at + 1):
        reader = _READERS.get(tag)
        if reader is not None:
            read.append(reader(cursor))
        elif tag == "[" and len(around) < MAX_DEPTH:
            around.append(read)
            read = []
        elif tag == "]" and around:
            array = tuple(read)
            read = around.pop()
            read.append(array)
        elif tag == "[":
            raise cursor.error(f"arrays are nested more than {MAX_DEPTH} deep", index)
        elif tag == "]":
            raise cursor.error('"]" ends no array', index)
        else:
            known = " ".join(_READERS)
            raise cursor.error(f"the type tag {tag!a} is not known; known are {known} [ ]", index)
    if around:
        raise cursor.error('an array has no "]" to end it', tags_at)
    return tuple(read)


def _address(raw: bytes, offset: int) -> str:
    """Return the address or the pattern as text."""
    if PLAIN_ADDRESS.fullmatch(raw) or _PATTERN_ADDRESS.fullmatch(raw):
        return raw.decode("ascii")
    shown = clip(raw.decode("ascii", "backslashreplace"))
    raise WireError(f"an address is {ADDRESS_RULE}, or a pattern, not {shown!a}", offset)


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
    (size,) = INT32.unpack_from(cursor.packet, size_at)
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


def _character(cursor: _Cursor) -> Character:
    """Read "an ascii character, sent as 32 bits"."""
    start = cursor.take(4, "a character")
    (code,) = INT32.unpack_from(cursor.packet, start)
    if not 0 <= code < 128:
        raise cursor.error(f"a character is ASCII, 0 to 127, not {code}", start)
    return Character(chr(code))


def _four_bytes(cursor: _Cursor, what: str) -> bytes:
    start = cursor.take(4, what)
    return cursor.packet[start : start + 4]


_timetag = _integer(UINT64, "a timetag")
_READERS: Mapping[str, Callable[[_Cursor], Argument]] = {
    "i": _integer(INT32, "a 32-bit integer"),
    "f": _real(FLOAT32, "a 32-bit float"),
    "s": _text,
    "b": _blob,
    "T": lambda _: True,
    "F": lambda _: False,
    "N": lambda _: None,
    "I": lambda _: INFINITUM,
    "d": _real(FLOAT64, "a 64-bit float"),
    "h": _integer(INT64, "a 64-bit integer"),
    "t": lambda cursor: Timetag(_timetag(cursor)),
    "c": _character,
    "r": lambda cursor: Colour(*_four_bytes(cursor, "a colour")),
    "m": lambda cursor: MidiMessage(*_four_bytes(cursor, "a MIDI message")),
    "S": lambda cursor: Symbol(_text(cursor)),
}
