"""Standard MIDI Files: bytes by hand, files by mido, exact times, pedals, and damaged files.

The rows of bytes are the format's own tables (Standard MIDI Files 1.0); what is marked "from
memory" was not looked up.
"""

import random
import struct
from collections.abc import Sequence
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.offline.midi_score import MAX_FILE_BYTES, MidiNote, MidiPiece, read_midi

CHORALE = Path(__file__).parent.parent / "data" / "chorale.mid"
END = "00 FF 2F 00"
Message, Meta = mido.Message, mido.MetaMessage


def chunk(kind: bytes, body: bytes) -> bytes:
    return kind + struct.pack(">I", len(body)) + body


def by_hand(*tracks: str, form: int = 0, division: int = 96) -> bytes:
    """Lay out a file whose tracks are written as hexadecimal events."""
    head = struct.pack(">HHH", form, len(tracks), division & 0xFFFF)
    return chunk(b"MThd", head) + b"".join(chunk(b"MTrk", bytes.fromhex(t)) for t in tracks)


def by_mido(*tracks: Sequence[object], form: int = 1, division: int = 480) -> bytes:
    file = mido.MidiFile(
        type=form, ticks_per_beat=division, tracks=list(map(mido.MidiTrack, tracks))
    )
    out = BytesIO()
    file.save(file=out)
    return out.getvalue()


def on(key: int, after: int = 0, velocity: int = 100, channel: int = 0) -> object:
    return Message("note_on", note=key, velocity=velocity, channel=channel, time=after)


def off(key: int, after: int = 0, channel: int = 0) -> object:
    return Message("note_off", note=key, channel=channel, time=after)


def pedal(value: int, after: int = 0, channel: int = 0) -> object:
    return Message("control_change", control=64, value=value, channel=channel, time=after)


def read(folder: Path, data: bytes, name: str = "tide.mid") -> MidiPiece:
    path = folder / name
    path.write_bytes(data)
    return read_midi(path)


def spans(piece: MidiPiece) -> list[tuple[int, Fraction, Fraction]]:
    return [(note.key, note.start_s, note.end_s) for note in piece.notes]


def beats(piece: MidiPiece) -> list[tuple[int, int, int]]:
    """Return key, start and end in 1/960 s: ticks of division 480 at the default tempo."""
    return [(k, int(s * 960), int(e * 960)) for k, s, e in spans(piece)]


# Time


def test_default_tempo_is_120_quarter_notes_a_minute(tmp_path: Path) -> None:  # from memory
    piece = read(tmp_path, by_hand(f"00 90 3C 7F 60 80 3C 40 {END}"))
    assert piece.notes == (MidiNote("channel-1", 1, 60, 1.0, Fraction(0), Fraction(1, 2)),)
    assert (piece.title, piece.notices) == ("tide", ())


def test_tempo_of_359281_microseconds(tmp_path: Path) -> None:
    piece = read(tmp_path, by_hand(f"00 FF 51 03 05 7B 71 00 90 3C 40 60 80 3C 40 {END}"))
    ((_, _, end_s),) = spans(piece)
    assert end_s == Fraction(359_281, 1_000_000)
    assert float(60 / end_s) == pytest.approx(167.0002, abs=5e-5)  # the rate as printed


def test_tempo_changes_are_exact_and_reach_every_track(tmp_path: Path) -> None:
    tempos = [
        Meta("set_tempo", tempo=333_333),
        Meta("set_tempo", tempo=1_000_000, time=7),
        Meta("set_tempo", tempo=1, time=480),
    ]
    piece = read(tmp_path, by_mido(tempos, [on(60, 3), off(60, 490)], division=480))
    start_s = Fraction(3 * 333_333, 480_000_000)
    changed_s = Fraction(7 * 333_333, 480_000_000)
    assert spans(piece) == [(60, start_s, changed_s + 1 + Fraction(6, 480_000_000))]


def test_a_tempo_in_a_later_track_counts_as_well(tmp_path: Path) -> None:
    late = [Meta("set_tempo", tempo=2_000_000, time=480)]
    assert spans(read(tmp_path, by_mido([on(60), off(60, 960)], late))) == [(60, 0, Fraction(5, 2))]


