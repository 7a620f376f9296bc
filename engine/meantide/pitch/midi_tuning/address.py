"""Where tuning messages go: device, program and bank, or channels; and the name they carry."""

import unicodedata
from dataclasses import dataclass
from typing import Any

from meantide.pitch.midi_tuning.fields import CHANNELS, NAME_SIZE
from meantide.pitch.midi_tuning.forms import Form
from meantide.pitch.midi_tuning.message import ALL_DEVICES, Message


@dataclass(frozen=True, slots=True)
class Address:
    """Where messages go; None stands for the usual.

    That is program 0, bank 0, all channels, no name, and real-time only where the form can be
    nothing else. What a form does not have is to be left None. Values are checked in `message`.
    """

    device: int = ALL_DEVICES
    realtime: bool | None = None
    program: int | None = None
    bank: int | None = None
    channels: frozenset[int] | None = None
    name: str | None = None

    def message(self, form: Form, **contents: object) -> Message:
        """Return a message of a form; raises InvalidValue for what the form does not have."""
        usual = {"program": 0, "bank": 0, "channels": CHANNELS, "name": ""}
        values: dict[str, Any] = dict(contents)
        for field, value in usual.items():
            given = getattr(self, field)
            values[field] = value if given is None and form.has(field) else given
        realtime = form.realtime[0] if self.realtime is None else self.realtime
        return Message(form.name, self.device, realtime, **values)


def ascii_name(text: str) -> str:
    """Return a text as the name of a message: 16 characters of ASCII at most, accents dropped."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    printable = "".join(character for character in plain if character.isprintable())
    return printable.strip()[:NAME_SIZE].rstrip(" ")
