"""Malformed dumps are refused whole, with the offset of what is wrong."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning import Message, carry, read_messages
from midi_tuning import meantone, messages

BULK = carry(meantone("A4=435"), "bulk-bank").to_bytes()
SINGLE = bytes.fromhex("F0 7F 7F 08 02 00 01 45 44 66 56 F7")


def refusal(data: bytes) -> tuple[int, str]:
    """Return the offset and the text of the error that refuses `data`."""
    with pytest.raises(InvalidValue) as caught:
        read_messages(data)
    match = re.fullmatch("offset ([0-9]+)", caught.value.field)
    assert match is not None, caught.value
    return int(match[1]), str(caught.value)


def changed(data: bytes, place: int, byte: int) -> bytes:
    return data[:place] + bytes([byte]) + data[place + 1 :]


@pytest.mark.parametrize(
    ("data", "offset", "words"),
    [
        (b"", 0, "got 'the end of the data'; allowed: F0"),
        (b"\x00", 0, "got '00'; allowed: F0"),
        (BULK[:200], 200, "got 'the end of the data'; allowed: a whole message"),
        (SINGLE + BULK[:-1], 12 + 408, "got 'the end of the data'"),
        (SINGLE + b"\x00", 12, "got '00'; allowed: F0"),
        (SINGLE + changed(BULK, 100, 0x80), 112, "got '80'; allowed: bytes 00 to 7F inside"),
        (changed(SINGLE, 6, 0xF8), 6, "got 'F8'"),
        (SINGLE[:5] + SINGLE, 5, "got 'F0'"),
        (changed(BULK, 300, 0xF7), 300, "got 'a message of 301 bytes'; allowed: 409 bytes in this"),
        (SINGLE[:-1] + b"\x00\xf7", 11, "got 'a message of 13 bytes'; allowed: 12 bytes"),
        (
            changed(SINGLE, 6, 2),
            11,
            "got 'a message of 12 bytes'; allowed: 16 bytes in this single",
        ),
        (bytes.fromhex("F0 7F 7F 08 02 00 F7"), 6, "got 'a message of 7 bytes'; allowed: 8 bytes"),
        (bytes.fromhex("F0 7F 7F 08 02 F7"), 5, "got 'a message of 6 bytes'; allowed: 8 bytes"),
        (changed(BULK, -2, BULK[-2] ^ 1), 407, "allowed: the checksum"),
        (changed(SINGLE, 1, 0x43), 1, "got '43'; allowed: 7E or 7F: a universal message"),
        (changed(SINGLE, 3, 0x09), 3, "got '09'; allowed: 08: a tuning message"),
        (changed(SINGLE, 4, 0x0A), 4, "got '0A'; allowed: the sub-ids 00 to 09"),
        (changed(SINGLE, 1, 0x7E), 1, "got '7E'; allowed: 7F before 08 02"),
        (changed(BULK, 1, 0x7F), 1, "got '7F'; allowed: 7E before 08 04"),
        (b"\xf0\xf7", 1, "got 'F7'; allowed: 7E or 7F"),
        (b"\xf0\x7e\x7f\xf7", 3, "got 'F7'; allowed: 08"),
        (b"\xf0\x7e\x7f\x08\xf7", 4, "got 'F7'; allowed: the sub-ids"),
        # Bits 2 to 6 of the channels' first byte are reserved and must be 0.
        (bytes.fromhex(f"F0 7F 7F 08 08 04 7F 7F {'40 ' * 12} F7"), 5, "got '04'; allowed: 00 to"),
    ],
)
def test_what_is_wrong_is_told_with_its_offset(data: bytes, offset: int, words: str) -> None:
    found, text = refusal(data)
    assert found == offset
    assert words in text


def test_several_messages_in_a_row() -> None:
    placed = read_messages(SINGLE + BULK + SINGLE)
    assert [each.offset for each in placed] == [0, 12, 421]
    assert [each.message.form_name for each in placed] == ["single", "bulk-bank", "single"]
    assert b"".join(each.data for each in placed) == SINGLE + BULK + SINGLE


@given(messages, st.data())
def test_a_cut_message_is_refused_at_its_end(message: Message, data: st.DataObject) -> None:
    whole = message.to_bytes()
    cut = data.draw(st.integers(1, len(whole) - 1))
    assert refusal(whole[:cut])[0] == cut


@given(messages, st.data())
def test_a_byte_over_7f_is_refused_where_it_stands(message: Message, data: st.DataObject) -> None:
    whole = message.to_bytes()
    place = data.draw(st.integers(1, len(whole) - 2))
    byte = data.draw(st.integers(0x80, 0xFF).filter(lambda byte: byte != 0xF7))
    assert refusal(changed(whole, place, byte))[0] == place


@given(messages, st.data())
def test_a_byte_too_many_or_too_few_is_refused(message: Message, data: st.DataObject) -> None:
    whole = message.to_bytes()
    place = data.draw(st.integers(5, len(whole) - 1))
    longer = whole[:place] + bytes([data.draw(st.integers(0, 0x7F))]) + whole[place:]
    shorter = whole[:-2] + whole[-1:]
    # Changes take four bytes each, so no other count of them can make up for one byte.
    refusal(longer)
    refusal(shorter)


@given(messages, st.data())
def test_a_changed_byte_breaks_the_checksum(message: Message, data: st.DataObject) -> None:
    if not message.form.sums:
        return
    whole = message.to_bytes()
    place = data.draw(st.integers(5, len(whole) - 2))
    flip = data.draw(st.integers(1, 0x7F))
    if message.form_name == "bulk" and flip == 0x08:
        return  # either of two rules is read there, and they differ by this bit
    offset, text = refusal(changed(whole, place, whole[place] ^ flip))
    assert offset == len(whole) - 2
    assert "checksum" in text


@given(st.binary(max_size=60) | messages.map(Message.to_bytes), st.data())
def test_anything_is_read_whole_or_refused_whole(data: bytes, draws: st.DataObject) -> None:
    for _ in range(draws.draw(st.integers(0, 3))):
        place = draws.draw(st.integers(0, max(0, len(data) - 1)))
        data = changed(data, place, draws.draw(st.integers(0, 255)))
    try:
        placed = read_messages(data)
    except InvalidValue as error:
        match = re.fullmatch("offset ([0-9]+)", error.field)
        assert match is not None
        assert 0 <= int(match[1]) <= len(data)
    else:
        assert b"".join(each.data for each in placed) == data
        written = b"".join(each.message.to_bytes() for each in placed)
        unlike = [place for place in range(len(data)) if data[place] != written[place]]
        ends = {each.offset + len(each.data) - 2 for each in placed}
        assert set(unlike) <= ends  # the older checksum of a bulk dump
