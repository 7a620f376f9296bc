"""Messages over a real socket, obeyed by a real engine whose blocks the test asks for."""

import ipaddress
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.tcp_client import SimpleTCPClient

import tones
from meantide import __version__
from meantide.errors import DeviceError, InvalidValue
from meantide.live.addresses import ADDRESSES
from meantide.live.limits import MOST_SENDERS, Limits
from meantide.live.server import OscServer
from meantide.live.watchers import MOST_LEASES, Topic, Watchers
from meantide.osc.stream import Framing, Unframer, frame
from meantide.perform.event import RECORD, OutcomeKind
from playing import RATE, ROOT_HALF, decibels
from stage import BLOCK, Stage, message

NTP_TO_UNIX_S = 2_208_988_800


@pytest.fixture
def stage() -> Iterator[Stage]:
    built = Stage()
    yield built
    built.close()


def test_notes_by_key_name_degree_and_hertz_sound_where_they_should(stage: Stage) -> None:
    assert stage.ask("/note/on", 60, 0.3) == []
    assert stage.ask("/note/on", "C#5", 0.3, 7) == []
    assert stage.ask("/degree/on", 5.0, 0.3) == []
    assert stage.ask("/hertz/on", 1234.5, 0.3) == []
    expected = [440 * 2 ** (n / 12) for n in (-9, 4, -4)] + [1234.5]
    samples = stage.play(0.5)[4_000:]
    fit = tones.fit_lines(samples, RATE, expected)
    for measured, hz in zip(fit.hz, expected, strict=True):
        assert abs(tones.cents(measured, hz)) < 0.001
    assert fit.residual_db < -110.0


def test_scale_anchor_voice_and_level_do_what_they_say(stage: Stage) -> None:
    stage.ask("/note/on", "E5", 0.5, 1)
    stage.play(0.1)
    assert stage.ask("/scale", "31-equal", 0.05) == []
    assert stage.ask("/anchor", 432.0, "A4") == []
    samples = stage.play(0.5)[5_000:]
    expected = 432.0 * 2 ** (18 / 31)
    assert abs(tones.cents(tones.measure_hz(samples, RATE, expected), expected)) < 0.001
    assert stage.ask("/scale/equal", 19) == []
    assert stage.ask("/anchor", 435, 0.1) == []  # the same note, another frequency
    assert stage.ask("/voice", "still-water") == []
    assert stage.ask("/level", -40.0, 0.05) == []
    samples = stage.play(0.5)[8_000:]
    expected = 435.0 * 2 ** (11 / 19)
    assert abs(tones.cents(tones.measure_hz(samples, RATE, expected), expected)) < 0.001
    loud = 0.5 * np.sqrt(0.5)  # the velocity, and a note in the middle
    assert decibels(np.abs(samples).max() / loud) == pytest.approx(-40.0, abs=0.05)
    state = stage.state()
    assert state["scale"] == "19-equal"
    assert state["anchor"] == "A4=435"
    assert state["voice"] == "still-water"
    assert state["level_db"] == -40.0
    assert state["notes"] == 1


def test_a_layout_gives_the_keys_other_degrees_and_held_notes_follow_or_stay(stage: Stage) -> None:
    stage.ask("/scale", "31-equal")
    stage.ask("/note/on", 61, 0.3, 1)  # degree 1 by the linear layout, C# (degree 2) by the other
    stage.play(0.1)
    assert stage.ask("/layout", "keyboard", 0.0, "stay") == []
    assert stage.state()["layout"] == "keyboard"
    stage.ask("/note/on", 68, 0.3, 2)
    samples = stage.play(0.5)[4_000:]
    expected = [440 * 2 ** ((degree - 23) / 31) for degree in (1, 20)]
    for measured, hz in zip(tones.fit_lines(samples, RATE, expected).hz, expected, strict=True):
        assert abs(tones.cents(measured, hz)) < 0.001
    assert stage.ask("/note/off", 2) == []
    assert stage.ask("/layout", "keyboard-flats", 0.05) == []  # key 61 is Db there, degree 3
    samples = stage.play(1.5)[48_000:]
    expected_hz = 440 * 2 ** ((3 - 23) / 31)
    assert abs(tones.cents(tones.measure_hz(samples, RATE, expected_hz), expected_hz)) < 0.001


