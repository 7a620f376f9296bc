"""OSC packets against the bytes of the specification, against python-osc, and against malice.

Printed examples are from the OSC 1.0 specification (Wright, 26 March 2002) and its examples page.
"""

import math
import random
import struct
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

from meantide.errors import InvalidValue
from meantide.osc.reading import MAX_DEPTH, MAX_PACKET_BYTES, decode
from meantide.osc.values import (
    INFINITUM,
    Argument,
    Character,
    Colour,
    Group,
    Message,
    MidiMessage,
    Symbol,
    Timetag,
    WireError,
    ntp,
    unix_s,
)
from meantide.osc.writing import encode, encode_bundle, encode_typed

FREQUENCY_440 = bytes.fromhex(
    "2F6F7363 696C6C61 746F722F 342F6672 65717565 6E637900 2C660000 43DC0000"
)
FOO = bytes.fromhex(
    "2F666F6F 00000000 2C696973 66660000 000003E8 FFFFFFFF 68656C6C 6F000000 3F9DF3B6 40B5B22D"
)
NEW_YEAR_2024_AND_A_QUARTER = 0xE93C7F00_40000000  # 2024-01-01T00:00:00.25Z, calculated
NOTE = b"/a\0\0,i\0\0\0\0\0\7"


def padded(text: bytes) -> bytes:
    """Lay out an OSC string by its definition: a zero at least, and a multiple of 4."""
    return text + b"\0" * (4 - len(text) % 4)


def bundle(timetag: int, *elements: bytes) -> bytes:
    body = b"".join(struct.pack(">i", len(element)) + element for element in elements)
    return b"#bundle\0" + struct.pack(">Q", timetag) + body


def nested(depth: int) -> bytes:
    packet = NOTE
    for _ in range(depth):
        packet = bundle(1, packet)
    return packet


def only(packet: bytes) -> Message:
    ((message,),) = [group.messages for group in decode(packet)]
    return message


# What the specification prints


def test_printed_example_one_float() -> None:
    assert len(FREQUENCY_440) == 32
    assert only(FREQUENCY_440) == Message("/oscillator/4/frequency", (440.0,), None)
    assert encode("/oscillator/4/frequency", 440.0) == FREQUENCY_440


def test_printed_example_five_arguments() -> None:
    assert len(FOO) == 40
    message = only(FOO)
    assert message.address == "/foo"
    assert message.arguments[:3] == (1000, -1, "hello")
    # 1.234 and 5.678 as printed, to the half unit of a 24-bit mantissa.
    assert message.arguments[3:] == pytest.approx((1.234, 5.678), rel=2**-24)
    assert encode("/foo", 1000, -1, "hello", 1.234, 5.678) == FOO


@pytest.mark.parametrize(
    ("text", "hexadecimal"), [("OSC", "4F534300"), ("data", "6461746100000000")]
)
def test_printed_strings(text: str, hexadecimal: str) -> None:
    raw = bytes.fromhex(hexadecimal)
    assert only(b"/a\0\0,s\0\0" + raw).arguments == (text,)
    assert encode("/a", text) == b"/a\0\0,s\0\0" + raw


def test_type_tag_string_may_be_missing_when_nothing_follows() -> None:
    assert only(b"/ping\0\0\0") == Message("/ping")
    assert only(b"/ping\0\0\0,\0\0\0") == Message("/ping")
    with pytest.raises(WireError, match=r'^/ping: the type tags begin with "," \(byte 8\)'):
        decode(b"/ping\0\0\0\x41\0\0\0")


def test_timetag_of_one_is_immediately_and_others_are_kept_whole() -> None:
    assert decode(bundle(1, NOTE)) == (Group(None, (Message("/a", (7,)),)),)
    tag = NEW_YEAR_2024_AND_A_QUARTER
    assert bundle(tag)[8:16] == bytes.fromhex("E93C7F00 40000000")
    assert decode(bundle(tag, NOTE)) == (Group(tag, (Message("/a", (7,), tag),)),)


