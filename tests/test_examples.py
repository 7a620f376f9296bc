"""Every example renders by the command line, is in tune, and sounds the same each time."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from meantide.command import main

FOLDER = Path(__file__).parents[1] / "examples"
EXAMPLES = sorted(FOLDER.iterdir())
NO_PRESETS = {"MEANTIDE_PRESETS": str(FOLDER)}
"""A folder without presets as the user's own, so that only the shipped ones are found."""


def run(*arguments: str | Path) -> str:
    """Run a verb in this process; return what it printed, after asserting that it went well."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments], env=NO_PRESETS)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_examples_are_numbered_in_order_without_gaps() -> None:
    parts = [re.fullmatch(r"(\d\d)-[a-z0-9]+(?:-[a-z0-9]+)*\.yaml", file.name) for file in EXAMPLES]
    assert None not in parts, [file.name for file in EXAMPLES]
    assert [int(part[1]) for part in parts if part] == list(range(1, len(EXAMPLES) + 1))
    assert len(EXAMPLES) >= 4


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda file: file.stem)
def test_an_example_begins_by_saying_what_to_listen_for(example: Path) -> None:
    lines = example.read_text(encoding="utf-8").splitlines()
    head = lines[: next(place for place, line in enumerate(lines) if not line.startswith("# "))]
    said = " ".join(line.removeprefix("# ") for line in head)
    assert "Listen for" in said
    assert "invented" in said  # its place and people are, and it says so


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda file: file.stem)
def test_an_example_is_in_tune_and_no_note_is_left_unmeasured(
    example: Path, tmp_path: Path
) -> None:
    take = tmp_path / "take.wav"
    run("render", example, "--out", take)
    found = json.loads(run("assay", take, "--json"))
    assert found["passed"]
    counts = found["counts"]
    log = json.loads(take.with_suffix(".json").read_text(encoding="utf-8"))
    assert log["limited_db"] == 0.0
    assert counts.pop("in tune") >= len(log["notes"]) > 0  # one row or more a note
    assert set(counts.values()) == {0}, found["counts"]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda file: file.stem)
def test_an_example_gives_the_same_bytes_twice(example: Path, tmp_path: Path) -> None:
    takes = [tmp_path / number / "take.wav" for number in ("first", "second")]
    for take in takes:
        take.parent.mkdir()
        run("render", example, "--out", take)
    first, second = ((t.read_bytes(), t.with_suffix(".json").read_bytes()) for t in takes)
    assert first == second


def test_the_first_example_in_a_process_of_its_own(tmp_path: Path) -> None:
    """The installed program, as a reader of the README starts it."""
    program, take = Path(sys.executable).with_name("meantide"), tmp_path / "first.wav"
    environment = os.environ | NO_PRESETS
    subprocess.run([program, "render", EXAMPLES[0], "--out", take], check=True, env=environment)
    proof = subprocess.run([program, "assay", take], check=True, capture_output=True, text=True)
    assert proof.stdout.splitlines()[-1].startswith("in tune to 0.1 cents: 11 in tune, 0 out")


def test_the_anchor_example_sinks_by_what_it_says(tmp_path: Path) -> None:
    """02: every held note follows 440 -> 435 -> 415 by 1200 log2(ratio) cents, all alike."""
    moves = held_moves_hz(EXAMPLES[1], tmp_path)
    assert len(moves) == 8  # four notes held over each of two changes
    for place, (before, after) in enumerate(moves):
        ratio = 435 / 440 if place < 4 else 415 / 435
        assert after / before == pytest.approx(ratio, rel=1e-12)


def test_the_scale_example_moves_the_third_and_not_the_anchor(tmp_path: Path) -> None:
    """03: of the held A major chord only C sharp and E move, as 12, 19 and 31 parts have them."""
    moves = held_moves_hz(EXAMPLES[2], tmp_path)
    expected = [2 ** (6 / 19 - 4 / 12), 2 ** (11 / 19 - 7 / 12)]
    expected += [2 ** (10 / 31 - 6 / 19), 2 ** (18 / 31 - 11 / 19)]
    assert [after / before for before, after in moves] == pytest.approx(expected, rel=1e-12)


def held_moves_hz(example: Path, folder: Path) -> list[tuple[float, float]]:
    """Return the Hz before and after each move of a note that is held, in order of time."""
    take = folder / "take.wav"
    run("render", example, "--out", take)
    log = json.loads(take.with_suffix(".json").read_text(encoding="utf-8"))
    moves = [
        (later["sample"], earlier["hz"], later["hz"])
        for note in log["notes"]
        for earlier, later in zip(note["pitches"], note["pitches"][1:], strict=False)
    ]
    return [(before, after) for _, before, after in sorted(moves, key=lambda move: move[0])]
