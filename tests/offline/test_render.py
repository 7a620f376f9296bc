"""Rendering by the command: takes, logs, formats, journals, and what is refused."""

import json
import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

import tones
from meantide.command import main
from meantide.journal import JournalHead, end_line, event_line, head_line, value_line
from meantide.offline import takelog
from meantide.offline.take_blocks import undelayed
from meantide.perform.event import Event, Kind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.kernels import KERNELS
from outside_meter import measured
from playing import SINE, decibels, degree, hertz, note, saw, still_water_db

SCORE = """\
title: Ebb
scale: 31-equal
parts:
  reed:
    voice: still-water
    pan: -1
    notes:
      - [0.25, 1, A4, 0.5]
      - [1.5, 1, E5, 0.5]
  far:
    voice: still-water
    pan: 1
    notes:
      - [0.25, 1, A3, 0.5]
"""


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def score(tmp_path: Path) -> Path:
    path = tmp_path / "ebb.yaml"
    path.write_text(SCORE)
    return path


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 192_000])
@pytest.mark.parametrize("sample_format", ["float32", "pcm24", "pcm16"])
def test_every_rate_and_format_is_in_tune(
    score: Path, tmp_path: Path, rate: int, sample_format: str
) -> None:
    out = tmp_path / "ebb.wav"
    result = run("render", score, "--out", out, "--rate", rate, "--format", sample_format)
    assert result.exit_code == 0, result.output
    samples, read_rate = soundfile.read(out)
    assert read_rate == rate
    start, stop = int(0.35 * rate), int(1.2 * rate)
    left, right = samples[start:stop].T
    assert abs(tones.cents(tones.measure_hz(left, rate, 440.0), 440.0)) < 0.001
    assert abs(tones.cents(tones.measure_hz(right, rate, 220.0), 220.0)) < 0.001
    assert not samples[: int(0.24 * rate)].any() or sample_format != "float32"
    # hard panned: nothing of one part in the other channel
    assert tones.fit_lines(left, rate, [440.0, 880.0, 1320.0]).residual_db < -85.0


def test_the_log_tells_each_note_with_its_sample_and_frequency(score: Path, tmp_path: Path) -> None:
    out = tmp_path / "ebb.wav"
    assert run("render", score, "--out", out, "--anchor", "A4=432").exit_code == 0
    log = json.loads((tmp_path / "ebb.json").read_text())
    assert log["kind"] == "take"
    assert log["frames"] == soundfile.info(out).frames
    assert log["tunings"][0]["scale"]["equal"] == 31
    assert log["tunings"][0]["anchor"]["hz"] == 432.0
    notes = {note["id"]: note for note in log["notes"]}
    assert [notes[n]["start"] for n in (1, 2, 3)] == [12_000, 72_000, 12_000]
    assert [notes[n]["release"] for n in (1, 2, 3)] == [60_000, 120_000, 60_000]
    assert notes[1]["pitches"] == [{"sample": 12_000, "glide_samples": 0, "hz": 432.0}]
    assert notes[2]["pitches"][0]["hz"] == pytest.approx(432.0 * 2 ** (18 / 31), rel=1e-14)
    assert notes[3]["pitch"] == {"note": "A3"}
    assert notes[1]["level_db"] == pytest.approx(
        -18.0 + still_water_db(432.0) + decibels(0.5**1.5), abs=1e-4
    )
    assert "anchor=A4=432" in soundfile.SoundFile(out).comment


def test_two_renders_are_equal_bytes_and_blocks_do_not_matter(score: Path, tmp_path: Path) -> None:
    takes = []
    for name, block in (("a", 4096), ("b", 4096), ("c", 100)):
        out = tmp_path / name / "ebb.wav"
        out.parent.mkdir()
        assert run("render", score, "--out", out, "--block", block).exit_code == 0
        takes.append(out)
    for ending in (".wav", ".json"):
        first, second = (take.with_suffix(ending).read_bytes() for take in takes[:2])
        assert first == second
    whole, other = (soundfile.read(take, dtype="float32")[0] for take in takes[1:])
    shared = min(len(whole), len(other))
    assert decibels(np.abs(whole[:shared] - other[:shared]).max()) < -100.0


