"""Standard MIDI Files (formats 0 and 1) as bytes: chunks, tracks and their events in ticks.

What a message means is mido's knowledge. The walk over chunks, delta times and lengths is ours,
because mido 1.3.3 loses the delta time of meta events it does not know, follows a length past the
end of its track, and reads numbers of any size. The format is Standard MIDI Files 1.0.
"""

import struct
from collections.abc import Iterator
from typing import NamedTuple

import mido

from meantide.errors import InvalidValue

TRACK_NAME, END_OF_TRACK, TEMPO = 0x03, 0x2F, 0x51  # types of meta events


class Event(NamedTuple):
    """What happens at a tick: a mido message, or a meta event's type and its bytes."""

    tick: int
    track: int
    message: mido.Message | None
    meta: int = -1
    body: bytes = b""


def bad_file(got: str, allowed: str) -> InvalidValue:
    """Make the error of a file that cannot be read; the reader adds its path."""
    return InvalidValue("MIDI file", got, allowed)


def open_tracks(data: bytes) -> tuple[int, list[Iterator[Event]]]:
    """Return the header's division (16 bits, signed) and each track's events."""
    if data[:4] != b"MThd":
        raise bad_file(f"begins with {data[:4]!r}", "a Standard MIDI File, which begins with MThd")
    if len(data) < 14:
        raise bad_file(f"cut after {len(data)} bytes", "a header of 14 bytes")
    size, form, count, division = struct.unpack(">IHHh", data[4:14])
    if size < 6:
        raise bad_file(f"a header of {size} bytes", "6 bytes")
    if form not in (0, 1):
        raise bad_file(f"format {form}", "format 0 or 1, whose tracks play together")
    tracks: list[Iterator[Event]] = []
    position = 8 + size
    while len(tracks) < count:
        if position + 8 > len(data):
            raise bad_file(f"cut: the header counts {count} tracks, {len(tracks)} are there", "all")
        kind, size = struct.unpack(">4sI", data[position : position + 8])
        start, position = position + 8, position + 8 + size
        if kind != b"MTrk":
            continue  # a chunk of a kind not known here is passed over, as the format asks
        if position > len(data):
            number, rest = len(tracks) + 1, len(data) - start
            raise bad_file(f"cut: track {number} has {rest} of its {size} bytes", "the whole file")
        tracks.append(_events(_Bytes(len(tracks), data[start:position])))
    return division, tracks


class _Bytes:
    """The bytes of one track, read in order and never past their end."""

    def __init__(self, index: int, data: bytes) -> None:
        self.index = index
        self.data = data
        self.position = 0

    def bad(self, what: str, allowed: str) -> InvalidValue:
        """Make the error that tells of this place."""
        return bad_file(f"track {self.index + 1}, byte {self.position}: {what}", allowed)

    def take(self, count: int) -> bytes:
        """Return the next `count` bytes."""
        end = self.position + count
        if end > len(self.data):
            raise self.bad("an event runs past the end of the track", "whole events")
        taken, self.position = self.data[self.position : end], end
        return taken

    def number(self) -> int:
        """Return a variable-length quantity: 7 bits a byte, high bit set but on the last."""
        value = 0
        for _ in range(4):
            (byte,) = self.take(1)
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise self.bad("a number longer than 4 bytes", "up to FF FF FF 7F")


def _events(track: _Bytes) -> Iterator[Event]:
    """Walk a track to its end mark, or to its last byte where it has none."""
    tick = status = 0
    while track.position < len(track.data):
        tick += track.number()
        (first,) = track.take(1)
        if first == 0xFF:
            status = 0  # meta events and system exclusive cancel running status (from memory)
            (meta,) = track.take(1)
            body = track.take(track.number())
            if meta == END_OF_TRACK:
                break
            if meta == TEMPO and (len(body) != 3 or not any(body)):
                raise track.bad(f"a tempo of bytes {body.hex(' ')}", "3 bytes, above 0")
            yield Event(tick, track.index, None, meta, body)
        elif first in (0xF0, 0xF7):
            status = 0
            track.take(track.number())
            yield Event(tick, track.index, mido.Message("sysex"))
        else:
            data = b""
            if first >= 0x80:
                status = first
            else:
                data = bytes([first])
            if not 0x80 <= status < 0xF0:
                raise track.bad(f"{first:02X} where an event begins", "a status byte, 80 to EF")
            data += track.take((1 if status & 0xE0 == 0xC0 else 2) - len(data))
            if max(data) > 0x7F:
                raise track.bad(f"data {data.hex(' ')} after status {status:02X}", "00 to 7F")
            yield Event(tick, track.index, mido.Message.from_bytes([status, *data]))
    yield Event(tick, track.index, None, END_OF_TRACK)
