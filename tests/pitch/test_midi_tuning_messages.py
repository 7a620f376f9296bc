"""Whole tuning messages: their bytes, lengths and checksums, and mido as a second reader.

Sources: MIDI Tuning Messages (CA-020), Scale/Octave Extensions (CA-021), Bank/Dump Extensions
(RP-020). Whole messages and checksums are calculated from those.
"""

from functools import reduce
from operator import xor
from typing import Any

import mido
import pytest
from hypothesis import given

from meantide.errors import InvalidValue, NotFound
from meantide.pitch.midi_tuning import (
    FORMS,
    Form,
    Message,
    carry,
    explain,
    read_messages,
    select,
    select_next,
    select_previous,
)
from meantide.pitch.midi_tuning.message import checksum, older_checksum
from midi_tuning import equal, meantone, messages

TWELVE = equal(12, name="12-TET")
HEAD = {  # of each message as the standard lays it out, for all devices; length in bytes
    "bulk-request": ("F0 7E 7F 08 00", 7),
    "bulk": ("F0 7E 7F 08 01", 408),
    "single": ("F0 7F 7F 08 02", 8 + 4 * 64),
    "bulk-bank-request": ("F0 7E 7F 08 03", 8),
    "bulk-bank": ("F0 7E 7F 08 04", 409),
    "octave1-bank": ("F0 7E 7F 08 05", 37),
    "octave2-bank": ("F0 7E 7F 08 06", 49),
    "single-bank": ("F0 7E 7F 08 07", 9 + 4 * 64),
    "octave1": ("F0 7E 7F 08 08", 21),
    "octave2": ("F0 7E 7F 08 09", 33),
}


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_each_form_begins_and_is_as_long_as_the_standard_says(form: Form) -> None:
    head, length = HEAD[form.name]
    for message in carry(meantone("A4=440"), form.name).messages:
        data = message.to_bytes()
        assert data.startswith(bytes.fromhex(head))
        assert data[-1] == 0xF7
        assert len(data) == length


def test_the_table_has_the_standards_ten_messages() -> None:
    assert [form.sub_id for form in FORMS] == list(range(10))
    assert {form.name for form in FORMS} == set(HEAD)
    # Real-time or not: 7F alone for 08 02, both for 08 07, 08 08 and 08 09, 7E for the rest.
    assert {form.sub_id: form.realtime for form in FORMS if True in form.realtime} == {
        2: (True,),
        7: (False, True),
        8: (False, True),
        9: (False, True),
    }


def test_the_field_layouts_are_those_of_the_standard() -> None:
    assert [form.layout for form in FORMS] == [
        "F0 7E id 08 00 tt F7",
        "F0 7E id 08 01 tt [nm]x16 [xx yy zz]x128 ck F7",
        "F0 7F id 08 02 tt ll [kk xx yy zz]xll F7",
        "F0 7E id 08 03 bb tt F7",
        "F0 7E id 08 04 bb tt [nm]x16 [xx yy zz]x128 ck F7",
        "F0 7E id 08 05 bb tt [nm]x16 [ss]x12 ck F7",
        "F0 7E id 08 06 bb tt [nm]x16 [ss tt]x12 ck F7",
        "F0 7E|7F id 08 07 bb tt ll [kk xx yy zz]xll F7",
        "F0 7E|7F id 08 08 ff gg hh [ss]x12 F7",
        "F0 7E|7F id 08 09 ff gg hh [ss tt]x12 F7",
    ]


def test_requests() -> None:
    message = Message("bulk-request", device=0x10, program=5)
    assert message.to_bytes() == bytes.fromhex("F0 7E 10 08 00 05 F7")
    # One text of the standard drops the device here; an older page of its publisher has it.
    message = Message("bulk-bank-request", bank=3, program=5)
    assert message.to_bytes() == bytes.fromhex("F0 7E 7F 08 03 03 05 F7")


def test_a_single_change_of_a4_to_435() -> None:
    data = carry(equal(12, "A4=435"), "single", keys=[69]).to_bytes()
    assert data == bytes.fromhex("F0 7F 7F 08 02 00 01 45 44 66 56 F7")


@pytest.mark.parametrize(
    ("form", "sum_byte"),
    [("bulk", 0x63), ("bulk-bank", 0x66), ("octave1-bank", 0x67), ("octave2-bank", 0x64)],
)
def test_checksums_of_twelve_equal_notes(form: str, sum_byte: int) -> None:
    data = carry(TWELVE, form).to_bytes()
    assert data[-2] == sum_byte
    assert b"12-TET          " in data


def test_the_older_rule_of_a_bulk_dump_is_read_too() -> None:
    data = carry(TWELVE, "bulk").to_bytes()
    assert older_checksum(data[1:-2]) == 0x6B
    older = data[:-2] + b"\x6b\xf7"
    assert read_messages(older)[0].message == read_messages(data)[0].message
    # Only there: 08 04 was never told otherwise.
    data = carry(TWELVE, "bulk-bank").to_bytes()
    with pytest.raises(InvalidValue, match="offset 407: got '6E'; allowed: the checksum 66"):
        read_messages(data[:-2] + bytes([data[-2] ^ 0x08]) + b"\xf7")


def test_the_checksum_sees_the_notes_only_if_they_are_unequal() -> None:
    # XOR over the words of 128 equal semitones at 440 is 0: such a dump proves no checksum.
    plain = carry(TWELVE, "bulk-bank").to_bytes()
    assert reduce(xor, plain[23:407]) == 0
    data = carry(meantone("A4=435"), "bulk-bank").to_bytes()
    assert reduce(xor, data[23:407]) != 0
    assert data[-2] == reduce(xor, data[1:-2]) & 0x7F
    assert checksum(data[1:-1]) == 0


