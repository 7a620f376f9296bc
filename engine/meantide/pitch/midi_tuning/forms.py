"""The table of tuning messages: encoding, decoding, checks and help all derive from it.

    F0 7E|7F id 08 SUB-ID fields [ck] F7

7E is non-real-time, 7F real-time (sounding notes change at once); id is the device, 7F all of
them. Source: MIDI Tuning Messages (CA-020), Scale/Octave Extensions (CA-021) and Bank/Dump
Extensions (RP-020), MIDI Manufacturers Association and AMEI, 1999. The names are ours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from meantide.errors import not_found
from meantide.pitch.midi_tuning.field import Field
from meantide.pitch.midi_tuning.fields import Changes, Channels, Name, Number, Offsets, Words
from meantide.pitch.midi_tuning.words import ONE_BYTE, TWO_BYTES, OffsetKind

NON_REALTIME, REALTIME = 0x7E, 0x7F
TUNING = 0x08  # the sub-id that all of them share


@dataclass(frozen=True, slots=True)
class Form:
    """One kind of message: its second sub-id, and its fields in order.

    `realtime` lists whether it may be real-time, the usual first. `sums` tells that a checksum
    follows the fields.
    """

    name: str
    sub_id: int
    fields: tuple[Field, ...]
    about: str
    realtime: tuple[bool, ...] = (False,)
    sums: bool = False

    @property
    def layout(self) -> str:
        """Its bytes in letters."""
        universal = "|".join(f"{REALTIME if fast else NON_REALTIME:02X}" for fast in self.realtime)
        fields = " ".join(field.layout for field in self.fields)
        return f"F0 {universal} id 08 {self.sub_id:02X} {fields}{' ck' if self.sums else ''} F7"

    def has(self, name: str) -> bool:
        """Tell whether it has a field of that name."""
        return any(field.name == name for field in self.fields)

    @property
    def is_request(self) -> bool:
        """Whether it asks for a dump and holds no tuning itself."""
        return not (self.has("words") or self.has("changes") or self.has("offsets"))

    @property
    def offsets(self) -> OffsetKind | None:
        """The kind of its twelve offsets, if that is what it holds."""
        return next((field.kind for field in self.fields if isinstance(field, Offsets)), None)


PROGRAM, BANK = Number("program", "tt"), Number("bank", "bb")
NAME, WORDS, CHANGES, CHANNELS = Name(), Words(), Changes(), Channels()
EITHER = (False, True)

FORMS = (
    Form("bulk-request", 0x00, (PROGRAM,), "asks for a bulk dump"),
    Form("bulk", 0x01, (PROGRAM, NAME, WORDS), "all 128 keys of a program", sums=True),
    Form("single", 0x02, (PROGRAM, CHANGES), "chosen keys of a program, at once", (True,)),
    Form("bulk-bank-request", 0x03, (BANK, PROGRAM), "asks for a bulk dump from a bank"),
    Form(
        "bulk-bank",
        0x04,
        (BANK, PROGRAM, NAME, WORDS),
        "all 128 keys of a program in a bank",
        sums=True,
    ),
    Form(
        "octave1-bank",
        0x05,
        (BANK, PROGRAM, NAME, Offsets(ONE_BYTE)),
        "twelve offsets, whole cents, to a program in a bank",
        sums=True,
    ),
    Form(
        "octave2-bank",
        0x06,
        (BANK, PROGRAM, NAME, Offsets(TWO_BYTES)),
        "twelve offsets, fine, to a program in a bank",
        sums=True,
    ),
    Form(
        "single-bank",
        0x07,
        (BANK, PROGRAM, CHANGES),
        "chosen keys of a program in a bank",
        EITHER,
    ),
    Form("octave1", 0x08, (CHANNELS, Offsets(ONE_BYTE)), "twelve offsets, whole cents", EITHER),
    Form("octave2", 0x09, (CHANNELS, Offsets(TWO_BYTES)), "twelve offsets, fine", EITHER),
)
BY_NAME: Mapping[str, Form] = MappingProxyType({form.name: form for form in FORMS})
BY_SUB_ID: Mapping[int, Form] = MappingProxyType({form.sub_id: form for form in FORMS})


def form_named(name: str) -> Form:
    """Return a form by its name; raises NotFound."""
    if name not in BY_NAME:
        raise not_found("form", name, BY_NAME)
    return BY_NAME[name]