@pytest.mark.parametrize(
    ("division", "tick_s"),
    [
        (0xE878, Fraction(1, 24 * 120)),
        (0xE728, Fraction(1, 1000)),  # 25 frames of 40: milliseconds
        (0xE350, Fraction(1001, 30_000 * 80)),
        (0xE250, Fraction(1, 30 * 80)),
    ],
)
def test_smpte_divisions_ignore_the_tempo(tmp_path: Path, division: int, tick_s: Fraction) -> None:
    track = f"00 FF 51 03 00 00 01 0A 90 3C 40 60 80 3C 40 {END}"
    piece = read(tmp_path, by_hand(track, division=division))
    assert spans(piece) == [(60, 10 * tick_s, 106 * tick_s)]


QUANTITIES = [
    ("00", 0),
    ("40", 0x40),
    ("7F", 0x7F),
    ("81 00", 0x80),
    ("C0 00", 0x2000),
    ("FF 7F", 0x3FFF),
    ("81 80 00", 0x4000),
    ("C0 80 00", 0x100000),
    ("FF FF 7F", 0x1FFFFF),
    ("81 80 80 00", 0x200000),
    ("C0 80 80 00", 0x8000000),
    ("FF FF FF 7F", 0xFFFFFFF),
]


@pytest.mark.parametrize(("quantity", "ticks"), QUANTITIES)
def test_variable_length_quantities(tmp_path: Path, quantity: str, ticks: int) -> None:
    piece = read(tmp_path, by_hand(f"{quantity} 90 3C 40 60 80 3C 40 {END}"))
    assert spans(piece)[0][1] == Fraction(ticks, 2 * 96)


def test_the_delta_of_an_unknown_meta_event_counts(tmp_path: Path) -> None:
    track = f"60 FF 60 02 01 02 00 90 3C 40 60 80 3C 40 {END}"
    assert spans(read(tmp_path, by_hand(track))) == [(60, Fraction(1, 2), 1)]


# Bytes


def test_running_status(tmp_path: Path) -> None:
    piece = read(tmp_path, by_hand(f"00 90 3C 40 60 3C 00 00 3E 40 60 3E 00 {END}"))
    assert spans(piece) == [(60, 0, Fraction(1, 2)), (62, Fraction(1, 2), 1)]


@pytest.mark.parametrize("between", ["FF 01 01 41", "F0 03 7E 7F F7", "F7 01 F8"])
def test_meta_and_sysex_cancel_running_status(tmp_path: Path, between: str) -> None:
    whole = f"00 90 3C 40 00 {between} 60 80 3C 40 {END}"
    assert spans(read(tmp_path, by_hand(whole))) == [(60, 0, Fraction(1, 2))]
    with pytest.raises(InvalidValue, match=r"track 1, byte \d+: 3C where an event begins"):
        read(tmp_path, by_hand(f"00 90 3C 40 00 {between} 60 3C 00 {END}"))


def test_alien_chunks_and_a_longer_header_are_passed_over(tmp_path: Path) -> None:
    track = chunk(b"MTrk", bytes.fromhex(f"00 90 3C 40 60 80 3C 40 {END}"))
    head = chunk(b"MThd", struct.pack(">HHH", 1, 2, 96) + b"more")
    data = head + chunk(b"XFIH", b"odd") + track + chunk(b"xxxx", b"") + track + b"\0\0\0"
    assert len(read(tmp_path, data).notes) == 2


def test_a_track_without_its_end_mark_ends_with_its_bytes(tmp_path: Path) -> None:
    assert spans(read(tmp_path, by_hand("00 90 3C 40 60 80 3C 40"))) == [(60, 0, Fraction(1, 2))]


def test_nothing_is_read_after_the_end_mark(tmp_path: Path) -> None:
    piece = read(tmp_path, by_hand(f"00 90 3C 40 60 80 3C 40 {END} 00 90 3E 40 60 80 3E 40"))
    assert [note.key for note in piece.notes] == [60]


# Notes


