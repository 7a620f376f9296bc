"""`meantide compare`, run as the command line runs it, on a piece of a few seconds."""

import base64
import io
import json
import math
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

import outside_meter
from meantide.command import main

PIECE = """
title: A test <of two phrases>
parts:
  reed:
    voice: {kind: additive, partials: {count: 6}, tilt_db: -6}
    notes:
      - [0, 3.5, A4, 0.7]
      - [4, 3.5, E5, 0.7]
      - [8, 2, A4, 0.7]
  low:
    voice: {kind: additive, partials: {count: 6}, tilt_db: -6}
    notes: [[0, 3.5, F4, 0.7], [8, 2, C#5, 0.7]]
"""


def compare(folder: Path, *arguments: str) -> Result:
    piece = folder / "piece.yaml"
    piece.write_text(PIECE, encoding="utf-8")
    out = ("--out", str(folder / "out"), "--rate", "16000", "--kernel", "numpy")
    return CliRunner().invoke(main, ["compare", str(piece), *arguments, *out])


@pytest.fixture(scope="module")
def two_by_two(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """Give the piece in 12 and 31 parts, at 440 and at 60 Hz, the turns shuffled."""
    folder = tmp_path_factory.mktemp("compare")
    result = compare(folder, "--scale", "12-equal", "--scale", "31-equal", "--anchor", "A4=440",
                     "--anchor", "A4=60", "--shuffle", "3", "--json")  # fmt: skip
    assert result.exit_code == 0, result.output
    return folder / "out", json.loads(result.stdout)


def test_another_anchor_moves_every_note_alike_and_no_interval(two_by_two) -> None:
    _, answer = two_by_two
    change = answer["changes"][0]
    assert change["kind"] == "anchor"
    expected = 1200 * math.log2(60 / 440)
    assert len(change["notes"]) == 5
    assert all(note["cents"] == pytest.approx(expected, abs=1e-6) for note in change["notes"])
    assert all(abs(each["change_cents"]) < 1e-6 for each in change["intervals"])


def test_another_scale_moves_intervals_and_their_beats(two_by_two) -> None:
    _, answer = two_by_two
    change = answer["changes"][1]
    assert (change["kind"], change["common_cents"]) == ("scale", None)
    # Both thirds of the piece are major: 4 of 12 parts become 10 of 31.
    wider = 1200 * (10 / 31 - 4 / 12)
    assert [each["change_cents"] for each in change["intervals"]] == pytest.approx([wider] * 2)
    third = next(each for each in change["intervals"] if each["lower"] == "reed A4")
    # The fifth partial of the lower note meets the fourth of the upper one.
    twelve = abs(4 * 440 * 2 ** (4 / 12) - 5 * 440)
    thirty_one = abs(4 * 440 * 2 ** (10 / 31) - 5 * 440)
    assert twelve == pytest.approx(17.46, abs=0.01)
    assert third["first"]["beats_hz"] == pytest.approx(twelve, abs=1e-6)
    assert third["other"]["beats_hz"] == pytest.approx(thirty_one, abs=1e-6)
    assert third["other"]["roughness"] < third["first"]["roughness"]


def test_takes_are_equally_loud_to_an_outside_meter_and_only_turned_down(two_by_two) -> None:
    out, answer = two_by_two
    loudness = []
    for take in answer["takes"]:
        samples, rate = soundfile.read(out / take["wav"], always_2d=True)
        loudness.append(outside_meter.measured(samples.T, rate).integrated)
    # The meters differ by rounding, and by bins of 0.02 LU at the gate.
    assert max(loudness) - min(loudness) < 0.05
    gains = [take["gain_db"] for take in answer["takes"]]
    assert max(gains) == pytest.approx(0.0, abs=1e-12)
    assert min(gains) < -1.0  # at 60 Hz K-weighting hears less


def test_each_take_is_proved_where_it_can_be(two_by_two) -> None:
    _, answer = two_by_two
    for take in answer["takes"]:
        assert take["proof"]["passed"]
        assert take["proof"]["counts"]["out"] == take["proof"]["counts"]["missing"] == 0


def test_turns_are_logged_as_they_are_played(two_by_two) -> None:
    out, answer = two_by_two
    told = json.loads((out / "turns.json").read_text(encoding="utf-8"))
    assert told == answer["turns"]
    turns = told["turns"]
    phrases = {turn["phrase"] for turn in turns}
    for phrase in phrases:
        assert sorted(turn["take"] for turn in turns if turn["phrase"] == phrase) == [1, 2, 3, 4]
    orders = [[turn["take"] for turn in turns if turn["phrase"] == phrase] for phrase in phrases]
    assert orders != [[1, 2, 3, 4]] * len(orders)
    samples, rate = soundfile.read(out / "turns.wav", always_2d=True)
    for turn in turns:
        take, _ = soundfile.read(out / f"take-{turn['take']}.wav", always_2d=True)
        first = round(turn["start_s"] * rate) + rate // 10
        source = round(turn["from_s"] * rate) + rate // 10
        size = rate // 2
        # 24 bits of the file: half a step is 6e-8.
        assert np.abs(samples[first : first + size] - take[source : source + size]).max() < 1.3e-7


class Sources(HTMLParser):
    """Gathers what a page would fetch, and the sounds in it."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []
        self.sounds: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in {"src", "href", "srcset", "poster", "data", "action"}:
                self.asked.append(value or "")
                if tag == "audio":
                    self.sounds.append(value or "")


def test_the_page_is_whole_in_itself_and_plays_the_takes(two_by_two) -> None:
    out, _ = two_by_two
    page = (out / "report.html").read_text(encoding="utf-8")
    found = Sources()
    found.feed(page)
    assert all(each.startswith("data:") for each in found.asked)
    assert not re.search(r"url\(|@import|<script", page)
    assert len(found.sounds) == 5
    for number, sound in enumerate(found.sounds[:4], 1):
        data = base64.b64decode(sound.removeprefix("data:audio/flac;base64,"))
        heard, rate = soundfile.read(io.BytesIO(data), always_2d=True)
        take, take_rate = soundfile.read(out / f"take-{number}.wav", always_2d=True)
        assert rate == take_rate
        # One step of 16 bits of dither either way, half a step of rounding.
        assert np.abs(heard - take).max() <= 1.5001 / 2**15
    assert "A test &lt;of two phrases&gt;" in page
    assert page.count("In words") == page.count("<img")
    words = (out / "report.md").read_text(encoding="utf-8")
    for linked in re.findall(r"\]\(([^)]+)\)", words):
        assert (out / linked).stat().st_size > 0
    assert "](moves.png)" in words
    assert "no interval moves (5 notes, 2 intervals)" in words


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--scale", "12-equal"], "two scales or two anchors"),
        (["--scale", "12-equal", "--scale", "13-equal-of-3"], "note name: got 'A4'"),
        (["--scale", "12-eqal", "--scale", "31-equal"], "did you mean"),
        ([f"--anchor=A4={hz}" for hz in range(400, 417)], "at most 16"),
    ],
)
def test_bad_input_is_refused_in_a_sentence(tmp_path, arguments, message) -> None:
    result = compare(tmp_path, *arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert not (tmp_path / "out").exists()