def test_a_key_that_plays_nothing_is_silent_and_says_so_once(stage: Stage) -> None:
    assert stage.ask("/layout", "white-keys") == []
    for key in (61, 63):
        [(reply, (about, reason))] = stage.ask("/note/on", key, 0.5)
        assert (reply, about) == ("/error", "/note/on")
        assert reason == (
            f"key: got {key}; allowed: a key that plays something in white-keys; it stays silent"
        )
        assert stage.ask("/note/on", key, 0.5) == []
        assert stage.ask("/note/off", key) == []
    assert not stage.play(0.1).any()
    assert stage.state()["refused"] == 0
    assert stage.ask("/note/on", 62, 0.5, 1) == []
    assert stage.play(0.1).any()
    # Another layout is told of anew, another scale is not.
    assert stage.ask("/scale", "19-equal") == []
    assert stage.ask("/note/on", 61, 0.5) == []
    assert stage.ask("/layout", "black-keys") == []
    assert stage.ask("/note/on", 61, 0.5, 2) == []
    assert len(stage.ask("/note/on", 62, 0.5)) == 1
    assert stage.ask("/layout", "white-keys") == []
    assert len(stage.ask("/note/on", 61, 0.5)) == 1


def test_what_the_layout_lacks_keeps_the_scale_there_is(stage: Stage) -> None:
    stage.ask("/anchor", 440.0, "A4")
    stage.ask("/layout", "keyboard")
    before = stage.control.state
    [(reply, (_, reason))] = stage.ask("/scale", "13-equal-of-3")
    assert reply == "/error"
    assert "no note names" in reason
    assert stage.control.state == before


def test_an_anchor_by_name_then_as_the_room_warms(stage: Stage) -> None:
    stage.ask("/note/on", "A4", 0.5, 1)
    assert stage.ask("/anchor/preset", "a435", 0.02) == []
    assert stage.state()["anchor"] == "A4=435"
    # An ideal column goes as the square root of the temperature in kelvin; a435 states 15 °C.
    for celsius in (20.0, 5, 22.0):
        assert stage.ask("/anchor/celsius", celsius, 0.05) == []
        samples = stage.play(0.5)[8_000:]
        expected = 435.0 * ((celsius + 273.15) / 288.15) ** 0.5
        assert abs(tones.cents(tones.measure_hz(samples, RATE, expected), expected)) < 0.001
    stage.ask("/anchor", 440.0, "A4")  # states no temperature any more
    [(address, (_, reason))] = stage.ask("/anchor/celsius", 20.0)
    assert address == "/error"
    assert "'A4=440'" in reason


def test_notes_end_by_id_by_key_by_name_all_and_at_once(stage: Stage) -> None:
    for arguments in ((60, 0.5), (64, 0.5), ("G4", 0.5), (72, 0.5, 3), (74, 0.5)):
        stage.ask("/note/on", *arguments)
    stage.play(0.1)
    sounding = [stage.state()["notes"]]
    for off in (60, "G4", 3):
        stage.ask("/note/off", off)
        stage.play(0.1)
        sounding.append(stage.state()["notes"])
    assert sounding == [5, 4, 3, 2]
    stage.ask("/notes/off")
    stage.play(0.1)
    assert stage.state()["notes"] == 0
    stage.ask("/note/on", 60, 0.5)
    stage.play(0.1)
    stage.ask("/sound/off")
    left = np.abs(stage.play(0.3))
    assert left[BLOCK * 2 :].max() < 3e-4  # -70 dBFS: what the high-pass lets go, of 10 Hz
    assert left[-BLOCK:].max() < 1e-8  # which fades by 386 dB a second


