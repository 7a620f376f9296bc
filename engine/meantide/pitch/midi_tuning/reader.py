"""Bytes from outside, read into messages whole or not at all: errors name the offset."""

from dataclasses import dataclass
from typing import Any

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.field import BadBytes, Piece
from meantide.pitch.midi_tuning.forms import (
    BY_SUB_ID,
    FORMS,
    NON_REALTIME,
    REALTIME,
    TUNING,
    Form,
)
from meantide.pitch.midi_tuning.message import (
    ALL_DEVICES,
    END,
    HEAD_SIZE,
    START,
    Message,
    checksum,
    older_checksum,
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A message, the offset of its F0 in what was read, and its bytes."""

    message: Message
    offset: int
    data: bytes


def read_messages(data: bytes) -> tuple[Placed, ...]:
    """Return the tuning messages that `data` holds one after another, at least one.

    Raises InvalidValue, whose field names the offset (counted from 0), for anything else: a cut
    message, one of a wrong length or checksum, a byte over 7F inside it, a sub-id not in the
    table, other system exclusive messages.
    """
    found: list[Placed] = []
    start = 0
    while start < len(data) or not found:
        try:
            placed = _read_one(data, start)
        except BadBytes as bad:
            raise InvalidValue(f"offset {bad.offset}", bad.got, bad.allowed) from None
        found.append(placed)
        start += len(placed.data)
    return tuple(found)


def explain(placed: Placed) -> tuple[tuple[int, Piece], ...]:
    """Return the bytes of a message piece by piece, each with its offset and what it says."""
    form, data = placed.message.form, placed.data
    speed = "real-time" if placed.message.realtime else "non-real-time"
    device = placed.message.device
    pieces = [
        Piece(data[:2], f"system exclusive, universal {speed}"),
        Piece(data[2:3], "all devices" if device == ALL_DEVICES else f"device {device}"),
        Piece(data[3:HEAD_SIZE], f"tuning, {form.name}: {form.about}"),
    ]
    for field, (_, body) in zip(form.fields, _split(form, data, 0), strict=True):
        pieces.extend(field.explain(body))
    if form.sums:
        pieces.append(Piece(data[-2:-1], "checksum"))
    pieces.append(Piece(data[-1:], "end"))
    offsets = [placed.offset]
    for piece in pieces:
        offsets.append(offsets[-1] + len(piece.data))
    return tuple(zip(offsets, pieces, strict=False))


def _read_one(data: bytes, start: int) -> Placed:
    """Read the message that begins at `start`; BadBytes counts from the beginning of `data`."""
    if data[start : start + 1] != bytes([START]):
        raise BadBytes(start, _shown(data, start), "F0, where a message begins")
    end = next((place for place in range(start + 1, len(data)) if data[place] > 0x7F), len(data))
    if end == len(data):
        raise BadBytes(end, "the end of the data", "a whole message, which ends with F7")
    if data[end] != END:
        raise BadBytes(end, _shown(data, end), "bytes 00 to 7F inside a message, F7 at its end")
    whole = data[start : end + 1]
    form = _form(whole, start)
    bodies = _split(form, whole, start)
    values: dict[str, Any] = {}
    for field, (position, body) in zip(form.fields, bodies, strict=True):
        try:
            values[field.name] = field.read(body)
        except BadBytes as bad:
            raise BadBytes(start + position + bad.offset, bad.got, bad.allowed) from None
    if form.sums:
        _check_sum(form, whole, start)
    return Placed(Message(form.name, whole[2], whole[1] == REALTIME, **values), start, whole)


def _form(whole: bytes, start: int) -> Form:
    """Return the form that the head of a message tells."""
    checks = (
        (1, (NON_REALTIME, REALTIME), "7E or 7F: a universal message"),
        (3, (TUNING,), "08: a tuning message"),
        (4, tuple(BY_SUB_ID), f"the sub-ids 00 to {FORMS[-1].sub_id:02X} of tuning messages"),
    )
    for place, options, allowed in checks:
        if place >= len(whole) - 1 or whole[place] not in options:
            wrong = min(place, len(whole) - 1)
            raise BadBytes(start + wrong, _shown(whole, wrong), allowed)
    form = BY_SUB_ID[whole[4]]
    if (whole[1] == REALTIME) not in form.realtime:
        wanted = NON_REALTIME if whole[1] == REALTIME else REALTIME
        raise BadBytes(start + 1, _shown(whole, 1), f"{wanted:02X} before 08 {form.sub_id:02X}")
    return form


def _split(form: Form, whole: bytes, start: int) -> list[tuple[int, bytes]]:
    """Return the position and the bytes of each field; refuse a wrong length."""
    bodies = []
    position = HEAD_SIZE
    for field in form.fields:
        size = field.size(whole[position:-1])
        bodies.append((position, whole[position : position + size]))
        position += size
    length, wanted = len(whole), position + form.sums + 1
    if length != wanted:
        got = f"a message of {length} bytes"
        allowed = f"{wanted} bytes in this {form.name}: {form.layout}"
        raise BadBytes(start + min(length, wanted) - 1, got, allowed)
    return bodies


def _check_sum(form: Form, whole: bytes, start: int) -> None:
    """Refuse a message whose checksum fits none of its readings."""
    body = whole[1:-2]
    sums = {checksum(body)}
    if form.sub_id == 0x01:
        sums.add(older_checksum(body))
    if whole[-2] not in sums:
        right = " or ".join(f"{each:02X}" for each in sorted(sums))
        raise BadBytes(start + len(whole) - 2, _shown(whole, -2), f"the checksum {right}")


def _shown(data: bytes, place: int) -> str:
    """Return the byte at a place as it is written in dumps."""
    return f"{data[place]:02X}" if place < len(data) else "the end of the data"
