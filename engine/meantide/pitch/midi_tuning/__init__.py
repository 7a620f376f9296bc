"""MIDI Tuning Standard, both ways: tunings into messages and messages into tunings, as bytes."""

from meantide.pitch.midi_tuning.address import Address, ascii_name
from meantide.pitch.midi_tuning.carrying import Carried, CarriedKey, carry
from meantide.pitch.midi_tuning.forms import FORMS, Form, form_named
from meantide.pitch.midi_tuning.message import Message
from meantide.pitch.midi_tuning.reader import Placed, explain, read_messages
from meantide.pitch.midi_tuning.recovery import Recovered, recover
from meantide.pitch.midi_tuning.selection import select, select_next, select_previous

__all__ = [
    "FORMS",
    "Address",
    "Carried",
    "CarriedKey",
    "Form",
    "Message",
    "Placed",
    "Recovered",
    "ascii_name",
    "carry",
    "explain",
    "form_named",
    "read_messages",
    "recover",
    "select",
    "select_next",
    "select_previous",
]
