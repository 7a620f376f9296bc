"""The two processes: the rings between them, and either of them killed while a set goes on."""

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_message import OscMessage

import tones
from live.conftest import PATIENCE_S, LiveEngine, wait_for
from meantide.command import main
from meantide.journal import read_journal
from meantide.live.link import MOST_BACKLOG, ClockCell, RecordQueue
from meantide.live.remote_engine import RemoteEngine, Sought
from meantide.live.ring import Ring
from meantide.perform.event import Event, Kind
from stage import message


@given(st.integers(1, 9), st.lists(st.integers(0, 12), max_size=60))
def test_a_ring_gives_each_group_back_whole_and_in_order_or_refuses_it(
    capacity: int, groups: list[int]
) -> None:
    """A model beside it: a list. A negative number of the model's reads is drawn as 0."""
    memory = memoryview(bytearray(Ring.size(capacity, 3)))
    writer, reader = Ring(memory, 3), Ring(memory, 3)
    waiting: list[bytes] = []
    for number, size in enumerate(groups):
        group = [bytes([number, place, 255]) for place in range(size)]
        room = writer.capacity - len(waiting)
        assert writer.write(group) == (size <= room)
        if size <= room:
            waiting += group
        assert len(reader) == len(waiting)
        if number % 3 == 2:
            assert reader.read() == waiting
            waiting.clear()
    assert reader.read() == waiting


def test_what_finds_no_room_waits_and_beyond_reason_all_is_silenced() -> None:
    queue = RecordQueue()
    note = Event(Kind.NOTE_OFF, note=7)
    for _ in range(queue.ring.capacity + 10):
        queue.write([note])
    assert not queue.has_room
    assert len(list(queue.read())) == queue.ring.capacity
    queue.write([])
    assert list(queue.read()) == [note] * 10
    assert queue.has_room
    for _ in range(queue.ring.capacity + MOST_BACKLOG + 1):
        queue.write([note])
    list(queue.read())
    queue.write([])
    assert [event.kind for event in queue.read()] == [Kind.SOUND_OFF]


def test_a_writer_killed_while_it_writes_leaves_the_clock_as_it_was() -> None:
    memory = memoryview(bytearray(ClockCell.BYTES))
    writer, reader = ClockCell(memory), ClockCell(memory)
    for turn in (1, 2, 3):
        told = (256 * turn, 0.5 * turn, 1.0 / 48_000, turn, 2 * turn, 256 * turn + 256)
        writer.write(*told)
        before = bytes(memory)
        writer.write(*(9 * number for number in told))
        half = bytes(memory)
        for cut in range(64, ClockCell.BYTES, 8):  # so far it came; the counter goes last
            memory[:] = before[:64] + half[64:cut] + before[cut:]
            assert reader.read() == told
        memory[:] = before


def test_what_had_to_wait_for_room_is_sent_on_though_nothing_follows() -> None:
    engine = RemoteEngine(Sought("none", 48_000, 256, 4, "numpy"), print)
    try:
        engine.send([Event(Kind.NOTE_OFF, note=7)] * RecordQueue().ring.capacity)
        engine.send([Event(Kind.NOTES_OFF)])
        assert not engine.has_room
        engine.start()
        wait_for(
            "the event that waited",
            lambda: Kind.NOTES_OFF in [event.kind for _, event in engine.dated_events()],
        )
        assert engine.has_room
    finally:
        engine.close()