@pytest.mark.parametrize("tag", list("]{x\x01"))
def test_an_unknown_type_tag_refuses_its_message_and_the_bundle_around_it(tag: str) -> None:
    odd = b"/odd\0\0\0\0" + padded(f",i{tag}f".encode()) + bytes(12)
    with pytest.raises(WireError) as alone:
        decode(odd)
    assert (alone.value.address, alone.value.offset) == ("/odd", 10)
    with pytest.raises(WireError) as bundled:
        decode(bundle(1, NOTE, odd, NOTE))
    assert bundled.value.address == "/odd"
    assert bundled.value.offset == 16 + 4 + len(NOTE) + 4 + 10


@pytest.mark.parametrize(
    ("tags", "data", "argument"),
    [
        ("h", "FFFFFFFFFFFFFFFE", -2),
        ("t", "E93C7F0040000000", Timetag(NEW_YEAR_2024_AND_A_QUARTER)),
        ("d", "C000000000000000", -2.0),
        ("S", "6D617273 68000000", Symbol("marsh")),
        ("c", "00000041", Character("A")),
        ("r", "FF804001", Colour(255, 128, 64, 1)),
        ("m", "00903C7F", MidiMessage(0, 0x90, 60, 127)),
        ("T", "", True),
        ("F", "", False),
        ("N", "", None),
        ("I", "", INFINITUM),
        ("[i[f]]", "00000007 3F800000", (7, (1.0,))),
        ("[]", "", ()),
    ],
)
def test_the_further_types_that_the_specification_lists(
    tags: str, data: str, argument: Argument
) -> None:
    """Bytes by the specification's table of "other, nonstandard types", calculated."""
    packet = b"/a\0\0" + padded(f",{tags}".encode()) + bytes.fromhex(data)
    [read] = only(packet).arguments
    assert read == argument
    assert type(read) is type(argument)
    assert encode("/a", argument) == packet or tags in "hd"  # narrower ones hold these
    if "[" not in tags:
        assert encode_typed("/a", tags, (argument,)) == packet


@pytest.mark.parametrize(
    ("tags", "offset", "reason"),
    [
        (",[i", 4, "no"),
        (",i]", 6, "ends no array"),
        ("," + "[" * 9 + "]" * 9, 13, "more than 8 deep"),
    ],
)
def test_arrays_that_are_none(tags: str, offset: int, reason: str) -> None:
    with pytest.raises(WireError, match=reason) as refused:
        decode(b"/a\0\0" + padded(tags.encode()) + bytes(4))
    assert refused.value.offset == offset
    assert only(b"/a\0\0" + padded(b"," + b"[" * 8 + b"]" * 8)).address == "/a"


def test_unix_time_is_ntp_2208988800_seconds_later() -> None:
    """2024-01-01T00:00:00.25Z is 1704067200.25 (Unix), E93C7F00 40000000 (NTP); RFC 5905."""
    assert ntp(1_704_067_200.25) == NEW_YEAR_2024_AND_A_QUARTER
    assert unix_s(NEW_YEAR_2024_AND_A_QUARTER) == 1_704_067_200.25
    assert unix_s(None) is None


def test_messages_of_one_bundle_are_one_group_and_inner_bundles_their_own() -> None:
    first, second, third = (encode("/n", number) for number in (1, 2, 3))
    later = NEW_YEAR_2024_AND_A_QUARTER
    packet = bundle(5, first, bundle(later, second), bundle(5), third)
    assert decode(packet) == (
        Group(5, (Message("/n", (1,), 5), Message("/n", (3,), 5))),
        Group(later, (Message("/n", (2,), later),)),
    )