def test_the_meter_tells_of_a_sine_what_it_is_and_begins_anew_when_asked(stage: Stage) -> None:
    """A sine of peak p in both channels: p in dBFS, and its loudness as BS.1770 calibrates it.

    -3.01 LUFS for one channel of 997 Hz at full scale, 0 for both; K-weighting is flat enough there
    that 1000 Hz reads 0.01 LU more.
    """
    stage.ask("/hertz/on", 1000.0, 1.0, 1)
    stage.play(4.0)
    [(address, pairs)] = stage.ask("/ask/meter")
    assert address == "/reply/meter"
    told = dict(zip(pairs[::2], pairs[1::2], strict=True))
    peak_db = -6.0 + 20.0 * np.log10(ROOT_HALF)
    for name in ("peak_dbfs", "true_peak_dbtp", "highest_true_peak_dbtp"):
        assert told[name] == pytest.approx(peak_db, abs=0.1)
    for name in ("momentary_lufs", "short_term_lufs"):
        assert told[name] == pytest.approx(peak_db, abs=0.1)
    assert told["limited_db"] == 0.0
    stage.ask("/sound/off")
    stage.play(0.3)
    assert stage.ask("/meter/reset") == []
    stage.play(0.1)
    [(_, pairs)] = stage.ask("/ask/meter")
    assert dict(zip(pairs[::2], pairs[1::2], strict=True))["integrated_lufs"] == -200.0


def test_ping_is_answered_with_what_it_brought_version_and_sample(stage: Stage) -> None:
    stage.play(0.1)
    stage.send_bytes(message("/ping", "quay", 3))
    reply = OscMessage(stage.client.recvfrom(65_536)[0])
    assert reply.address == "/pong"
    assert reply.params == ["quay", 3, __version__, stage.engine.sample]