def ask(engine: LiveEngine, address: str, *arguments: Any) -> list[Any]:
    """Send a message; return what the reply holds."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as client:
        client.settimeout(20.0)
        client.sendto(message(address, *arguments), ("127.0.0.1", engine.port))
        return list(OscMessage(client.recvfrom(65_536)[0]).params)


def audio_pid(engine: LiveEngine) -> int:
    found = [re.search(r"in process (\d+)", line) for line in engine.lines]
    return int(next(match[1] for match in found if match))


def is_there(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def state(engine: LiveEngine) -> dict[str, Any]:
    pairs = ask(engine, "/ask/state")
    return dict(zip(pairs[::2], pairs[1::2], strict=True))


def play_on(engine: LiveEngine, seconds: float) -> None:
    """Wait until so much more was made."""
    until = state(engine)["sample"] + seconds * 48_000
    wait_for("the engine to go on", lambda: state(engine)["sample"] >= until)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_audio_killed_is_started_again_with_all_that_was_set_and_the_journal_renders_all(
    engines: Any, tmp_path: Path
) -> None:
    journal = tmp_path / "set.jsonl"
    engine = engines("--audio", "none", "--kernel", "numpy", "--journal", str(journal))
    first_pid = audio_pid(engine)
    engine.send("/scale", "s", "19-equal")
    engine.send("/part/reed/layout", "s", "keyboard")
    engine.send("/part/reed/pan", "f", "-0.5")
    engine.send("/part/reed/mode", "s", "mono")
    engine.send("/level", "f", "-20")
    play_on(engine, 2.0)
    engine.send("/hertz/on", "ffi", "440", "0.5", "1")
    play_on(engine, 0.5)
    before = state(engine)
    assert before["notes"] == 1
    os.kill(first_pid, signal.SIGKILL)
    wait_for("audio again", lambda: any("audio again" in line for line in engine.lines))
    assert any("ended by signal 9" in line for line in engine.lines)
    after = state(engine)
    assert after["sample"] > before["sample"]
    kept = ("scale", "anchor", "voice", "level_db", "parts", "part/reed/layout", "part/reed/pan",
            "part/reed/mode")  # fmt: skip
    assert {key: after[key] for key in kept} == {key: before[key] for key in kept}
    play_on(engine, 2.0)
    engine.send("/part/reed/hertz/on", "ffi", "330", "0.5", "2")
    play_on(engine, 0.5)
    assert state(engine)["notes"] == 1
    pairs = ask(engine, "/ask/load")
    load = dict(zip(pairs[::2], pairs[1::2], strict=True))
    assert (load["renewals"], load["errors"], load["unreported"], load["xruns"]) == (1, 0, 0, -1)
    assert load["blocks"] > 0
    assert load["uptime_s"] > 2.5  # it is the set's, not that of the second process
    assert load["memory_mb"] > 10
    assert engine.end() == 0
    assert not any("Traceback" in line for line in engine.lines), engine.lines
    assert not is_there(first_pid)

    runs = read_journal(journal).runs
    assert len(runs) == 2
    take = tmp_path / "take.wav"
    rendered = CliRunner().invoke(main, ["render", str(journal), "--out", str(take)])
    assert rendered.exit_code == 0, rendered.output
    samples = soundfile.read(take)[0].T
    killed = runs[1].head.sample
    for run, hz in zip(runs, (440.0, 330.0), strict=True):
        [struck] = [event for event in run.events if event.kind == Kind.NOTE_ON]
        piece = samples[:, struck.sample + 4_800 : struck.sample + 16_800]
        # a reed has partials, which lean on a quarter of a second's reading
        assert abs(tones.cents(tones.measure_hz(piece[0], 48_000, hz), hz)) < 0.1
    assert not samples[:, killed - 64 : killed].any()  # nothing was there to make a sound
    left, right = np.abs(samples[:, killed:]).max(axis=1)
    assert left > 1.5 * right  # the pan is as it was: -0.5 is 7.7 dB, by the law of sines


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_when_control_is_killed_audio_ends_by_itself_and_the_journal_can_be_read(
    engines: Any, tmp_path: Path
) -> None:
    journal = tmp_path / "set.jsonl"
    engine = engines("--audio", "none", "--kernel", "numpy", "--journal", str(journal))
    pid = audio_pid(engine)
    engine.send("/note/on", "sf", "A4", "0.5")
    play_on(engine, 0.5)
    engine.end(signal.SIGKILL)
    wait_for("the audio process to end", lambda: not is_there(pid))
    events = read_journal(journal).events
    assert Kind.NOTE_ON in {event.kind for event in events}


def test_compiling_is_told_before_the_wait_and_ctrl_c_ends_both_processes_meanwhile(
    tmp_path: Path,
) -> None:
    pytest.importorskip("numba")
    with subprocess.Popen(
        [sys.executable, "-u", "-m", "meantide", "live", "--audio", "none", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)},
    ) as process:
        assert process.stdout is not None
        assert "compiling the kernel, once" in process.stdout.readline()
        process.send_signal(signal.SIGINT)
        rest = process.stdout.read()  # to its end: nobody is left who could write
        assert process.wait(PATIENCE_S) == 1
    assert rest.strip() == "Aborted!"


def test_a_set_whose_control_was_killed_goes_on_in_its_last_state(
    engines: Any, tmp_path: Path
) -> None:
    journal = tmp_path / "set.jsonl"
    arguments = ("--audio", "none", "--kernel", "numpy", "--journal", str(journal), "--resume")
    engine = engines(*arguments)  # not there yet: it begins
    for address, *said in (
        ("/scale", "s", "31-equal"), ("/anchor", "f", "432"), ("/level", "f", "-25"),
        ("/part/reed/voice", "s", "still-water"), ("/part/reed/voice/set", "sf", "tilt_db", "-5"),
        ("/part/reed/layout", "s", "keyboard"), ("/part/reed/pan", "f", "-0.5"),
        ("/part/reed/width", "f", "0.25"), ("/part/reed/level", "f", "-3"),
        ("/part/reed/mode", "s", "mono"), ("/part/reed/notes", "i", "5"),
        ("/part/reed/glide", "f", "0.5"), ("/part/reed/sustain", "i", "1"),
    ):  # fmt: skip
        engine.send(address, *said)
    play_on(engine, 0.5)
    before = state(engine)
    engine.end(signal.SIGKILL)
    with journal.open("a") as file:
        file.write('{"event": "NOTE_')  # cut by the crash
    again = engines(*arguments)
    after = state(again)
    moving = {"sample", "events", "notes"}
    assert {k: v for k, v in after.items() if k not in moving} == {
        k: v for k, v in before.items() if k not in moving
    }
    assert after["part/reed/voice"] == "still-water"
    assert after["sample"] >= before["sample"] - 48_000  # in silence it is noted once a second
    play_on(again, 0.5)
    assert again.end() == 0
    third = engines(*arguments)  # and after an end in order, with the level it had
    assert state(third)["level_db"] == -25.0
    assert third.end() == 0
    assert len(read_journal(journal).runs) == 3
    take = tmp_path / "take.wav"
    rendered = CliRunner().invoke(main, ["render", str(journal), "--out", str(take)])
    assert rendered.exit_code == 0, rendered.output