def test_note_on_of_velocity_zero_is_a_note_off(tmp_path: Path) -> None:
    piece = read(tmp_path, by_mido([on(60), on(60, 480, velocity=0), on(62), off(62, 240)]))
    assert beats(piece) == [(60, 0, 480), (62, 480, 720)]


@pytest.mark.parametrize("velocity", [1, 64, 127])
def test_velocity_is_a_fraction_of_127(tmp_path: Path, velocity: int) -> None:
    piece = read(tmp_path, by_mido([on(60, velocity=velocity), off(60, 1)]))
    assert piece.notes[0].velocity == velocity / 127


def test_overlapping_notes_of_a_key_end_first_on_first_off(tmp_path: Path) -> None:
    track = [on(60, velocity=10), on(60, 10, velocity=20), off(60, 10), off(60, 10)]
    piece = read(tmp_path, by_mido(track))
    assert beats(piece) == [(60, 0, 20), (60, 10, 30)]
    assert [round(note.velocity * 127) for note in piece.notes] == [10, 20]


def test_a_key_is_its_channels_own(tmp_path: Path) -> None:
    track = [on(60), on(60, 10, channel=1), off(60, 10, channel=1), off(60, 10)]
    piece = read(tmp_path, by_mido(track))
    assert [(n.channel, int(n.start_s * 960), int(n.end_s * 960)) for n in piece.notes] == [
        (1, 0, 30),
        (2, 10, 20),
    ]


def test_notes_are_ordered_by_start_channel_and_key(tmp_path: Path) -> None:
    keys = [(62, 1), (60, 1), (64, 0)]
    track = [on(k, channel=c) for k, c in keys] + [off(k, 10, channel=c) for k, c in keys]
    piece = read(tmp_path, by_mido(track))
    assert [(note.channel, note.key) for note in piece.notes] == [(1, 64), (2, 60), (2, 62)]


def test_hanging_notes_end_with_their_track_and_are_told(tmp_path: Path) -> None:
    short = [on(60, 10, channel=2), Meta("end_of_track", time=90)]
    piece = read(tmp_path, by_mido(short, [on(62), off(62, 960)]))
    assert beats(piece) == [(62, 0, 960), (60, 10, 100)]
    assert piece.notices == ("notes on channel 3 that are never ended end with their track",)


def test_notes_of_no_length_are_left_out_and_told(tmp_path: Path) -> None:
    piece = read(tmp_path, by_mido([on(60), off(60), on(62), off(62, 5), off(70, 5)]))
    assert beats(piece) == [(62, 0, 5)]
    assert piece.notices == ("notes of no length left out: 1",)


# The sustain pedal


@pytest.mark.parametrize(("value", "end"), [(64, 40), (127, 40), (63, 20), (0, 20)])
def test_a_pedal_from_64_puts_off_the_end(tmp_path: Path, value: int, end: int) -> None:
    track = [pedal(value), on(60, 10), off(60, 10), pedal(0, 20)]
    assert beats(read(tmp_path, by_mido(track))) == [(60, 10, end)]


def test_a_key_struck_again_under_the_pedal_ends_the_former(tmp_path: Path) -> None:
    track = [pedal(127), on(60), off(60, 10), on(60, 10), off(60, 10), pedal(0, 10)]
    assert beats(read(tmp_path, by_mido(track))) == [(60, 0, 20), (60, 20, 40)]


def test_a_key_still_down_outlasts_the_pedal(tmp_path: Path) -> None:
    track = [pedal(127), on(60), pedal(0, 10), off(60, 10)]
    assert beats(read(tmp_path, by_mido(track))) == [(60, 0, 20)]


def test_a_pedal_pressed_after_the_release_keeps_nothing(tmp_path: Path) -> None:
    track = [on(60), off(60, 10), pedal(127, 10), pedal(0, 10)]
    assert beats(read(tmp_path, by_mido(track))) == [(60, 0, 10)]


def test_a_pedal_reaches_its_channel_on_every_track_and_no_other(tmp_path: Path) -> None:
    feet = [pedal(127), pedal(0, 100)]
    hands = [on(60), on(62, channel=1), off(60, 10), off(62, channel=1)]
    assert beats(read(tmp_path, by_mido(feet, hands))) == [(60, 0, 100), (62, 0, 10)]