@pytest.mark.parametrize(
    ("address", "arguments", "told"),
    [
        ("/note/onn", (60, 0.5), "did you mean"),
        ("/note/on", (60,), "key or name, velocity, [id]"),
        ("/note/on", (60, 0.5, 1, 2), "4 of them"),
        ("/note/on", (60, 0.0), "velocity"),
        ("/note/on", (60.5, 0.5), "whole number"),
        ("/note/on", ("H4", 0.5), "note name"),
        ("/note/on", (True, 0.5), "key or name"),
        ("/note/on", (60, 0.5, -1), "id"),
        ("/degree/on", (90_000, 0.5), "half the sample rate"),
        ("/hertz/on", (30_000.0, 0.5), "half the sample rate"),
        ("/hertz/on", (0.0, 0.5), "Hz"),
        ("/scale", ("31-equals",), "31-equal"),
        ("/scale", ("../secret.yaml",), "no paths over the network"),
        ("/scale", ("31-equal", -1.0), "glide seconds"),
        ("/scale", ("31-equal", 1.0, "leave"), "follow or stay"),
        ("/scale/equal", (0,), "parts"),
        ("/scale", ("13-equal-of-3",), "degree"),  # A4 is anchored, and that scale has no names
        ("/anchor", (0.0,), "Hz"),
        ("/anchor", (440.0, "H9"), "note name"),
        ("/anchor", (440.0, "A4", 0.1, 5), "[note name]"),
        ("/layout", ("keybord",), "keyboard"),
        ("/layout", ("./keyboard.yaml",), "no paths over the network"),
        ("/anchor/preset", ("a43",), "a43"),
        ("/anchor/preset", ("A4=440",), "the name of a preset"),
        ("/anchor/preset", ("a435", -1.0), "glide seconds"),
        ("/anchor/celsius", (20.0,), "an anchor stated at a temperature, such as a435"),
        ("/anchor/celsius", (60.0,), "from -20 to 50"),
        ("/anchor/celsius", ("warm",), "celsius"),
        ("/voice", ("plain-red",), "plain-reed"),
        ("/voice/set", ("tilt", -3.0), "tilt_db"),
        ("/voice/set", ("tilt_db", -300.0), "-48 to 48"),
        ("/voice/set", ("tilt_db", float("nan")), "finite"),
        ("/voice/set", ("tilt_db", "dark"), "value"),
        ("/voice/set", ("tilt_db", -3.0, -1.0), "seconds"),
        ("/voice/set", ("tilt_db",), "parameter, value, [seconds]"),
        ("/note/bend", (1, 12_001.0), "-12000 to 12000"),
        ("/note/bend", (1,), "id, key or name, cents, [seconds]"),
        ("/note/bend", ("H4", 5.0), "note name"),
        ("/note/pressure", (1, 1.5), "0 to 1"),
        ("/note/timbre", (1, -0.5), "0 to 1"),
        ("/note/timbre", (1, 0.5, 61.0), "seconds"),
        ("/sustain", (2,), "0 to 1"),
        ("/sustain", (0.5,), "whole number"),
        ("/sustain", (True,), "0 or 1"),
        ("/sostenuto", (), "0 or 1"),
        ("/glide", (-0.1,), "0 to 60"),
        ("/level", (3.0,), "dB"),
        ("/ask/state", (1,), "none"),
        ("/note/*", (60, 0.5), "/note/off: arguments"),  # one of those matched, so none is obeyed
        ("/quay/*", (), "a pattern that matches"),
        ("/[note/on", (60, 0.5), "closed before the next /"),
        ("/note/on", (60, 0.5, 1.5), "whole number"),
        ("/watch", ("tides", 5), "state, meter, notes or load"),
        ("/watch", ("state", 1e9), "3600"),
        ("/ask/pitch", ("H4",), "note name"),
        ("/ask/presets", ("secrets",), "scales"),
    ],
)
def test_what_cannot_be_obeyed_is_answered_and_changes_nothing(
    stage: Stage, address: str, arguments: tuple[Any, ...], told: str
) -> None:
    before = stage.control.state
    [(reply, (about, reason))] = stage.ask(address, *arguments)
    assert reply == "/error"
    assert about == address
    assert told in reason
    assert stage.control.state == before
    assert not stage.play(0.1).any()
    assert stage.state()["refused"] == 0  # it never came as far as the audio side


def test_a_packet_that_is_none_is_answered_and_the_next_is_obeyed(stage: Stage) -> None:
    looping = b"#bundle\0" + bytes(7) + b"\x01" + b"\xff\xff\xff\xfc"  # an element of -4 bytes
    for packet in (b"quay", looping, b"/note/on\0\0\0\0,if\0\0\0", bytes(64)):
        stage.send_bytes(packet)
        [(reply, _)] = stage.replies()
        assert reply == "/error"
    stage.ask("/note/on", 60, 0.5)
    assert stage.play(0.1).any()


def bundle(*packets: tuple[Any, ...], at_s: float = IMMEDIATELY) -> bytes:
    builder = OscBundleBuilder(at_s)
    for packet in packets:
        builder.add_content(OscMessage(message(*packet)))
    return builder.build().dgram


def test_a_bundle_acts_whole_at_one_sample(stage: Stage) -> None:
    stage.play(0.05)
    stage.send_bytes(bundle(("/note/on", 60, 0.5), ("/scale", "31-equal"), ("/note/on", 67, 0.5)))
    assert stage.replies() == []
    stage.play(0.05)
    assert len({outcome.sample for outcome in stage.engine.outcomes}) == 1
    assert stage.state()["notes"] == 2
    assert stage.state()["scale"] == "31-equal"


