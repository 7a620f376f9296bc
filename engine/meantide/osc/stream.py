"""OSC over a stream of bytes: SLIP frames (RFC 1055) or 32-bit lengths, told apart by a byte.

OSC 1.0 puts "an int32 that indicates the size" before each packet; OSC 1.1 (A. Freed, A. Schmeder,
NIME 2009) has SLIP "with a double END character encoding". A SLIP frame that holds a packet begins
with END, `/` or `#`; the length of one that is short enough begins with a zero byte.
"""

import struct
from enum import Enum

from meantide.osc.reading import BUNDLE, MAX_PACKET_BYTES, MIN_PACKET_BYTES
from meantide.osc.values import WireError

END, ESC, ESC_END, ESC_ESC = 0xC0, 0xDB, 0xDC, 0xDD
_LENGTH = struct.Struct(">i")


class Framing(Enum):
    """How packets are told apart in a stream."""

    SLIP = "slip"
    LENGTH = "length"


def frame(packet: bytes, framing: Framing) -> bytes:
    """Return a packet as it is written to a stream; in SLIP with an END before it and after it."""
    if framing is Framing.LENGTH:
        return _LENGTH.pack(len(packet)) + packet
    escaped = packet.replace(bytes((ESC,)), bytes((ESC, ESC_ESC)))
    escaped = escaped.replace(bytes((END,)), bytes((ESC, ESC_END)))
    return bytes((END,)) + escaped + bytes((END,))


class Unframer:
    """Takes the bytes of a stream and gives its packets; keeps one packet's bytes at most.

    `framing` is None until the first byte has told it. After `feed` raised WireError nothing more
    can be read from the stream.
    """

    def __init__(self, framing: Framing | None = None) -> None:
        self.framing = framing
        self._kept = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """Return the packets that are complete with `data`."""
        if self.framing is None and data:
            self.framing = _told_by(data[0])
        self._kept += data
        return self._slip() if self.framing is Framing.SLIP else self._lengths()

    def _lengths(self) -> list[bytes]:
        packets, kept, start = [], self._kept, 0
        while len(kept) - start >= _LENGTH.size:
            (size,) = _LENGTH.unpack_from(kept, start)
            if not MIN_PACKET_BYTES <= size <= MAX_PACKET_BYTES or size % 4:
                allowed = f"a multiple of 4 from {MIN_PACKET_BYTES} to {MAX_PACKET_BYTES}"
                raise WireError(f"the stream says that a packet has {size} bytes, not {allowed}", 0)
            end = start + _LENGTH.size + size
            if end > len(kept):
                break
            packets.append(bytes(kept[start + _LENGTH.size : end]))
            start = end
        del kept[:start]
        return packets

    def _slip(self) -> list[bytes]:
        *frames, rest = self._kept.split(bytes((END,)))
        if len(rest) > 2 * MAX_PACKET_BYTES or any(len(f) > 2 * MAX_PACKET_BYTES for f in frames):
            raise WireError(f"a frame holds more than {MAX_PACKET_BYTES} bytes", 0)
        self._kept = rest
        return [
            _unescaped(bytes(each)) for each in frames if each
        ]  # two ENDs with nothing between: none


def _told_by(first: int) -> Framing:
    if first == 0:
        return Framing.LENGTH
    if first in (END, ord("/"), BUNDLE[0]):
        return Framing.SLIP
    raise WireError(f"a stream begins with a length, or with a SLIP frame, not 0x{first:02x}", 0)


def _unescaped(escaped: bytes) -> bytes:
    """Return a frame's bytes; an ESC before any other byte is dropped, as RFC 1055 advises."""
    first, *rest = escaped.split(bytes((ESC,)))
    parts = [first]
    for part in rest:
        if part[:1] == bytes((ESC_END,)):
            parts += [bytes((END,)), part[1:]]
        elif part[:1] == bytes((ESC_ESC,)):
            parts += [bytes((ESC,)), part[1:]]
        else:
            parts.append(part)
    return b"".join(parts)