def test_a_pedal_never_lifted_ends_with_the_track(tmp_path: Path) -> None:
    track = [pedal(127), on(60), off(60, 10), Meta("end_of_track", time=70)]
    piece = read(tmp_path, by_mido(track))
    assert beats(piece) == [(60, 0, 80)]
    assert piece.notices == ("notes on channel 1 that are never ended end with their track",)


def test_a_note_released_after_its_own_track_is_not_cut_short(tmp_path: Path) -> None:
    above, below = [pedal(127), on(60), Meta("end_of_track", time=10)], [off(60, 50)]
    assert beats(read(tmp_path, by_mido(above, below))) == [(60, 0, 50)]


# The sostenuto pedal, bends and pressure


def control(number: int, value: int, after: int = 0) -> object:
    return Message("control_change", control=number, value=value, time=after)


def touches(note: MidiNote) -> list[tuple[str, float, float]]:
    """Return what touches a note: the kind, beats from the file's start, the amount."""
    return [(t.kind.name, float(t.at_s * 960), t.amount) for t in note.touches]


@pytest.mark.parametrize(("value", "end"), [(64, 60), (63, 20)])
def test_the_sostenuto_pedal_keeps_what_is_down_and_nothing_later(
    tmp_path: Path, value: int, end: int
) -> None:
    track = [on(60), control(66, value, 10), off(60, 10), on(62), off(62, 10), control(66, 0, 30)]
    assert beats(read(tmp_path, by_mido(track))) == [(60, 0, end), (62, 20, 30)]


def test_the_pedals_together_are_those_of_a_piano(tmp_path: Path) -> None:
    """What the sustain pedal holds when the sostenuto goes down, that catches too."""
    track = [pedal(127), on(60), off(60, 10), control(66, 127, 10), on(62), off(62, 10)]
    lifted = [pedal(0, 10), control(66, 0, 10)]
    assert beats(read(tmp_path, by_mido([*track, *lifted]))) == [(60, 0, 50), (62, 20, 40)]
    lifted = [control(66, 0, 10), pedal(0, 10)]
    assert beats(read(tmp_path, by_mido([*track, *lifted]))) == [(60, 0, 50), (62, 20, 50)]


def test_a_bend_is_of_two_semitones_and_touches_what_sounds_and_what_comes(tmp_path: Path) -> None:
    track = [
        on(60),
        Message("pitchwheel", pitch=-8192, time=480),
        on(62, 480),
        off(60),
        Message("pitchwheel", pitch=4096, time=480),
        off(62, 480),
    ]
    first, second = read(tmp_path, by_mido(track)).notes
    assert touches(first) == [("BEND", 480, -200.0)]
    assert touches(second) == [("BEND", 960, -200.0), ("BEND", 1440, 100.0)]


def test_registered_parameter_0_says_how_far_a_bend_goes(tmp_path: Path) -> None:
    """12 semitones and 50 cents; after another parameter, or none, data entry is not for it."""
    chosen = [control(101, 0), control(100, 0), control(6, 12), control(38, 50)]
    others = [control(101, 127), control(100, 127), control(6, 1), control(99, 0), control(6, 3)]
    bend = Message("pitchwheel", pitch=-4096)
    piece = read(tmp_path, by_mido([*chosen, *others, bend, on(60), off(60, 10)]))
    assert touches(piece.notes[0]) == [("BEND", 0, -625.0)]
    assert len(piece.notices) == 1  # of the two data entries and the other parameter


def test_pressure_of_the_channel_and_of_a_key(tmp_path: Path) -> None:
    track = [
        on(60),
        on(64),
        Message("aftertouch", value=127, time=480),
        Message("polytouch", note=64, value=0, time=480),
        Message("polytouch", note=99, value=9),
        off(60, 480),
        off(64),
        Message("aftertouch", value=5, time=480),  # when all is over
    ]
    first, second = read(tmp_path, by_mido(track)).notes
    assert touches(first) == [("PRESSURE", 480, 1.0)]
    assert touches(second) == [("PRESSURE", 480, 1.0), ("PRESSURE", 960, 0.0)]