def test_one_bad_message_refuses_its_bundle_whole(stage: Stage) -> None:
    before, given = stage.control.state, next(stage.engine._numbers)
    good = (("/note/on", 60, 0.5), ("/scale", "31-equal"), ("/part/reed/pan", 0.5))
    stage.send_bytes(bundle(*good, ("/note/on", "X", 0.5), ("/ask/state",)))
    [(reply, (about, reason))] = stage.replies()
    assert (reply, about) == ("/error", "/note/on")
    assert reason.endswith("nothing of the bundle was done")
    assert stage.control.state is before
    assert next(stage.engine._numbers) == given + 1  # no scale was handed over for nothing
    assert not stage.play(0.1).any()
    stage.send_bytes(bundle(*good))
    assert stage.replies() == []
    assert stage.play(0.1).any()
    assert stage.state()["parts"] == "main reed"


def test_a_key_that_plays_nothing_does_not_silence_its_chord(stage: Stage) -> None:
    assert stage.ask("/layout", "white-keys") == []
    stage.send_bytes(bundle(("/note/on", 60, 0.5), ("/note/on", 61, 0.5), ("/note/on", 64, 0.5)))
    [(reply, (about, _))] = stage.replies()
    assert (reply, about) == ("/error", "/note/on")
    stage.play(0.1)
    assert stage.state()["notes"] == 2


def test_a_refused_bundle_leaves_no_lease(stage: Stage) -> None:
    stage.send_bytes(bundle(("/watch", "meter", 60), ("/note/on", "X", 0.5)))
    [(reply, _)] = stage.replies()
    assert reply == "/error"
    assert len(stage.server.reception.watchers) == 0
    stage.send_bytes(bundle(("/watch", "meter", 60), ("/unwatch", "meter"), ("/watch", "load", 9)))
    stage.send_bytes(message("/unwatch", "load"))
    stage.send_bytes(message("/ping"))
    while OscMessage(stage.client.recvfrom(65_536)[0]).address != "/pong":
        pass
    assert len(stage.server.reception.watchers) == 0


def test_answers_are_not_answered(stage: Stage) -> None:
    """Or else two engines told of each other would go on for ever."""
    for address in ("/error", "/pong", "/reply/state"):
        assert stage.ask(address, "/note/on", "no such") == []


def test_a_pattern_is_dispatched_to_all_it_matches(stage: Stage) -> None:
    for part in ("reed", "reef", "bass"):
        assert stage.ask(f"/part/{part}/pan", 0.0) == []
    assert stage.ask("/part/ree[df]/{pan,width}", 0.25) == []
    state = stage.state()
    assert [state[f"part/{part}/pan"] for part in ("main", "reed", "reef", "bass")] == [
        0.0, 0.25, 0.25, 0.0,
    ]  # fmt: skip
    assert [state[f"part/{part}/width"] for part in ("reed", "reef", "bass")] == [0.25, 0.25, 0.0]
    assert stage.ask("/part/*/level", -9.0) == []
    assert stage.state()["part/bass/level_db"] == -9.0
    assert stage.state()["level_db"] == -6.0
    stage.ask("/note/on", 60, 0.5)
    stage.play(0.1)
    assert stage.ask("/sound/*") == []
    stage.play(0.1)
    assert stage.state()["notes"] == 0


def test_the_questions_of_tuning_pitch_presets_and_namespace(stage: Stage) -> None:
    assert stage.ask("/scale", "meantone-quarter-comma") == []
    [(address, pairs)] = stage.ask("/ask/tuning")
    told = dict(zip(pairs[::2], pairs[1::2], strict=True))
    assert address == "/reply/tuning"
    assert (told["degrees"], told["anchor_hz"], told["degree/4"]) == (12, 440.0, "5/4")
    [(address, pairs)] = stage.ask("/ask/pitch", "C#5")
    told = dict(zip(pairs[::2], pairs[1::2], strict=True))
    assert address == "/reply/pitch"
    assert told["hz"] == pytest.approx(550.0, rel=1e-6)  # A4 to C#5 is a pure third there
    assert told["interval"] == "5/4"
    assert told["note"] == "C#5"
    presets = stage.ask("/ask/presets")
    assert {reply[1][0] for reply in presets} == {"scales", "anchors", "layouts", "voices"}
    assert "31-equal" in next(names for _, names in presets if names[0] == "scales")
    [(_, (kind, *names))] = stage.ask("/ask/presets", "layouts")
    assert kind == "layouts"
    assert "keyboard" in names
    [(_, pairs)] = stage.ask("/ask/namespace")
    assert dict(zip(pairs[::2], pairs[1::2], strict=True)) == {
        path: each.wants for path, each in ADDRESSES.items()
    }