def test_python_osc_reads_the_bundles_we_write() -> None:
    packet = encode_bundle(
        NEW_YEAR_2024_AND_A_QUARTER, NOTE, encode_bundle(NEW_YEAR_2024_AND_A_QUARTER, FOO)
    )
    assert packet == bundle(
        NEW_YEAR_2024_AND_A_QUARTER, NOTE, bundle(NEW_YEAR_2024_AND_A_QUARTER, FOO)
    )
    theirs = OscBundle(packet)
    assert theirs.timestamp == pytest.approx(1_704_067_200.25, abs=1e-6)
    assert [type(element) for element in theirs] == [OscMessage, OscBundle]
    assert encode_bundle(None, NOTE) == bundle(1, NOTE)
    with pytest.raises(InvalidValue, match="1900 to 2036"):
        encode_bundle(2**64, NOTE)
    with pytest.raises(InvalidValue, match="65535 bytes"):
        encode_bundle(None, *[NOTE] * 6000)


def test_enclosed_timetag_is_not_before_its_encloser() -> None:
    assert len(decode(bundle(5, bundle(5, NOTE)))) == 1
    for earlier in (4, 0, 1):
        with pytest.raises(WireError, match="is before 0000000000000005") as refused:
            decode(bundle(5, NOTE, bundle(earlier, NOTE)))
        assert refused.value.offset == 16 + 4 + len(NOTE) + 4 + 8


# python-osc as the other implementation

names = st.text(
    st.sampled_from([c for c in map(chr, range(33, 127)) if c not in "#*,/?[]{}"]), min_size=1
)
addresses = st.lists(names, min_size=1, max_size=4).map(lambda parts: "/" + "/".join(parts))
texts = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=40)
tagged = st.one_of(
    st.tuples(st.just("i"), st.integers(-(2**31), 2**31 - 1)),
    st.tuples(st.just("h"), st.integers(-(2**63), 2**63 - 1)),
    st.tuples(st.just("f"), st.floats(width=32, allow_nan=False, allow_infinity=False)),
    st.tuples(st.just("d"), st.floats(allow_nan=False, allow_infinity=False)),
    st.tuples(st.just("s"), texts),
    st.tuples(st.just("b"), st.binary(min_size=1, max_size=40)),
    st.sampled_from([("T", True), ("F", False), ("N", None)]),
)


@st.composite
def messages(draw: st.DrawFn) -> OscMessage:
    builder = OscMessageBuilder(draw(addresses))
    for tag, value in draw(st.lists(tagged, max_size=8)):
        builder.add_arg(value, tag)
    return builder.build()


@st.composite
def bundles(draw: st.DrawFn, earliest_s: float = 0.0, depth: int = 3) -> OscBundle:
    moment_s = draw(st.floats(earliest_s, 2_085_978_495.0))  # Unix time; 2036 is the era's end
    builder = OscBundleBuilder(moment_s if earliest_s or moment_s > 1 else IMMEDIATELY)
    inside = messages() if depth == 1 else st.one_of(messages(), bundles(moment_s, depth - 1))
    for element in draw(st.lists(inside, max_size=4)):
        builder.add_content(element)
    return builder.build()


def expected_groups(source: OscBundle) -> Iterator[tuple[bytes, list[tuple[str, list[Argument]]]]]:
    """Group what python-osc read: each bundle's eight bytes of timetag and its own messages."""
    own = [(m.address, list(m.params)) for m in source if isinstance(m, OscMessage)]
    if own:
        yield source.dgram[8:16], own
    for element in source:
        if isinstance(element, OscBundle):
            yield from expected_groups(element)


@given(messages())
def test_reads_what_python_osc_writes(source: OscMessage) -> None:
    assert only(source.dgram) == Message(source.address, tuple(source.params))


@given(bundles())
def test_groups_what_python_osc_bundles(source: OscBundle) -> None:
    groups = decode(source.dgram)
    read = [
        (
            struct.pack(">Q", 1 if group.timetag_ntp is None else group.timetag_ntp),
            [(message.address, list(message.arguments)) for message in group.messages],
        )
        for group in groups
    ]
    assert read == list(expected_groups(source))
    for group in groups:
        assert {message.timetag for message in group.messages} == {group.timetag_ntp}


