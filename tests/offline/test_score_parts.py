"""Parts in scores: what they are set to and how they move, in the events, the sound and the log."""

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

import tones
from meantide.catalogue import Catalogue
from meantide.command import main
from meantide.errors import InvalidValue
from meantide.offline.logged_balance import SILENT_DB, LoggedBalance
from meantide.offline.score import Overrides
from meantide.offline.score_reader import read_score
from meantide.offline.timeline import lay_out
from meantide.perform.event import Event, Kind

RATE = 48_000

# The trio of Saltmarsh Quay, invented: a reed that is faded and walks, a bass of one note at a
# time, and pads with a layout of their own.
TRIO = """\
title: Slack water
scale: 31-equal
parts:
  reed:
    voice: still-water
    level_db: -3
    pan: -1
    settings:
      - {at: 1, level_db: -15, over: 0.5}
      - {at: 1, pan: 0, over: 0.5}
      - {at: 2, set: {level_db: -6}}
      - {at: 2.5, width: 0.5}
    notes:
      - {at: 0, for: 2, pitch: A4, velocity: 0.5}
      - {at: 3, for: 1, pitch: C5, velocity: 0.5}
  bass:
    voice: still-water
    mode: mono
    glide: 0.1
    pan: 1
    notes:
      - {at: 0, for: 2, pitch: {hz: 200}, velocity: 0.5}
      - {at: 1, for: 0.5, pitch: {hz: 300}, velocity: 0.5}
  pads:
    voice: still-water
    layout: keyboard
    most_notes: 2
    width: 0.25
    notes:
      - {at: 4.5, for: 1, pitch: 61, velocity: 0.3}
changes:
  - {at: 3.5, layout: {kind: linear, root: {key: 60, degree: 1}}}
  - {at: 4.8, anchor: {note: A4, hz: 432}, glide: 0.1}
"""


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, np.ndarray, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("trio")
    score, out = folder / "trio.yaml", folder / "trio.wav"
    score.write_text(TRIO)
    result = CliRunner().invoke(main, ["render", str(score), "--out", str(out)])
    assert result.exit_code == 0, result.output
    return out, soundfile.read(out)[0].T, json.loads(out.with_suffix(".json").read_text())


def heard(samples: np.ndarray, start_s: float, end_s: float, hz: float) -> tuple[float, float]:
    """Return what is measured near a frequency: Hz and dB."""
    fit = tones.fit_lines(samples[round(start_s * RATE) : round(end_s * RATE)], RATE, [hz])
    return fit.hz[0], fit.level_db[0]


def test_a_part_fades_and_walks_while_its_note_sounds(
    take: tuple[Path, np.ndarray, dict[str, Any]],
) -> None:
    (left, right) = take[1]
    before = heard(left, 0.2, 0.9, 440.0)[1]
    after = heard(left, 1.55, 1.95, 440.0)[1]
    # 12 dB by the level, and 3 dB as it comes from the left to the middle
    assert after - before == pytest.approx(-12.0 - 10.0 * np.log10(2.0), abs=0.01)
    other = tones.fit_lines(right[round(1.55 * RATE) : round(1.95 * RATE)], RATE, [200.0, 440.0])
    assert other.level_db[1] == pytest.approx(after, abs=0.05)


def test_the_bass_plays_one_note_and_comes_back(
    take: tuple[Path, np.ndarray, dict[str, Any]],
) -> None:
    right = take[1][1]
    for start_s, end_s, hz in ((0.3, 0.95, 200.0), (1.15, 1.45, 300.0), (1.65, 1.95, 200.0)):
        fit = tones.fit_lines(right[round(start_s * RATE) : round(end_s * RATE)], RATE, [hz, 440.0])
        assert abs(tones.cents(fit.hz[0], hz)) < 0.01