def test_a_watcher_is_told_until_it_watches_no_more(stage: Stage) -> None:
    stage.send_bytes(message("/watch", "state", 3600))  # its pong might come later
    other = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    other.settimeout(20.0)

    def told() -> dict[str, Any]:
        reply = OscMessage(stage.client.recvfrom(65_536)[0])
        assert reply.address == "/state"
        return dict(zip(reply.params[::2], reply.params[1::2], strict=True))

    assert told()["scale"] == "this scale of 12 degrees"
    other.sendto(message("/scale", "31-equal"), ("127.0.0.1", stage.server.port))
    assert told()["scale"] == "31-equal"
    assert stage.ask("/unwatch", "state") == []
    assert len(stage.server.reception.watchers) == 0
    other.close()


@pytest.mark.parametrize("framing", Framing)
def test_tcp_speaks_both_framings_and_answers_in_the_same(stage: Stage, framing: Framing) -> None:
    with socket.create_connection(("127.0.0.1", stage.server.port), 20.0) as link:
        for packet in (message("/note/on", 60, 0.5), message("/ping", "quay")):
            link.sendall(frame(packet, framing))
        unframer, packets = Unframer(framing), []
        while not packets:
            packets += unframer.feed(link.recv(65_536))
        assert OscMessage(packets[0]).params[0] == "quay"
    assert stage.play(0.1).any()


def test_a_stream_that_is_none_is_told_so_and_closed_and_others_are_served(stage: Stage) -> None:
    with socket.create_connection(("127.0.0.1", stage.server.port), 20.0) as link:
        link.sendall(b"GET / HTTP/1.1\r\n")
        data = b"".join(iter(lambda: link.recv(4096), b""))
    assert not data or b"/error" in data
    assert stage.ask("/note/on", 60, 0.5) == []


def test_python_oscs_tcp_client_is_served(stage: Stage) -> None:
    client = SimpleTCPClient("127.0.0.1", stage.server.port, mode="1.1")
    client.send_message("/hertz/on", [440.0, 0.5])
    client.send_message("/ping", ["quay"])
    [packet] = list(client.receive(20))[:1]
    assert OscMessage(packet).params[0] == "quay"
    client.close()
    assert stage.play(0.1).any()


def test_who_may_speak() -> None:
    stage = Stage(allow=(ipaddress.ip_network("192.168.7.0/24"),))
    speak = stage.server._may_speak
    assert [
        speak(each)
        for each in ("127.0.0.1", "192.168.7.9", "192.168.8.9", "::1", "::ffff:192.168.7.9", "::2")
    ] == [True, True, False, True, True, False]
    with pytest.raises(InvalidValue, match="--allow"):
        OscServer("0.0.0.0", 0, stage.control)  # noqa: S104  refused
    OscServer("0.0.0.0", 0, stage.control, stage.server.allow).stop()  # noqa: S104
    stage.close()