arguments = st.recursive(
    st.one_of(
        tagged.map(lambda pair: pair[1]),
        st.just(b""),
        st.just(INFINITUM),
        texts.map(Symbol),
        st.characters(max_codepoint=127).map(Character),
        st.integers(0, 2**64 - 1).map(Timetag),
        st.builds(Colour, *[st.integers(0, 255)] * 4),
        st.builds(MidiMessage, *[st.integers(0, 255)] * 4),
    ),
    lambda inside: st.lists(inside, max_size=4).map(tuple),
    max_leaves=8,
)


def depth_of(argument: Argument) -> int:
    return 1 + max(map(depth_of, argument), default=0) if isinstance(argument, tuple) else 0


@given(addresses, st.lists(arguments.filter(lambda a: depth_of(a) <= MAX_DEPTH), max_size=6))
def test_what_is_written_is_read_again(address: str, sent: list[Argument]) -> None:
    message = only(encode(address, *sent))
    assert message.address == address
    assert encode(address, *message.arguments) == encode(address, *sent)
    for read, argument in zip(message.arguments, sent, strict=True):
        assert type(read) is type(argument)
        if not isinstance(argument, float | tuple):
            assert read == argument


@given(addresses, st.lists(tagged.map(lambda pair: pair[1]), max_size=8))
def test_python_osc_reads_what_we_write(address: str, arguments: list[Argument]) -> None:
    packet = encode(address, *arguments)
    theirs = OscMessage(packet)
    rounded = [
        struct.unpack(">f", struct.pack(">f", a))[0]
        if isinstance(a, float) and abs(a) <= 3.4028234663852886e38
        else a
        for a in arguments
    ]
    assert (theirs.address, theirs.params) == (address, rounded)
    assert [type(a) for a in theirs.params] == [type(a) for a in arguments]
    assert only(packet) == Message(address, tuple(rounded))


@pytest.mark.parametrize(
    ("argument", "tag"),
    [
        (2**31 - 1, b",i"),
        (-(2**31), b",i"),
        (2**31, b",h"),
        (-(2**31) - 1, b",h"),
        (2**63 - 1, b",h"),
        (True, b",T"),
        (1e38, b",f"),
        (1e39, b",d"),
    ],
)
def test_the_narrowest_tag_that_holds_the_value(argument: Argument, tag: bytes) -> None:
    packet = encode("/a", argument)
    assert packet[4:8] == padded(tag)
    assert only(packet).arguments == pytest.approx((argument,), rel=2**-24)


@pytest.mark.parametrize(
    "argument",
    [
        2**63,
        -(2**63) - 1,
        math.nan,
        math.inf,
        "a\0b",
        "\ud800",
        1j,
        (1, math.nan),
        Timetag(-1),
        Character("ä"),
        Colour(256, 0, 0, 0),
        ((((((((((),),),),),),),),),),
    ],
)
def test_what_cannot_be_written_is_refused(argument: Argument) -> None:
    with pytest.raises(InvalidValue, match=r"^/a: OSC "):
        encode("/a", argument)


@pytest.mark.parametrize("address", ["", "a", "/a b", "/a*", "/ä", "/a\0", "/\ud800", "/{a,b}"])
def test_addresses_that_cannot_be_written_are_refused(address: str) -> None:
    with pytest.raises(InvalidValue, match="OSC address"):
        encode(address)


def test_a_message_past_one_datagram_is_refused() -> None:
    fits = MAX_PACKET_BYTES // 4 * 4 - 4 - 4 - 4
    assert len(encode("/a", b"x" * fits)) == MAX_PACKET_BYTES // 4 * 4
    with pytest.raises(InvalidValue, match="65535 bytes"):
        encode("/a", b"x" * (fits + 1))


# Hazards: each has hurt a decoder before

NAN_32, INFINITY_32 = bytes.fromhex("7FC00000"), bytes.fromhex("7F800000")
INFINITY_64 = bytes.fromhex("FFF00000 00000000")


