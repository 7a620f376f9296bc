"""`meantide capacity`, run as the command line runs it, on the machine there is."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meantide.command import main
from meantide.command.capacity import _advice
from meantide.live.capacity import BLOCKS, HALF, MOST, Choice


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["capacity", *arguments, "--kernel", "numpy"])


def answer(*arguments: str) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_program_is_told_what_was_measured() -> None:
    said = answer("--voice", "plain-reed", "--block", "64", "--notes", "3")
    assert (said["kind"], said["rate"], said["kernel"]) == ("capacity", 48_000, "numpy")
    assert said["wanted"] == 3
    [held] = said["held"]
    assert (held["voice"], held["block"]) == ("plain-reed", 64)
    assert 1 <= held["notes"] <= MOST
    if held["settled"]:  # on a busy machine it may not be, and then says so
        assert 0 < held["median"] <= held["high"] < HALF
        assert held["blocks"] == BLOCKS
        assert said["choose"] == {"block": 64, "notes": held["notes"], "enough": True}
    else:
        assert held["why"]
        assert said["choose"] is None


def test_people_are_told_and_quick_measures_the_costliest_alone() -> None:
    result = run("--voice", "still-water", "--voice", "harbour-bell", "--block", "64", "--quick")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == "notes held on this machine, 48000 Hz, numpy kernel"
    assert any("still-water" in line for line in lines)
    assert any("harbour-bell" in line for line in lines)
    assert "about: unsettled; estimated by medians only" in lines
    assert any(line.startswith("choose: ") for line in lines)
    assert "beyond: more notes sound until blocks take 75% of their length" in result.stdout
    assert result.stderr == ""  # progress is for terminals


@pytest.mark.parametrize("block", ["", "64,", "64;128", "15", "64,8193", "-64", "6.4", "٦٤"])
def test_block_sizes_that_are_none_are_refused(block: str) -> None:
    result = run("--voice", "plain-reed", "--block", block)
    assert result.exit_code == 2
    assert "--block" in result.stderr
    assert "whole numbers from 16 to 8192" in result.stderr


def test_a_voice_that_is_not_there_is_refused_before_anything_is_measured() -> None:
    result = run("--voice", "plain-reef")
    assert result.exit_code == 2
    assert "plain-reed" in result.stderr


@pytest.mark.parametrize(
    ("choice", "advice"),
    [
        (Choice(128, 90, True), "choose: --block 128, the smallest measured in which every voice"),
        (Choice(256, 40, False), "choose: --block 256 --notes 40; 64 notes of every voice"),
        (None, "choose: at no block size could a number of notes be settled"),
    ],
)
def test_what_is_advised(choice: Choice | None, advice: str) -> None:
    assert _advice(choice, 64).startswith(advice)