def test_while_audio_is_away_notes_are_refused_and_what_is_set_is_kept(stage: Stage) -> None:
    stage.ask("/hertz/on", 440.0, 0.5, 1)
    stage.play(0.1)
    stage.engine.away = True
    for refused in (("/note/on", "A4", 0.5), ("/part/main/hertz/on", 330.0, 0.5),
                    ("/note/bend", 1, 20.0)):  # fmt: skip
        [(address, (named, reason))] = stage.ask(*refused)
        assert (address, named) == ("/error", refused[0])
        assert reason.startswith("busy: audio is away")
    # of a bundle only what ends sound is done, and what is set by itself is kept
    stage.send_bytes(bundle(("/note/off", 1), ("/scale", "19-equal"), ("/note/on", 60, 0.5)))
    [(_, (named, reason))] = stage.replies()
    assert (named, reason.endswith("nothing of the bundle was done")) == ("/note/on", True)
    assert stage.state()["scale"] != "19-equal"
    assert stage.ask("/scale", "31-equal") == []
    stage.engine.away = False
    stage.play(1.0)
    assert stage.engine.sounding == 0
    assert stage.state()["scale"] == "31-equal"
    assert stage.ask("/note/on", "A4", 0.5) == []


def test_a_flood_is_dropped_and_told_once_while_another_sender_plays() -> None:
    stage = Stage(limits=Limits(per_s=1e-9, burst=50.0))
    flood = message("/note/on", 60, 0.5)
    for _ in range(400):
        stage.send_bytes(flood)
    other = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    other.settimeout(20.0)
    there = ("127.0.0.1", stage.server.port)
    for note in range(10):
        other.sendto(message("/hertz/on", 300.0 + note, 0.5, note), there)
    other.sendto(message("/ping"), there)
    assert OscMessage(other.recvfrom(65_536)[0]).address == "/pong"
    assert OscMessage(stage.client.recvfrom(65_536)[0]).params[1].startswith("busy:")
    assert stage.server.traffic.dropped == 350
    stage.play(0.1)
    assert {o.note for o in stage.engine.outcomes if o.kind == OutcomeKind.BEGAN} >= set(range(10))
    # what ends sound goes through, from the one who floods too, and by a bundle too
    stage.send_bytes(bundle(("/note/on", 60, 0.5), ("/sound/off",)))
    other.sendto(message("/ping"), there)
    assert OscMessage(other.recvfrom(65_536)[0]).address == "/pong"
    stage.play(0.1)
    assert stage.engine.sounding == 0
    other.close()
    stage.close()


def test_new_ports_bring_no_new_tokens() -> None:
    limits = Limits(per_s=1.0, burst=2.0)
    for sender in range(MOST_SENDERS):
        limits.bucket(sender, 0.0).tokens = 0.0
    assert limits.bucket("new", 0.0).tokens == 0.0
    assert limits.bucket("new", 1.5).tokens == 1.5
    assert limits.bucket("new", 99.0).tokens == 2.0
    assert len(limits._buckets) == MOST_SENDERS


def test_leases_end_and_have_a_number() -> None:
    watchers = Watchers({"state": Topic(lambda: (1,), 0.5, changes=True)})
    for sender in range(MOST_LEASES):
        watchers.watch(sender, "state", 1.0 + sender, 0.0)
    with pytest.raises(InvalidValue, match="at most 64"):
        watchers.watch("one more", "state", 1.0, 0.0)
    assert len(watchers.due(0.5)) == MOST_LEASES
    assert watchers.due(0.9) == []
    assert len(watchers) == MOST_LEASES
    watchers.watch("one more", "state", 1.0, 1.0)  # the first has ended
    assert [sender for sender, _, _ in watchers.due(1.5)] == ["one more"]