def test_the_log_names_parts_and_tells_their_levels_and_places(
    take: tuple[Path, np.ndarray, dict[str, Any]],
) -> None:
    notes = take[2]["notes"]
    assert [each["part"] for each in notes] == ["reed", "reed", "bass", "pads"]
    first, second, bass, pads = notes
    voice = Catalogue().voice("still-water")
    own = -18.0 + 20.0 * np.log10(voice.note_gain(0.5, 440.0))  # the master's, and the velocity's
    assert first["level_db"] == pytest.approx(own - 3.0)
    assert first["quieter_db"] == pytest.approx(12.0 + 10.0 * np.log10(2.0))
    assert first["pan"] == -1.0
    assert "quieter_db" not in second
    octaves = np.log2(440.0 * 2.0 ** (8 / 31) / (440.0 * 2.0**-0.75))  # C5 is 8 degrees over A4
    assert second["pan"] == pytest.approx(0.5 * octaves / 3.0)
    assert bass["pan"] == 1.0
    assert [(p["sample"], p["glide_samples"], p["hz"]) for p in bass["pitches"]] == [
        (0, 0, 200.0),
        (RATE, RATE // 10, 300.0),
        (3 * RATE // 2, RATE // 10, 200.0),
    ]
    assert bass["legato"] == [
        {"sample": RATE, "pitch": {"hz": 300.0}},
        {"sample": 3 * RATE // 2, "pitch": {"hz": 200.0}},
    ]
    assert bass["release"] == 2 * RATE
    # key 61 is C#, degree 2, by its own layout; the change of everyone's does not touch it
    assert [p["hz"] for p in pads["pitches"]] == [
        pytest.approx(hz * 2.0 ** ((2 - 23) / 31)) for hz in (440.0, 432.0)
    ]


def test_the_take_is_proved_and_a_wrong_log_is_not(
    take: tuple[Path, np.ndarray, dict[str, Any]],
) -> None:
    out, _, log = take
    assert CliRunner().invoke(main, ["assay", str(out)]).exit_code == 0
    path = out.with_suffix(".json")
    whole = path.read_text()
    log["notes"][0]["pitches"][0]["hz"] *= 2 ** (5 / 1200)
    path.write_text(json.dumps(log))
    try:
        assert CliRunner().invoke(main, ["assay", str(out)]).exit_code == 1
    finally:
        path.write_text(whole)


def read(tmp_path: Path, text: str, overrides: Overrides | None = None) -> Any:
    path = tmp_path / "trio.yaml"
    path.write_text(text)
    return read_score(path, Catalogue(), overrides or Overrides())


def test_what_a_part_is_set_to_stands_before_its_notes(tmp_path: Path) -> None:
    timeline = lay_out(read(tmp_path, TRIO), RATE)
    first = [event for event in timeline.events if event.sample == 0]
    by_part = [
        {event.kind.name: event.amount for event in first if event.part == part and event.note < 0}
        for part in range(3)
    ]
    assert by_part[0] == {"TUNING": 0.0, "VOICE": 0.0, "PAN": -1.0, "PART_LEVEL": -3.0, "GLIDE": 0}
    assert by_part[1] == {"VOICE": 0.0, "PAN": 1.0, "PART_LEVEL": 0.0, "GLIDE": 0.0, "MODE": 1.0}
    assert by_part[2] == {
        "LAYOUT": 0.0, "VOICE": 0.0, "PAN": 0.0, "PART_LEVEL": 0.0, "GLIDE": 0.0, "WIDTH": 0.25,
        "LIMIT": 2.0,
    }  # fmt: skip
    kinds = [event.kind for event in first]
    assert kinds.index(Kind.NOTE_ON) > kinds.index(Kind.LIMIT)
    laid = [event.sample for event in timeline.events if event.kind == Kind.LAYOUT]
    assert laid == [0, round(4.8 * RATE)]  # not where the layout alone is changed


def test_the_callers_layout_wins(tmp_path: Path) -> None:
    score = read(tmp_path, TRIO, Overrides(layout="linear"))
    assert score.parts[2].layout is None
    assert "the layout of pads in the score gives way to --layout" in score.notices


@pytest.mark.parametrize(
    ("given", "wrong", "said"),
    [
        ("width: 0.25", "width: 1.5", "width: got 1.5"),
        ("mode: mono", "mode: duo", "mode: got 'duo'"),
        ("most_notes: 2", "most_notes: 0", "most_notes: got 0"),
        ("{at: 2.5, width: 0.5}", "{at: 2.5, pan: -2}", "pan: got -2"),
        ("{at: 2.5, width: 0.5}", "{at: 2.5, level_db: 1}", "level_db: got 1"),
        ("{at: 2.5, width: 0.5}", "{at: 1.5, width: 0.5}", "in order of time"),
        ("{at: 2.5, width: 0.5}", "{at: 2.5, width: 0.5, pan: 0}", "exactly one"),
        ("layout: keyboard", "layout: no-such", "no-such"),
    ],
)
def test_what_is_wrong_with_parts_is_named(
    tmp_path: Path, given: str, wrong: str, said: str
) -> None:
    assert given in TRIO
    with pytest.raises(InvalidValue) as caught:
        read(tmp_path, TRIO.replace(given, wrong))
    assert said in str(caught.value)
    line = TRIO[: TRIO.index(given)].count("\n") + 1
    assert f"trio.yaml:{line}: " in str(caught.value)


def test_a_layout_that_does_not_fit_a_scale_to_come_names_its_part(tmp_path: Path) -> None:
    """The keyboard goes by note names, and the scale that comes later has none."""
    text = """\
anchor: 0=256
parts:
  pads:
    layout: keyboard
    notes: [[0, 1, {degree: 3}]]
changes:
  - {at: 4, scale: 13-equal-of-3}
"""
    with pytest.raises(InvalidValue) as caught:
        read(tmp_path, text)
    assert re.search(r"trio.yaml:4: parts.pads.layout: got", str(caught.value))


def test_the_logs_bounds_hold_what_a_moving_part_does() -> None:
    """Against what a balance says at every sample: never above, never below, and both reached."""
    events = [
        Event(Kind.WIDTH, 0, amount=0.4),
        Event(Kind.PART_LEVEL, 100, amount=-9.0, samples=400),
        Event(Kind.PAN, 250, amount=-0.8, samples=700),
        Event(Kind.PAN, 1_200, amount=0.8, samples=300),
    ]
    balance = LoggedBalance(events)
    still = balance.over(range(2_000, 3_000), 440.0)
    assert still.quieter_db == pytest.approx(0.0, abs=1e-12)
    moving = balance.over(range(0, 2_000), 440.0 * 2.0**-0.75)
    assert moving.level_db == pytest.approx(
        20.0 * np.log10(np.cos((1 - 0.8) * np.pi / 4)), abs=1e-9
    )
    lowest = moving.level_db - moving.quieter_db  # at the quietest, in the middle
    assert lowest == pytest.approx(-9.0 - 10.0 * np.log10(2.0), abs=1e-9)
    assert balance.over(range(3_000), 880.0).pan == pytest.approx(0.4 * (1.75 / 3.0))
    dip = [
        Event(Kind.PART_LEVEL, 100, amount=-20.0, samples=50),
        Event(Kind.PART_LEVEL, 500, amount=0.0, samples=50),
    ]
    assert LoggedBalance(dip).over(range(1_000), 440.0).quieter_db == pytest.approx(20.0)
    silent = LoggedBalance([Event(Kind.PART_LEVEL, 10, amount=-100.0)])
    assert silent.over(range(20, 30), 440.0).level_db == SILENT_DB
    assert silent.over(range(30), 440.0).quieter_db > 190.0
