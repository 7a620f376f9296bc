"""Tuning messages as checked values, and their bytes."""

from dataclasses import dataclass
from functools import reduce
from operator import xor

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.forms import (
    FORMS,
    NON_REALTIME,
    REALTIME,
    TUNING,
    Form,
    form_named,
)
from meantide.pitch.midi_tuning.words import Word

ALL_DEVICES = 127
START, END = 0xF0, 0xF7
HEAD_SIZE = 5  # F0, real-time or not, device, 08, sub-id
FIELD_NAMES = ("program", "bank", "name", "words", "changes", "channels", "offsets")


@dataclass(frozen=True, slots=True)
class Message:
    """One message of a form; it has the fields its form lists, the others are None.

    `device` is 0 to 127 (127 all), `program` and `bank` 0 to 127, `name` up to 16 characters,
    `words` one for each of 128 keys, `changes` up to 127 pairs of key and word, `channels` numbers
    1 to 16, `offsets` twelve, C to B, in steps of the form's kind. Raises InvalidValue, or
    NotFound for a form that there is not.
    """

    form_name: str
    device: int = ALL_DEVICES
    realtime: bool = False
    program: int | None = None
    bank: int | None = None
    name: str | None = None
    words: tuple[Word, ...] | None = None
    changes: tuple[tuple[int, Word], ...] | None = None
    channels: frozenset[int] | None = None
    offsets: tuple[int, ...] | None = None

    def __post_init__(self) -> None:
        form = self.form
        if type(self.device) is not int or not 0 <= self.device <= ALL_DEVICES:
            raise InvalidValue("device", self.device, "a whole number from 0 to 127, 127 for all")
        if type(self.realtime) is not bool or self.realtime not in form.realtime:
            allowed = " or ".join("true" if fast else "false" for fast in form.realtime)
            raise InvalidValue("realtime", self.realtime, f"{allowed} in {form.name}")
        for name in FIELD_NAMES:
            if getattr(self, name) is not None and not form.has(name):
                having = ", ".join(each.name for each in FORMS if each.has(name))
                allowed = f"nothing in {form.name}; these forms have it: {having}"
                raise InvalidValue(name, getattr(self, name), allowed)
        for field in form.fields:
            field.check(getattr(self, field.name))

    @property
    def form(self) -> Form:
        """The row of the table it is made by."""
        return form_named(self.form_name)

    def to_bytes(self) -> bytes:
        """Return the whole message, from F0 to F7, its checksum over all bytes where it has one."""
        head = [START, REALTIME if self.realtime else NON_REALTIME, self.device, TUNING]
        data = bytes([*head, self.form.sub_id])
        data += b"".join(field.write(getattr(self, field.name)) for field in self.form.fields)
        if self.form.sums:
            data += bytes([checksum(data[1:])])
        return data + bytes([END])


def checksum(body: bytes) -> int:
    """Return the XOR of the bytes between F0 and the checksum, without the eighth bit.

    It cannot see everything: the words of plain twelve-equal notes cancel out.
    """
    return reduce(xor, body, 0) & 0x7F


def older_checksum(body: bytes) -> int:
    """Return the checksum of a bulk dump (08 01) as its first text puts it, without the 08.

    That text ("XOR of 7E id 01 tt <388 bytes>") miscounts its own bytes and was later put right,
    so both sums are met in such dumps, and reading both leaves a flip of bit 3 unseen.
    """
    return checksum(body[:2] + body[3:])