def test_resetting_the_controllers_lifts_the_pedals_and_rests_the_touch(tmp_path: Path) -> None:
    track = [
        pedal(127),
        on(60),
        control(66, 127, 10),
        off(60, 10),
        on(62),
        Message("pitchwheel", pitch=4096),
        Message("aftertouch", value=127),
        control(121, 0, 480),
        off(62, 480),
    ]
    first, second = read(tmp_path, by_mido(track)).notes
    assert (first.end_s * 960, second.end_s * 960) == (500, 980)
    assert touches(second)[-2:] == [("BEND", 500, 0.0), ("PRESSURE", 500, 0.0)]


# What is not used, and names


def test_one_notice_for_each_kind_names_its_channels(tmp_path: Path) -> None:
    notes = [on(60), off(60, 10)]
    odd = [
        Message("program_change", channel=2, program=5),
        Message("program_change", channel=0, program=5),
        Message("program_change", channel=0, program=6),
        Message("control_change", channel=1, control=7, value=90),
        Message("control_change", channel=1, control=10, value=90),
        Message("pitchwheel", channel=3, pitch=100),
        Message("aftertouch", channel=4, value=1),
        Message("polytouch", channel=5, note=60, value=1),
        Message("sysex", data=(1, 2)),
        on(36, channel=9),
        off(36, 10, channel=9),
    ]
    assert read(tmp_path, by_mido([*odd, *notes])).notices == (
        "program changes on channel 1, 3 ignored: voices are chosen by part",
        "controllers other than the sustain and sostenuto pedals on channel 2 ignored",
        "system exclusive messages ignored",
        "channel 10, by custom percussion, is read as pitches like the others",
    )


def named(name: str, *notes: object) -> list[object]:
    return [Meta("track_name", name=name), *notes]


def parts(piece: MidiPiece) -> dict[int, str]:
    return {note.channel: note.part for note in piece.notes}


def test_parts_go_by_the_track_that_has_the_channel_to_itself(tmp_path: Path) -> None:
    def two(channel: int) -> list[object]:
        return [on(60, channel=channel), off(60, 10, channel=channel)]

    data = by_mido(
        named("Slack water"),
        named("Reed", *two(0)),
        named("Both", *two(1), *two(2)),
        named("Left", *two(3)),
        named("Right", *two(3)),
        named("Reed", *two(4)),
        named("channel-16", *two(5)),
        two(15),
    )
    piece = read(tmp_path, data)
    assert piece.title == "Slack water"
    assert parts(piece) == {
        1: "Reed",
        2: "channel-2",
        3: "channel-3",
        4: "channel-4",
        5: "Reed (2)",
        6: "channel-16",
        16: "channel-16 (2)",
    }


def test_the_first_name_of_a_track_counts(tmp_path: Path) -> None:
    later = Meta("track_name", name="Flood")
    assert read(tmp_path, by_mido(named("Ebb", on(60), off(60, 5), later))).title == "Ebb"


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("Grève".encode("latin-1"), "Grève"),
        ("Grève 潮".encode(), "Grève 潮"),
        (b" bell\x07\x1b[31m\r\n\ttower\0 ", "bell [31m tower"),
        ("a\u202eb".encode(), "a b"),
        (b"x" * 300, "x" * 80),
        (b"\x00\x1b", "tide"),  # nothing left: the file's own name
    ],
)
def test_text_is_cleaned(tmp_path: Path, raw: bytes, shown: str) -> None:
    length = f"{0x80 | len(raw) >> 7:02X} {len(raw) & 0x7F:02X}"
    track = f"00 FF 03 {length} {raw.hex()} 00 90 3C 40 60 80 3C 40 {END}"
    assert read(tmp_path, by_hand(track)).title == shown


# Damaged files