@pytest.mark.parametrize("kernel", KERNELS)
def test_the_log_names_the_kernel_and_two_renders_by_it_are_equal(
    score: Path, tmp_path: Path, kernel: str
) -> None:
    takes = [tmp_path / name / "ebb.wav" for name in ("a", "b")]
    for take in takes:
        take.parent.mkdir()
        assert run("render", score, "--out", take, "--kernel", kernel).exit_code == 0
    assert json.loads(takes[0].with_suffix(".json").read_text())["kernel"] == kernel
    assert takes[0].read_bytes() == takes[1].read_bytes()
    assert run("assay", takes[0]).exit_code == 0


def a_set(file: Path, kernel: str) -> Path:
    """Write the journal of a short set: one note of the harbour installation, invented."""
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=432"))
    events = [
        Event(Kind.TUNING, 0, value=1),
        Event(Kind.VOICE, 0, value=2),
        Event(Kind.LEVEL, 0, amount=-12.0, samples=960),
        *note(1_000, 20_000, degree(23), 1, 0.8),
    ]
    file.write_text(
        head_line(JournalHead(48_000, 256, 8, kernel))
        + value_line(1, tuning)
        + value_line(2, saw(12))
        + "".join(event_line(0, event) for event in events)
        + end_line(24_000),
        encoding="utf-8",
    )
    return file


@pytest.mark.parametrize("kernel", KERNELS)
def test_a_journal_is_rendered_with_the_kernel_it_was_played_with(
    tmp_path: Path, kernel: str
) -> None:
    journal, out = a_set(tmp_path / "ebb.jsonl", kernel), tmp_path / "ebb.wav"
    result = run("render", journal, "--out", out)
    assert result.exit_code == 0, result.output
    assert "bit for bit" not in result.output
    assert json.loads(out.with_suffix(".json").read_text())["kernel"] == kernel
    assert run("assay", out).exit_code == 0


def test_a_journal_rendered_with_another_kernel_says_so(tmp_path: Path) -> None:
    journal = a_set(tmp_path / "ebb.jsonl", "compiled")
    as_played, other = tmp_path / "as-played.wav", tmp_path / "other.wav"
    assert run("render", journal, "--out", as_played).exit_code == 0
    result = run("render", journal, "--out", other, "--kernel", "numpy")
    assert "played with the compiled kernel" in result.stderr
    assert "not bit for bit" in result.stderr
    one, two = (soundfile.read(take)[0] for take in (as_played, other))
    assert 0.0 < np.abs(one - two).max() < 10 ** (-110 / 20)


def test_takes_and_kernels_know_the_same_names() -> None:
    assert takelog.KERNELS == KERNELS


def test_where_numba_is_missing_a_journal_is_rendered_with_a_notice_and_a_wish_refused(
    score: Path, tmp_path: Path
) -> None:
    journal = a_set(tmp_path / "ebb.jsonl", "compiled")
    without = "import sys; sys.modules['numba'] = None; import meantide.command as c; c.main()"
    command = [sys.executable, "-c", without, "render", str(journal), "--out"]
    done = subprocess.run(
        [*command, str(tmp_path / "ebb.wav")], capture_output=True, check=True, text=True
    )
    assert "the set was played with the compiled kernel, which is not here" in done.stderr
    assert "not bit for bit" in done.stderr
    assert json.loads((tmp_path / "ebb.json").read_text())["kernel"] == "numpy"
    wish = ["render", str(score), "--out", str(tmp_path / "a.wav"), "--kernel", "compiled"]
    refused = subprocess.run([*command[:3], *wish], capture_output=True, check=False, text=True)
    assert refused.returncode == 2
    assert "kernel: got 'compiled'" in refused.stderr
    assert not (tmp_path / "a.wav").exists()