def test_a_timetag_is_kept_to_the_sample_of_the_last_blocks_clock(stage: Stage) -> None:
    stage.play(0.05)
    sample, wall_s = stage.engine.sample - BLOCK, stage.engine.block_began_s
    builder = OscBundleBuilder(wall_s + 0.5)
    part = OscMessageBuilder("/hertz/on")
    part.add_arg(440.0)
    part.add_arg(0.5)
    builder.add_content(part.build())
    stage.send_bytes(builder.build().dgram)
    assert stage.replies() == []
    stage.play(1.0)
    [outcome] = stage.engine.outcomes
    # so much sooner than it is to leave; the 1 is the timetag's own rounding
    leaves = outcome.sample + stage.engine.latency_samples
    assert abs(leaves - (sample + RATE // 2)) <= 1


def test_a_timetag_beyond_the_horizon_is_refused(stage: Stage) -> None:
    builder = OscBundleBuilder(time.time() + 3_600.0)
    part = OscMessageBuilder("/note/on")
    part.add_arg(60)
    part.add_arg(0.5)
    builder.add_content(part.build())
    stage.send_bytes(builder.build().dgram)
    [(reply, (address, reason))] = stage.replies()
    assert (reply, address) == ("/error", "/note/on")
    assert "within 60 s" in reason


def test_a_flood_is_refused_but_what_ends_sound_goes_through(stage: Stage) -> None:
    """The audio side stands still meanwhile: nobody asks for blocks."""
    note = message("/note/on", 60, 0.5)
    errors = 0
    for _ in range(17_000 // 100):
        for _ in range(100):
            stage.send_bytes(note)
        errors += len(stage.replies())
    assert errors > 100
    assert stage.ask("/sound/off") == []
    stage.play(0.1)
    assert not stage.play(0.1).any()


def test_the_audio_side_survives_a_fault_with_silence_and_counts_it(stage: Stage) -> None:
    stage.ask("/note/on", 60, 0.5)
    stage.play(0.1)
    out = np.ones((2, BLOCK + 1), np.float32)  # a block longer than was promised
    stage.engine.fill(out)
    assert not out.any()
    out = np.ones((2, BLOCK), np.float32)
    stage.engine._to_audio.ring.write([bytes([255]) * RECORD.size])  # no such kind of event
    stage.engine.fill(out)
    assert not out.any()  # what stood in the buffer before does not sound again
    assert stage.engine.health.errors == 2
    assert stage.play(0.1).any()


def test_every_address_is_there() -> None:
    assert set(ADDRESSES) == {
        "/note/on", "/note/off", "/degree/on", "/hertz/on", "/note/bend", "/note/pressure",
        "/note/timbre", "/sustain", "/sostenuto", "/glide", "/scale", "/scale/equal", "/anchor",
        "/anchor/preset", "/anchor/celsius", "/layout", "/voice", "/voice/set", "/level",
        "/notes/off", "/sound/off", "/ask/state", "/ask/meter", "/ask/load", "/meter/reset",
        "/ping", "/pan", "/width", "/mode", "/notes", "/ask/tuning", "/ask/pitch", "/ask/presets",
        "/ask/namespace", "/watch", "/unwatch",
    }  # fmt: skip


def test_a_port_in_use_is_said_with_what_to_do(stage: Stage) -> None:
    with pytest.raises(DeviceError, match="try another --port"):
        OscServer("127.0.0.1", stage.server.port, stage.control)


def test_a_set_that_cannot_begin_leaves_nothing_behind(
    stage: Stage, engines: Any, tmp_path: Path
) -> None:
    journal = tmp_path / "set.jsonl"
    port = str(stage.server.port)
    engine = engines("--audio", "none", "--port", port, "--journal", str(journal))
    assert engine.process.wait(20.0) == 3
    assert not journal.exists()


def test_the_clock_host_runs_the_same_engine(engines: Any, tmp_path: Path) -> None:
    journal = tmp_path / "set.jsonl"
    engine = engines("--audio", "none", "--journal", str(journal))
    client = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    client.settimeout(20.0)
    client.connect(("127.0.0.1", engine.port))
    client.send(message("/note/on", 60, 0.5))
    client.send(message("/ping"))
    assert OscMessage(client.recv(65_536)).address == "/pong"
    client.close()
    assert engine.end() == 0
    lines = journal.read_text().splitlines()
    assert any('"NOTE_ON"' in line for line in lines)
    assert lines[-1].startswith('{"ended"')
