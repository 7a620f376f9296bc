"""Played for real: jackd with its dummy driver, liblo's oscsend, a recording JACK client."""

import json
import os
import signal
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from live.conftest import JACK_RATE, PATIENCE_S, LiveEngine, Recorder, jack_named, wait_for
from meantide.client import Busy, Client
from meantide.command import main
from meantide.journal import read_journal
from meantide.perform.end_of_line import Line
from meantide.perform.event import Kind
from meantide.pitch import Tuning
from meantide.voice.kernels import NUMPY

ATTEMPTS = 5
"""A recording in which JACK itself lost blocks (a busy machine) proves nothing and is made anew."""


def play_a_set(engine: LiveEngine, recorder: Recorder) -> None:
    """Play notes by key, name, degree and Hz through two scales and two anchors."""

    def rest(seconds: float) -> None:
        target = recorder.frames + round(seconds * JACK_RATE)
        wait_for("the recording to go on", lambda: recorder.frames >= target)

    rest(1.8)  # the fade in
    engine.send("/note/on", "sfi", "A4", "0.6", "1")
    engine.send("/note/on", "if", "73", "0.6")
    rest(1.0)
    engine.send("/scale", "sf", "31-equal", "0.1")
    rest(1.2)
    engine.send("/degree/on", "if", "41", "0.5")
    engine.send("/anchor", "fsf", "432", "A4", "0.05")
    rest(1.2)
    engine.send("/voice", "s", "still-water")
    engine.send("/hertz/on", "ff", "150.5", "0.7")
    engine.send("/note/off", "i", "1")
    rest(1.0)
    engine.send("/level", "ff", "-20", "0.2")
    rest(0.4)
    engine.send("/notes/off")
    rest(0.5)


def record_a_set(engines: Any, server: str, folder: Path) -> tuple[np.ndarray, Path]:
    """Return a recording without lost blocks, and the journal of the set recorded."""
    for attempt in range(ATTEMPTS):
        journal = folder / f"set-{attempt}.jsonl"
        with closing(Recorder(server, 60.0)) as recorder:
            engine = engines(
                "--audio", "jack", "--level", "-14", "--journal", str(journal), server=server
            )
            assert engine.port, engine.lines
            recorder.connect("meantide")
            play_a_set(engine, recorder)
            lost = recorder.lost  # ports coming and going make JACK stumble; that is not our sound
            assert engine.end() == 0, engine.lines
        if lost == 0:
            return recorder.samples, journal
    return pytest.fail(f"JACK lost blocks in each of {ATTEMPTS} recordings")


def test_what_was_played_is_what_its_journal_renders_sample_for_sample(
    jack_server: str, engines: Any, tmp_path: Path
) -> None:
    recording, journal = record_a_set(engines, jack_server, tmp_path)
    take = tmp_path / "take.wav"
    rendered = CliRunner().invoke(main, ["render", str(journal), "--out", str(take)])
    assert rendered.exit_code == 0, rendered.output
    offline = soundfile.read(take, dtype="float32")[0].T

    heard, made = np.flatnonzero(recording[0])[0], np.flatnonzero(offline[0])[0]
    held = Line(JACK_RATE, 1, NUMPY).latency_samples  # at the end, and never played
    length = min(recording.shape[1] - heard, offline.shape[1] - held - made)
    assert length > 5 * JACK_RATE
    played = recording[:, heard : heard + length]
    assert np.array_equal(played, offline[:, made : made + length])

    # the recording itself, laid against the log by its first sound, is in tune
    soundfile.write(
        tmp_path / "recorded.wav",
        np.concatenate([np.zeros((made, 2)), played.T, np.zeros((offline.shape[1], 2))])[
            : offline.shape[1]
        ],
        JACK_RATE,
        subtype="FLOAT",
    )
    assayed = CliRunner().invoke(
        main,
        [
            "assay",
            str(tmp_path / "recorded.wav"),
            "--log",
            str(take.with_suffix(".json")),
            "--json",
        ],
    )
    assert assayed.exit_code == 0, assayed.output
    verdicts = [row["verdict"] for row in json.loads(assayed.output)["rows"]]
    assert verdicts.count("in tune") >= 6, assayed.output


def test_auto_finds_jack_and_sigterm_ends_it_cleanly(jack_server: str, engines: Any) -> None:
    engine = engines("--audio", "auto", server=jack_server)
    assert any("audio: jack, 48000 Hz, 1024 frames" in line for line in engine.lines)
    assert engine.end(signal.SIGTERM) == 0
    assert any("ended after" in line for line in engine.lines)


def test_a_jack_server_that_goes_away_is_told_and_found_again_with_all_that_was_set(
    engines: Any, tmp_path: Path
) -> None:
    name, journal = f"meantide-goes-{os.getpid()}", tmp_path / "set.jsonl"
    with jack_named(name) as (_, process):
        engine = engines("--audio", "jack", "--journal", str(journal), server=name)
        assert engine.port, engine.lines
        with closing(Recorder(name, 10.0)) as recorder:
            recorder.connect("meantide")  # it plays, so it is past its start
        engine.send("/part/reed/scale", "s", "never")  # refused, and nothing comes of it
        engine.send("/scale", "s", "19-equal")
        engine.send("/part/reed/level", "f", "-7")
        process.terminate()  # killed, it would keep one of the few places JACK has for servers
        wait_for("word of it", lambda: any("the device went away" in line for line in engine.lines))
        with Client(port=engine.port, patience_s=PATIENCE_S) as quay:
            with pytest.raises(Busy, match="audio is away"):
                quay.ask("/note/on", "A4", 0.5)
            quay.ask("/part/reed/pan", 0.25)  # obeyed, and kept
    with jack_named(name):
        wait_for("audio again", lambda: any("audio again" in line for line in engine.lines))
        with closing(Recorder(name, 20.0)) as recorder:
            recorder.connect("meantide")
            engine.send("/part/reed/note/on", "sf", "A4", "0.5")
            wait_for("sound", lambda: np.any(recorder.samples))
        assert engine.end() == 0, engine.lines
    first, second = read_journal(journal).runs
    assert second.head.sample > first.ended
    set_again = {
        event.kind: event for event in second.events if event.part == 1 or event.kind == Kind.TUNING
    }
    assert set_again[Kind.PART_LEVEL].amount == -7.0
    assert set_again[Kind.PAN].amount == 0.25
    tuned = read_journal(journal).values[set_again[Kind.TUNING].value]
    assert isinstance(tuned, Tuning)
    assert tuned.scale.label == "19-equal"


def test_no_device_is_said_with_what_there_is(engines: Any) -> None:
    engine = engines("--audio", "jack", server="meantide-no-such-server")
    assert engine.process.wait(PATIENCE_S) == 3
    assert engine.reader is not None
    engine.reader.join()
    told = "\n".join(engine.lines)
    assert "no audio device: jack: no server to be reached" in told
    assert "jack: no server runs" in told
    assert "--audio none" in told