GOOD = f"00 90 3C 40 60 80 3C 40 {END}"


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "begins with b''"),
        (b"RIFF....RMID", "begins with b'RIFF'"),
        (b"MThd\0\0\0\6\0\0\0\1", "cut after 12 bytes"),
        (chunk(b"MThd", bytes(4)) + bytes(20), "a header of 4 bytes"),
        (by_hand(GOOD, form=2), "format 2; allowed: format 0 or 1"),
        (by_hand(GOOD, division=0), "division 0000"),
        (by_hand(GOOD, division=0xE200), "division E200"),
        (by_hand(GOOD, division=0xE128), "division E128"),
        (by_hand(GOOD)[:-1], "cut: track 1 has 11 of its 12 bytes"),
        (by_hand(GOOD)[:14], "the header counts 1 tracks, 0 are there"),
        (by_hand(GOOD)[:14] + chunk(b"XXXX", bytes(9)), "the header counts 1 tracks"),
        (by_hand(), "no notes"),
        (by_hand(END), "no notes"),
        (by_hand(f"00 90 3C 00 {END}"), "no notes"),
        (by_hand(f"00 90 3C 40 00 80 3C 40 {END}"), "no notes"),
        (by_hand("00 90 3C"), "track 1, byte 2: an event runs past the end"),
        (by_hand("00 FF 01 7F 41"), "an event runs past the end"),
        (by_hand("FF FF FF FF 7F 90 3C 40"), "a number longer than 4 bytes"),
        (by_hand("00 F0 FF FF FF FF 7F"), "a number longer than 4 bytes"),
        (by_hand("00 3C 40"), "3C where an event begins"),
        (by_hand("00 F8"), "F8 where an event begins"),
        (by_hand("00 90 3C 80"), "data 3c 80 after status 90"),
        (by_hand(f"00 FF 51 03 00 00 00 {GOOD}"), "a tempo of bytes 00 00 00"),
        (by_hand(f"00 FF 51 02 00 01 {GOOD}"), "a tempo of bytes 00 01"),
        (by_hand(GOOD, "00 90", form=1), "track 2, byte 2"),
        (bytes(MAX_FILE_BYTES + 1), f"more than {MAX_FILE_BYTES} bytes"),
    ],
)
def test_bad_files_are_refused_by_name(tmp_path: Path, data: bytes, reason: str) -> None:
    with pytest.raises(InvalidValue) as refused:
        read(tmp_path, data, "bad.mid")
    assert str(refused.value).startswith(f"{tmp_path / 'bad.mid'}: MIDI file: got ")
    assert reason in f"{refused.value.got}; allowed: {refused.value.allowed}"


def test_a_path_that_is_no_file_is_refused_by_name(tmp_path: Path) -> None:
    for path in (tmp_path / "none.mid", tmp_path, Path("a\0b")):
        with pytest.raises(InvalidValue) as refused:
            read_midi(path)
        assert str(refused.value).startswith(f"{path}: MIDI file: got ")


def test_ten_thousand_damaged_files_are_read_or_refused(tmp_path: Path) -> None:
    chance = random.Random(1883)  # noqa: S311  a repeatable sequence is what is wanted
    chorale = CHORALE.read_bytes()
    small = by_mido(
        named("Tide", Meta("set_tempo", tempo=400_000), Meta("key_signature", key="F#m")),
        named("Reed", pedal(127), on(60), off(60, 10), on(60, 10), off(60, 10), pedal(0, 10)),
        [Message("sysex", data=(1, 2)), Message("program_change", program=4), on(50, channel=9)],
    )
    path = tmp_path / "damaged.mid"
    refused = 0
    for number in range(10_000):
        data = bytearray(chorale if number % 50 == 0 else small)
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(data))
            match chance.randrange(8):
                case 0:
                    del data[at : at + chance.randint(1, 4)]
                case 1:
                    data[at:at] = chance.randbytes(chance.randint(1, 4))
                case 2 | 3:
                    data[at] = chance.choice((0x00, 0x7F, 0x80, 0xF0, 0xF7, 0xFF))
                case _:
                    data[at] = chance.randrange(256)
        path.write_bytes(data)
        try:
            piece = read_midi(path)
        except InvalidValue as error:
            refused += 1
            message = str(error)
        else:
            message = f"{path}: {piece.title}"
            assert piece.notes
            assert all(0 <= note.start_s < note.end_s for note in piece.notes)
            assert all(0 < note.velocity <= 1 for note in piece.notes)
        assert message.startswith(str(path))
        assert message.isprintable()
    assert 1_000 < refused < 9_000  # else the damage is too tame, or too wild to reach inside