def test_a_midi_file_is_a_score(tmp_path: Path) -> None:
    out = tmp_path / "hymn.wav"
    piece = Path(__file__).parents[1] / "data" / "chorale.mid"
    result = run("render", piece, "--out", out, "--scale", "19-equal", "--anchor", "A4=432")
    assert result.exit_code == 0, result.output
    log = json.loads(out.with_suffix(".json").read_text())
    assert len({note["part"] for note in log["notes"]}) == 4
    for each in log["notes"]:  # key 60 plays degree 0, and 69 degree 9, of nineteen from C
        steps = each["pitch"]["key"] - 60 - 14  # A is degree 14 on the chain of fifths in 19
        assert each["pitches"][0]["hz"] == pytest.approx(432.0 * 2 ** (steps / 19), rel=1e-12)


def test_a_midi_file_through_a_layout_with_silent_keys(tmp_path: Path) -> None:
    out = tmp_path / "hymn.wav"
    piece = Path(__file__).parents[1] / "data" / "chorale.mid"
    options = ("--scale", "31-equal", "--out", out, "--layout")
    assert run("render", piece, *options, "keyboard").exit_code == 0
    whole = json.loads(out.with_suffix(".json").read_text())["notes"]
    # A seven-note mode of names on a keyboard leaves the black keys without one.
    mode = tmp_path / "naturals.yaml"
    mode.write_text("choose: {of: 31-equal, degrees: [0, 5, 10, 13, 18, 23, 28]}\n")
    result = run("render", piece, *options, "keyboard", "--scale", mode)
    assert result.exit_code == 0, result.output
    kept = json.loads(out.with_suffix(".json").read_text())["notes"]
    white = [note for note in whole if note["pitch"]["key"] % 12 in (0, 2, 4, 5, 7, 9, 11)]
    black = sorted({note["pitch"]["key"] for note in whole} - {n["pitch"]["key"] for n in white})
    assert black
    assert [(n["pitch"], n["pitches"]) for n in kept] == [(n["pitch"], n["pitches"]) for n in white]
    assert result.stderr.count("left out") == 1
    keys = ", ".join(map(str, black))
    left = len(whole) - len(white)
    assert f"{left} notes left out: in keyboard nothing is on the keys {keys}\n" in result.stderr


