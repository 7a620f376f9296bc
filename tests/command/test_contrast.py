"""`meantide contrast`, run as the command line runs it."""

import json

import pytest
from click.testing import CliRunner, Result

from meantide.command import main


def contrast(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["contrast", *arguments])


def test_an_anchor_is_told_from_a_scale() -> None:
    anchor = contrast("--against-anchor", "A4=435")
    # 435 Hz lies 19.786 cents below 440, calculated.
    sentence = "Every note moves by -19.786 cents; no interval changes, only the anchor."
    assert sentence in anchor.stdout
    assert "No interval of these chords changes." in anchor.stdout
    scale = contrast("--against-scale", "just-five-limit")
    assert "Intervals change: above the anchored note by " in scale.stdout
    assert "1: 12-equal, A4=440 Hz; 2: just-five-limit, A4=440 Hz" in scale.stdout
    same = contrast("--scale", "just-five-limit", "--against-anchor", "C4=264")
    assert "The two tunings are the same." in same.stdout


def test_json_holds_notes_and_chords() -> None:
    result = contrast("--against-scale", "just-five-limit", "--chord", "C4,E4,G4", "--json")
    answer = json.loads(result.stdout)
    assert answer["first"]["scale"]["equal"] == 12
    assert answer["other"]["anchor"] == {"note": "A4", "hz": 440.0}
    assert answer["common_cents"] is None
    notes = {note["name"]: note for note in answer["notes"]}
    assert list(notes)[0::12] == ["C4", "C5"]
    # A is 884.359 cents above C in five-limit just, so C is 15.641 higher; calculated.
    assert notes["C4"]["cents"] == pytest.approx(15.641, abs=5.1e-4)
    assert notes["A4"]["cents"] == 0
    (chord,) = answer["chords"]
    assert (chord["notes"], chord["just"]) == (["C4", "E4", "G4"], [4, 5, 6])
    # |4 x 329.6276 - 5 x 261.6256| in twelve equal parts, calculated.
    assert chord["first"]["beats_hz"][0] == pytest.approx(10.382, abs=5.1e-4)
    assert chord["other"]["beats_hz"] == [0, 0, 0]


def test_triads_stand_on_every_name_of_one_period() -> None:
    answer = json.loads(contrast("--against-anchor", "A4=432", "--as", "json").stdout)
    assert len(answer["chords"]) == 24
    assert answer["chords"][0]["notes"] == ["C4", "E4", "G4"]
    few = json.loads(contrast("--against-anchor", "A4=432", "--degrees", "9", "--json").stdout)
    assert [note["name"] for note in few["notes"]] == ["A4"]
    assert [chord["notes"] for chord in few["chords"]] == [["A4", "C#5", "E5"], ["A4", "C5", "E5"]]


def test_tables_say_what_is_only_near() -> None:
    text = contrast("--scale", "13-equal-of-3", "--anchor", "0=256", "--against-scale", "12-equal",
                    "--against-anchor", "C4=256").stdout  # fmt: skip
    assert "≈ 9" in text
    assert "its nearest pitch" in text
    assert "chords" not in text
    text = contrast("--against-scale", "19-equal", "--chord", "C4,E4,G4", "--as", "markdown").stdout
    assert "| chord | just | in | cents | off | beats | change |" in text
    assert "| C4 E4 G4 | 4:5:6 | 1 | 400.0 700.0 | +13.7 -2.0 | 10.38 0.89 17.79 |  |" in text
    assert "nearest pitch" not in text


def test_a_thousand_degrees_are_compared() -> None:
    answer = json.loads(
        contrast("--scale", "1000-equal", "--against-scale", "53-equal", "--json").stdout
    )
    assert len(answer["notes"]) == 1001


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "--against-scale: got 'nothing'; allowed: another scale, or --against-anchor"),
        (["--against-scale", "31-eqal"], "did you mean 31-equal"),
        (["--against-scale", "13-equal-of-3"], "note name: got 'A4'; allowed: degrees"),
        (
            ["--against-scale", "31-equal", "--chord", "C4"],
            "chord: got 'C4'; allowed: 2 to 8 notes",
        ),
        (["--against-scale", "31-equal", "--degrees", "5..1"], "--degrees: got '5..1'"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str
) -> None:
    result = contrast(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stdout == ""
