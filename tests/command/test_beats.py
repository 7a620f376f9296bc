"""`meantide beats`, run as the command line runs it."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meantide.command import main


def beats(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["beats", *arguments])


def answer(*arguments: str) -> Any:
    result = beats(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_chord_of_twelve_equal() -> None:
    """standards.md §8, A440: C4 E4 beats 10.382 times a second, C4 G4 0.886 (calculated)."""
    found = answer("G4", "C4", "E4")["beats"]
    strongest = {}
    for row in found:
        strongest.setdefault((row["lower"], row["upper"]), row)
    third, fifth = strongest["C4", "E4"], strongest["C4", "G4"]
    assert third["beats_hz"] == pytest.approx(10.382, abs=0.00051)
    assert (third["lower_partial"], third["upper_partial"], third["interval"]) == (5, 4, "wide")
    assert fifth["beats_hz"] == pytest.approx(0.886, abs=0.00051)
    assert (fifth["lower_partial"], fifth["upper_partial"], fifth["interval"]) == (3, 2, "narrow")
    assert set(strongest) == {("C4", "E4"), ("C4", "G4"), ("E4", "G4")}


def test_notes_by_key_and_by_frequency_in_any_scale() -> None:
    said = answer("60", "73", "--scale", "13-equal-of-3", "--anchor", "0=200")
    assert [note["hz"] for note in said["notes"]] == pytest.approx([200.0, 600.0], rel=1e-14)
    assert said["beats"][0]["interval"] == "pure"  # 3/1 is its period
    [slow] = answer("440hz", "440.5Hz", "--voice", "still-water", "--within", "0.7")["beats"]
    assert slow["beats_hz"] == pytest.approx(0.5, abs=1e-9)
    assert slow["at_hz"] == pytest.approx(440.25, abs=1e-9)


def test_the_table_lists_the_strongest_of_each_two_notes() -> None:
    text = beats("F3", "C4", "--rows", "2").stdout
    assert "3 : 2" in text
    assert "0.591" in text  # standards.md §8; Suzuki 1984 prints 0.59
    assert "narrow" in text
    assert "6 : 4" in text
    assert "9 : 6" not in text
    nothing = beats("C4", "D4", "--voice", "still-water").stdout
    assert "none" in nothing


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["C4"], "notes: got '1 of them'; allowed: 2 to 12 notes"),
        (["C4", "H4"], "note name: got 'H4'"),
        (["C4", "highhz"], "a frequency such as 438.5hz"),
        (["C4", "nanhz"], "Hz: got nan"),
        (["C4", "1e9hz"], "from 1 to 20000"),
        (["C4", "E4", "--within", "0"], "within: got 0.0"),
        (["C4", "E4", "--within", "nan"], "within: got nan"),
        (["C4", "E4", "--scale", "13-equal-of-3"], "has no note names"),
        (["C4", "E4", "--voice", "plain-red"], "did you mean plain-reed"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str
) -> None:
    result = beats(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stdout == ""