@pytest.mark.parametrize(
    "layout",
    ["{kind: table, keys: {69: 0, 70: 7}}", "{kind: repeat, root: {key: 69}, degrees: [0, null]}"],
)
def test_a_take_through_any_layout_is_assayed(tmp_path: Path, layout: str) -> None:
    score, out = tmp_path / "ebb.yaml", tmp_path / "ebb.wav"
    notes = "parts: {a: {voice: still-water, notes: [[0, 1, 69], [1, 1, 70], [2, 1, 71]]}}\n"
    score.write_text(f"scale: 31-equal\nanchor: 0=220\nlayout: {layout}\n{notes}")
    assert run("render", score, "--out", out).exit_code == 0
    assert "nothing is on the keys" in run("render", score, "--out", out).stderr
    result = run("assay", out)
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["ebb.yaml", "--out", "ebb.mp3"], "a name that ends in .wav"),
        (["ebb.txt", "--out", "ebb.wav"], "a file ending in .yaml"),
        (["ebbs.yaml", "--out", "ebb.wav"], "did you mean ebb.yaml"),
        (["ebb.yaml", "--out", "no/where/ebb.wav"], "no/where"),
        (["ebb.yaml", "--out", "ebb.wav", "--scale", "31-equals"], "31-equal"),
        (["ebb.yaml", "--out", "ebb.wav", "--scale", "13-equal-of-3"], "degree"),
        (["ebb.yaml", "--out", "ebb.wav", "--rate", "7999"], "8000<=x<=192000"),
    ],
)
def test_what_is_wrong_is_told_in_a_sentence_and_nothing_is_written(
    score: Path, arguments: list[str], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(score.parent)
    Path("ebb.txt").write_text("x")
    result = run("render", *arguments)
    assert result.exit_code == 2
    assert told in result.output
    assert not list(score.parent.rglob("*.wav"))
    assert not list(score.parent.rglob("*.json"))
    assert not list(score.parent.rglob(".*"))


def test_it_is_told_when_the_limiter_takes_something(score: Path, tmp_path: Path) -> None:
    loud = SCORE.replace("0.5]", "1]")
    loud = loud.replace("  far:", "      - [0.25, 1, C5, 1]\n      - [0.25, 1, E5, 1]\n  far:")
    score.write_text(loud)
    out = tmp_path / "loud.wav"
    result = run("render", score, "--out", out, "--level", 0)
    assert "notice: the limiter took up to" in result.output
    assert json.loads(out.with_suffix(".json").read_text())["limited_db"] > 0
    assert decibels(np.abs(soundfile.read(out)[0]).max()) <= -1.0


def test_a_progress_bar_on_a_terminal_and_none_in_a_pipe(score: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "meantide", "render", str(score), "--out"]
    piped = subprocess.run(
        [*command, str(tmp_path / "a.wav"), "--kernel", "numpy"],
        capture_output=True,
        check=True,
        text=True,
    )
    assert piped.stderr == ""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [*command, str(tmp_path / "b.wav")], stderr=theirs, stdout=subprocess.DEVNULL,
        env=os.environ | {"TERM": "xterm"},
    ) as process:  # fmt: skip
        os.close(theirs)
        shown = b""
        try:
            while piece := os.read(ours, 4096):
                shown += piece
        except OSError:  # a terminal ends so on Linux
            pass
        assert process.wait() == 0
    os.close(ours)
    assert b"rendering b.wav" in shown


def test_what_stood_in_a_takes_place_is_replaced(score: Path, tmp_path: Path) -> None:
    out = tmp_path / "ebb.wav"
    out.write_text("old")
    assert run("render", score, "--out", out).exit_code == 0
    assert soundfile.info(out).frames > 48_000


def test_a_takes_loudness_and_true_peak_are_those_of_an_outside_meter(
    score: Path, tmp_path: Path
) -> None:
    """By libebur128, within the tolerances of EBU Tech 3341: 0.1 LU, and +0.2 and -0.4 dB."""
    out = tmp_path / "take.wav"
    result = run("render", score, "--out", out, "--level", -6)
    samples, rate = soundfile.read(out, dtype="float32")
    outside = measured(np.ascontiguousarray(samples.T), rate)
    log = json.loads(out.with_suffix(".json").read_text())
    assert log["loudness_lufs"] == pytest.approx(outside.integrated, abs=0.1)
    assert -0.4 <= log["true_peak_dbtp"] - max(outside.true_peaks) <= 0.2
    assert f"loudness: {log['loudness_lufs']:.1f} LUFS" in result.output


@pytest.mark.parametrize("block", [50, 107, 108, 4096])
def test_a_take_is_without_the_latency_of_the_line_and_whole(block: int) -> None:
    """A sound is at its event's sample, and the last of it is there, whatever the blocks."""
    performance = Performance(48_000, block, 4, -12.0)
    performance.hand_over(1, SINE)
    on, *_ = note(1_000, None, hertz(2_000.0))
    events = [Event(Kind.VOICE, 0, value=1), on]
    for event in events:
        performance.schedule(event)
    filled = np.zeros((2, block), np.float32)
    count = -(-4_000 // block)

    def blocks() -> Iterator[np.ndarray]:
        for _ in range(count):
            performance.fill(filled)
            yield filled

    take = np.concatenate([each.copy() for each in undelayed(performance, blocks())], axis=1)
    assert take.shape == (2, count * block)
    assert np.flatnonzero(take[0])[0] in (1_000, 1_001)  # a sine begins at 0
    assert np.abs(take[:, -24:]).max() > 0.1  # half a cycle: it sounds to the end