@pytest.mark.parametrize(
    ("channels", "mask"),
    # ff holds channels 15 and 16, gg 8 to 14, hh 1 to 7, the lowest in bit 0.
    [
        (range(1, 17), "03 7F 7F"),
        ([1], "00 00 01"),
        ([7, 8], "00 01 40"),
        ([14], "00 40 00"),
        ([15], "01 00 00"),
        ([16], "02 00 00"),
    ],
)
def test_channel_masks(channels: range | list[int], mask: str) -> None:
    message = Message("octave1", channels=frozenset(channels), offsets=(0,) * 12)
    data = message.to_bytes()
    assert data == bytes.fromhex(f"F0 7E 7F 08 08 {mask} {'40 ' * 12} F7")


def test_two_byte_offsets_of_nothing() -> None:
    message = Message("octave2", 127, True, channels=frozenset([2]), offsets=(0,) * 12)
    assert message.to_bytes() == bytes.fromhex(f"F0 7F 7F 08 09 00 00 02 {'40 00 ' * 12} F7")


@given(messages)
def test_mido_reads_every_message(message: Message) -> None:
    data = message.to_bytes()
    read = mido.Message.from_bytes(data)
    assert read.type == "sysex"
    assert bytes(read.data) == data[1:-1]


@given(messages)
def test_every_message_is_read_back(message: Message) -> None:
    (placed,) = read_messages(message.to_bytes())
    assert placed.message == message
    pieces = explain(placed)
    assert b"".join(piece.data for _, piece in pieces) == placed.data
    position = 0
    for offset, piece in pieces:
        assert offset == position
        position += len(piece.data)


OFFSETS = (0,) * 12
EVERYWHERE = frozenset(range(1, 17))


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"form_name": "bulky"}, "form: got 'bulky'; allowed: did you mean bulk"),
        ({"form_name": "bulk-request"}, "program: got None; allowed: a whole number from 0 to 127"),
        ({"form_name": "bulk-request", "program": 128}, "program: got 128"),
        ({"form_name": "bulk-request", "program": True}, "program: got True"),
        ({"form_name": "bulk-request", "program": 0, "device": 128}, "device: got 128"),
        ({"form_name": "bulk-request", "program": 0, "device": True}, "device: got True"),
        (
            {"form_name": "bulk-request", "program": 0, "realtime": True},
            "realtime: got True; allowed: false in bulk-request",
        ),
        (
            {"form_name": "bulk-request", "program": 0, "bank": 1},
            "bank: got 1; allowed: nothing in bulk-request; these forms have it: bulk-bank-request",
        ),
        ({"form_name": "single", "program": 0, "changes": ()}, "realtime: got False"),
        (
            {"form_name": "single", "realtime": True, "program": 0, "changes": ((0, None),) * 128},
            "a tuple of 0 to 127 items",
        ),
        (
            {"form_name": "single", "realtime": True, "program": 0, "changes": ((0, 2**21 - 1),)},
            "changes: got 2097151; allowed: a whole number from 0 to 2097150",
        ),
        (
            {"form_name": "single", "realtime": True, "program": 0, "changes": ((128, 0),)},
            "key: got 128",
        ),
        (
            {"form_name": "octave1", "channels": EVERYWHERE, "offsets": (64, *OFFSETS[1:])},
            "offsets: got 64; allowed: a whole number from -64 to 63",
        ),
        (
            {"form_name": "octave1", "channels": EVERYWHERE, "offsets": OFFSETS[1:]},
            "a tuple of 12 items",
        ),
        (
            {"form_name": "octave1", "channels": frozenset([0]), "offsets": OFFSETS},
            "a frozenset of channels 1 to 16",
        ),
        (
            {"form_name": "octave1", "channels": frozenset([True]), "offsets": OFFSETS},
            "a frozenset of channels 1 to 16",
        ),
        *(
            (
                {
                    "form_name": "octave1-bank",
                    "bank": 0,
                    "program": 0,
                    "name": name,
                    "offsets": OFFSETS,
                },
                "up to 16 characters of ASCII",
            )
            for name in ("Saltmarsh Quay 17", "Ebbe é", "ends in a space ", None)
        ),
    ],
)
def test_what_cannot_be_sent_is_refused(values: dict[str, Any], message: str) -> None:
    with pytest.raises((InvalidValue, NotFound)) as caught:
        Message(**values)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("ours", "standard"),
    # As the standard writes them, in running status: one status for all three.
    [
        (select("program", 1, 5), "B0 64 03 65 00 06 05"),
        (select("bank", 16, 127), "BF 64 04 65 00 06 7F"),
        (select_next("program", 2), "B1 64 03 65 00 60 7F"),
        (select_previous("bank", 3), "B2 64 04 65 00 61 7F"),
    ],
)
def test_selecting_a_program_or_bank(ours: bytes, standard: str) -> None:
    status, *rest = bytes.fromhex(standard)
    pairs = [rest[place : place + 2] for place in (0, 2, 4)]
    assert ours == b"".join(bytes([status, *pair]) for pair in pairs)
    parser = mido.Parser()
    parser.feed(ours)
    read = list(parser)
    assert {each.type for each in read} == {"control_change"}
    assert [[each.control, each.value] for each in read] == pairs
    assert {each.channel for each in read} == {status & 0x0F}


def test_selecting_what_there_cannot_be_is_refused() -> None:
    for parameter, channel, number in (("scale", 1, 0), ("bank", 0, 0), ("bank", 17, 0)):
        with pytest.raises(InvalidValue):
            select(parameter, channel, number)
    for number in (-1, 128, True):
        with pytest.raises(InvalidValue, match="program: got"):
            select("program", 1, number)