@given(st.binary(max_size=100))
def test_any_bytes_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, body: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.mid"
    for data in (body, by_hand(body.hex()), by_hand(GOOD)[:14] + body):
        path.write_bytes(data)
        try:
            assert read_midi(path).notes
        except InvalidValue as error:
            refused = error
            assert refused.where == str(path)


# There and back

Score = list[tuple[int, int, int, int, int]]


@st.composite
def scores(draw: st.DrawFn) -> Score:
    """Draw notes (channel, key, velocity, start, length in ticks), no key overlapping itself."""
    free: dict[tuple[int, int], int] = {}
    score: Score = []
    for _ in range(draw(st.integers(1, 30))):
        place = (draw(st.integers(0, 15)), draw(st.integers(0, 127)))
        start = free.get(place, 0) + draw(st.integers(0, 5000))
        length = draw(st.integers(1, 5000))
        free[place] = start + length
        score.append((*place, draw(st.integers(1, 127)), start, length))
    return score


@given(
    scores(),
    st.lists(st.tuples(st.integers(0, 20_000), st.integers(1, 0xFFFFFF)), max_size=5),
    st.integers(1, 0x7FFF),
    st.sampled_from([0, 1]),
)
def test_what_mido_writes_is_read_to_the_tick(
    tmp_path_factory: pytest.TempPathFactory,
    score: Score,
    tempos: list[tuple[int, int]],
    division: int,
    form: int,
) -> None:
    tempos = sorted(dict(tempos).items())
    timed: list[tuple[int, int, object]] = [
        (tick, 0, Meta("set_tempo", tempo=tempo)) for tick, tempo in tempos
    ]
    for channel, key, velocity, start, length in score:
        timed.append((start, 2, on(key, velocity=velocity, channel=channel)))
        timed.append((start + length, 1, off(key, channel=channel)))
    timed.sort(key=lambda entry: entry[:2])
    now, events = 0, []
    for tick, _, message in timed:
        events.append(message.copy(time=tick - now))
        now = tick
    tracks = [events] if form == 0 else [[], events]
    path = tmp_path_factory.getbasetemp() / "round.mid"
    path.write_bytes(by_mido(*tracks, form=form, division=division))

    def seconds(tick: int) -> Fraction:
        """Add up the microseconds tick by tick of each stretch of one tempo: the slow plain way."""
        total = 0
        for begin, tempo, end in zip(
            [0, *(t for t, _ in tempos)],
            [500_000, *(tempo for _, tempo in tempos)],
            [*(t for t, _ in tempos), 2**40],
            strict=True,
        ):
            total += max(0, min(tick, end) - begin) * tempo
        return Fraction(total, 1_000_000 * division)

    expected = sorted(
        (seconds(start), channel + 1, key, seconds(start + length), velocity / 127)
        for channel, key, velocity, start, length in score
    )
    read_back = [(n.start_s, n.channel, n.key, n.end_s, n.velocity) for n in read_midi(path).notes]
    assert read_back == expected


# Real input


def test_the_chorale_has_four_parts_and_its_notes() -> None:
    piece = read_midi(CHORALE)
    by_part: dict[str, list[int]] = {}
    for note in piece.notes:
        by_part.setdefault(note.part, []).append(note.key)
    counted = {part: (len(keys), min(keys), max(keys)) for part, keys in by_part.items()}
    assert counted == {  # tests/data/README.md
        "Soprano": (96, 60, 77),
        "Alto": (96, 60, 68),
        "Tenor": (96, 48, 67),
        "Bass": (100, 44, 60),
    }
    assert {note.part: note.channel for note in piece.notes} == {
        "Soprano": 1,
        "Alto": 2,
        "Tenor": 3,
        "Bass": 4,
    }
    assert max(note.end_s for note in piece.notes) == Fraction(93, 2)
    assert piece.notices == ()