@pytest.mark.parametrize(
    ("packet", "offset", "reason"),
    [
        (b"", 0, "4 to 65535 bytes, this one 0"),
        (b"/\0\0", 0, "4 to 65535 bytes"),
        (b"/a\0\0,", 0, "multiple of 4"),
        (b"/" + bytes(65535), 0, "4 to 65535 bytes, this one 65536"),
        (b"a\0\0\0", 0, "an address is"),
        (bytes(4), 0, "an address is"),
        (b"/abc", 0, "no zero to end it"),
        (b"/a\0x", 2, "padded with"),
        (b"/a b\0\0\0\0", 0, "an address is"),
        (b"/a#b\0\0\0\0", 0, "an address is"),
        (b"/\xc3\xa4\0", 0, "an address is"),  # UTF-8
        (b"/\xff\xfe\0", 0, "an address is"),  # not even UTF-8
        (b"/\x07a\0", 0, "an address is"),
        (b"/a\0\0,iii", 4, "no zero to end it"),
        (b"/a\0\0,i\0\1\0\0\0\0", 6, "padded with"),
        (b"/a\0\0,i\0\0", 8, "32-bit integer needs 4 bytes, 0 are left"),
        (b"/a\0\0,f\0\0", 8, "32-bit float needs 4"),
        (b"/a\0\0,d\0\0\0\0\0\0", 8, "64-bit float needs 8 bytes, 4 are left"),
        (b"/a\0\0,t\0\0\0\0\0\0", 8, "timetag needs 8"),
        (b"/a\0\0,h\0\0\0\0\0\0", 8, "64-bit integer needs 8"),
        (b"/a\0\0,s\0\0abcd", 8, "no zero to end it"),
        (b"/a\0\0,s\0\0a\0\0b", 9, "padded with"),
        (b"/a\0\0,s\0\0a\xff\0\0", 9, "ASCII or UTF-8"),
        (b"/a\0\0,b\0\0", 8, "blob's size needs 4"),
        (b"/a\0\0,b\0\0\xff\xff\xff\xfc\0\0\0\0", 8, "size is -4"),
        (b"/a\0\0,b\0\0\x7f\xff\xff\xff\0\0\0\0", 12, "blob needs 2147483647 bytes, 4 are left"),
        (b"/a\0\0,b\0\0\0\0\0\1a\0\0b", 13, "padded with"),
        (b"/a\0\0,f\0\0" + NAN_32, 8, "nan, not a finite"),
        (b"/a\0\0,f\0\0" + INFINITY_32, 8, "inf, not a finite"),
        (b"/a\0\0,d\0\0" + INFINITY_64, 8, "-inf, not a finite"),
        (b"/a\0\0,\0\0\0\0\0\0\0", 8, "4 bytes stand after the last argument"),
        (b"#bundle\0", 0, "16 bytes or more"),
        (b"#bundlf\0" + bytes(8), 0, 'begins with "#bundle"'),
        (bundle(1) + struct.pack(">i", -4), 16, "size is -4"),  # loops for ever in some readers
        (bundle(1) + struct.pack(">i", 0), 16, "size is 0"),
        (bundle(1) + struct.pack(">i", 4), 16, "size is 4, not a multiple of 4 from 4 to 0"),
        (bundle(1) + struct.pack(">i", 2**31 - 1) + NOTE, 16, "size is 2147483647"),
        (bundle(1) + struct.pack(">i", 6) + b"/abcd\0\0\0", 16, "size is 6"),
        (bundle(1, b"#bundle\0"), 20, "16 bytes or more"),
        (bundle(1, NOTE, b"/b\0\0,f\0\0" + NAN_32), 44, "nan, not a finite"),
    ],
)
def test_malformed_packets_are_refused_whole(packet: bytes, offset: int, reason: str) -> None:
    with pytest.raises(WireError) as refused:
        decode(packet)
    assert reason in str(refused.value)
    assert refused.value.offset == offset
    assert str(refused.value).isascii()
    assert str(refused.value).isprintable()


def test_an_error_names_the_address_it_came_under() -> None:
    with pytest.raises(WireError) as refused:
        decode(bundle(1, NOTE, b"/b\0\0,f\0\0" + NAN_32))
    assert refused.value.address == "/b"
    assert str(refused.value) == "/b: a 32-bit float is nan, not a finite number (byte 44)"


