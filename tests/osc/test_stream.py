"""OSC over streams: RFC 1055's bytes, lengths, and what is neither."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.osc.stream import Framing, Unframer, frame
from meantide.osc.values import WireError

packets = st.lists(
    st.binary(min_size=1, max_size=40).map(lambda data: data + bytes(-len(data) % 4)), max_size=6
)


def test_the_published_frame() -> None:
    """01 DB 49 C0 15 as RFC 1055 frames it; END before it too (OSC 1.1)."""
    packet = bytes.fromhex("01 DB 49 C0 15")
    assert frame(packet, Framing.SLIP).hex(" ") == "c0 01 db dd 49 db dc 15 c0"
    assert Unframer().feed(bytes.fromhex("C0 01 DB DD 49 DB DC 15 C0")) == [packet]


def test_a_length_stands_before_a_packet() -> None:
    """OSC 1.0: "an int32 that indicates the size of the packet"."""
    assert frame(b"/a\0\0,\0\0\0", Framing.LENGTH) == b"\0\0\0\x08/a\0\0,\0\0\0"


@given(packets, st.sampled_from(Framing), st.randoms(use_true_random=False))
def test_packets_come_out_whatever_pieces_the_stream_is_in(
    sent: list[bytes], framing: Framing, chance: random.Random
) -> None:
    stream = b"".join(frame(packet, framing) for packet in sent)
    unframer = Unframer(framing if framing is Framing.LENGTH and chance.random() < 0.5 else None)
    got = []
    while stream:
        size = chance.randint(1, 9)
        got += unframer.feed(stream[:size])
        stream = stream[size:]
    assert got == sent
    assert not sent or unframer.framing is framing


@pytest.mark.parametrize(
    ("first", "framing"),
    [(0x00, Framing.LENGTH), (0xC0, Framing.SLIP), (0x2F, Framing.SLIP), (0x23, Framing.SLIP)],
)
def test_the_first_byte_tells_the_framing(first: int, framing: Framing) -> None:
    unframer = Unframer()
    unframer.feed(bytes([first]))
    assert unframer.framing is framing


def test_a_frame_may_begin_without_end_and_empty_ones_are_ignored() -> None:
    assert Unframer().feed(b"/a\0\0\xc0\xc0\xc0\xc0/b\0\0\xc0") == [b"/a\0\0", b"/b\0\0"]


@pytest.mark.parametrize(
    "stream",
    [b"GET / HTTP", b"\xff", b"\0\1\0\0", b"\0\0\0\0", b"\0\0\0\5", b"\xc0" + bytes(140_000)],
)
def test_what_is_no_stream_of_packets_is_refused(stream: bytes) -> None:
    with pytest.raises(WireError):
        Unframer().feed(stream)


def test_a_length_below_nothing_is_refused() -> None:
    with pytest.raises(WireError, match="-4 bytes"):
        Unframer(Framing.LENGTH).feed(b"\xff\xff\xff\xfc")


def test_no_more_is_kept_than_one_packet() -> None:
    unframer = Unframer()
    unframer.feed(b"\xc0")
    for _ in range(131):
        assert unframer.feed(b"a" * 1000) == []
    with pytest.raises(WireError, match="more than 65535"):
        unframer.feed(b"a" * 1000)