def test_nesting_is_bounded() -> None:
    assert only(nested(MAX_DEPTH)) == Message("/a", (7,))
    for depth in (MAX_DEPTH + 1, 3000):  # 3000 would pass Python's own limit of recursion
        with pytest.raises(WireError, match="nested more than 8 deep") as refused:
            decode(nested(depth))
        assert refused.value.offset == 20 * MAX_DEPTH


@pytest.mark.parametrize(
    "address", [b"/a*", b"/?/b", b"/[a-c]", b"/{foo,bar}", b"/" + b"*a" * 30_000 + b"b"]
)
def test_patterns_are_read_as_they_stand(address: bytes) -> None:
    assert only(padded(address) + b",\0\0\0").address == address.decode()
    with pytest.raises(WireError, match="or a pattern"):
        decode(padded(address + b" ") + b",\0\0\0")


def test_a_packet_full_of_the_smallest_things_is_read() -> None:
    tags = b"," + b"N" * 65_000
    assert only(b"/a\0\0" + padded(tags)).arguments == (None,) * 65_000
    (group,) = decode(bundle(1, *[b"/a\0\0"] * 8_000))
    assert group.messages == (Message("/a"),) * 8_000


SEEDS = (
    FREQUENCY_440,
    FOO,
    encode("/note/on", "A4", 0.7, 12, 2**40, 1e300, True, False, None, b"blob!"),
    encode("/a", (1, ("A4", Symbol("b")), 2.0), Colour(1, 2, 3, 4), Timetag(5), INFINITUM, b""),
    encode("/part/{reed,bass}/[!a-c]*?", 0.5, pattern=True),
    bundle(1, FOO, NOTE),
    bundle(5, NOTE, bundle(9, FREQUENCY_440, bundle(9, FOO)), NOTE),
    nested(8),
)
TELLING = bytes([0x00, 0x01, 0x04, 0x23, 0x2A, 0x2C, 0x2F, 0x7F, 0x80, 0xFC, 0xFF])


def mutant(chance: random.Random) -> bytes:
    """Damage a seed in one to three places, mostly on a multiple of 4 so that more is reached."""
    data = bytearray(chance.choice(SEEDS))
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(data))
        word = at // 4 * 4
        match chance.randrange(6):
            case 0:
                data[at] = chance.randrange(256)
            case 1:
                data[at] = chance.choice(TELLING)
            case 2:
                del data[word : word + chance.choice((1, 4, 8))]
            case 3:
                data[word:word] = chance.choice(SEEDS)[: chance.choice((1, 4, 20))]
            case 4:
                data[word : word + 4] = struct.pack(">i", chance.choice((-4, 0, 4, 8, 2**31 - 1)))
            case 5:
                data = data[: word + 4] if chance.random() < 0.5 else data + data[word:]
        if not data:
            break
    return bytes(data)


def refusal(packet: bytes) -> WireError | None:
    """Read a packet; whatever else than `WireError` it raises fails the test that asked."""
    try:
        groups = decode(packet)
    except WireError as error:
        return error
    for group in groups:
        assert group.messages
        for message in group.messages:
            assert message.address.isascii()
            floats = [a for a in message.arguments if isinstance(a, float)]
            assert all(map(math.isfinite, floats))
    return None


def test_twenty_thousand_mutants_are_read_or_refused() -> None:
    chance = random.Random(40440)  # noqa: S311  a repeatable sequence is what is wanted
    refused = 0
    for _ in range(20_000):
        packet = mutant(chance)
        error = refusal(packet)
        if error is not None:
            refused += 1
            assert 0 <= error.offset <= len(packet)
            assert str(error).isprintable()
    assert 1_000 < refused < 19_000  # else too tame, or too wild to reach inside


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(packet: bytes) -> None:
    for candidate in (packet, b"/a\0\0," + packet, bundle(1) + packet):
        error = refusal(candidate)
        assert error is None or 0 <= error.offset <= len(candidate)
