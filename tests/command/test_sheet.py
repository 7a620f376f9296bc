"""`meantide sheet`, run as the command line runs it."""

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meantide.command import main
from meantide.command.tables import signed

COLUMNS = ["key", "degree", "name", "hz", "cents_above_degree_0", "cents_from_twelve_equal"]


def sheet(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["sheet", *arguments])


def rows(*arguments: str) -> list[dict[str, str]]:
    result = sheet(*arguments, "--as", "csv")
    assert result.exit_code == 0, result.output
    reader = csv.DictReader(io.StringIO(result.stdout, newline=""))
    assert reader.fieldnames == COLUMNS
    return list(reader)


def test_one_period_from_key_sixty_by_default() -> None:
    found = rows("--scale", "31-equal")
    assert [int(row["key"]) for row in found] == list(range(60, 92))
    assert [int(row["degree"]) for row in found] == list(range(32))
    names = {row["name"]: row for row in found}
    assert float(names["A4"]["hz"]) == 440
    # One step of 31 above A4 = 440, calculated to four decimals.
    assert float(names["Bbb4"]["hz"]) == pytest.approx(449.9490, abs=5.1e-5)
    # 10 steps of 31 are 5/4 and 0.783 cent.
    assert float(names["E4"]["cents_above_degree_0"]) == pytest.approx(386.3137 + 0.783, abs=1e-3)


def test_numbers_are_exact() -> None:
    found = rows("--scale", "just-five-limit", "--anchor", "c256", "--keys", "60..67")
    assert [row["hz"] for row in found][::7] == ["256.0", "384.0"]
    assert float(found[1]["hz"]) == pytest.approx(256 * 16 / 15, rel=3e-16)


def test_degrees_in_place_of_keys() -> None:
    arguments = ("--scale", "13-equal-of-3", "--anchor", "0=440")
    found = rows(*arguments, "--degrees", "-61..13")
    assert [row["key"] for row in found[:3]] == ["", "0", "1"]
    assert {row["name"] for row in found} == {""}
    hz = {int(row["degree"]): float(row["hz"]) for row in found}
    # Thirteen equal parts of 3/1 from 440, calculated to four decimals.
    for degree, expected in ((1, 478.8002), (4, 616.9631), (6, 730.5711), (10, 1024.3987)):
        assert hz[degree] == pytest.approx(expected, abs=5.1e-5)
    assert hz[13] == pytest.approx(1320, rel=1e-15)
    assert [row["degree"] for row in rows(*arguments, "--degrees", "-3")] == ["-3"]


def test_deviation_from_twelve_equal_is_counted_from_the_anchored_note() -> None:
    found = rows("--scale", "just-five-limit", "--anchor", "A4=432")
    deviations = {row["name"]: float(row["cents_from_twelve_equal"]) for row in found}
    assert deviations["A4"] == 0
    # A is 884.359 above C in five-limit just, so C is 15.641 above twelve-equal C.
    assert deviations["C4"] == pytest.approx(15.641, abs=5.1e-4)
    quarter_tones = rows("--scale", "24-equal")
    assert {float(row["cents_from_twelve_equal"]) for row in quarter_tones} == {0, 50}


def test_json_holds_the_tuning_and_the_same_rows() -> None:
    result = sheet("--keys", "69..70", "--as", "json")
    answer = json.loads(result.stdout)
    assert answer["scale"]["equal"] == 12
    assert answer["anchor"] == {"note": "A4", "hz": 440.0}
    assert answer["layout"]["kind"] == "linear"
    assert answer["rows"][0] == {
        "key": 69,
        "degree": 9,
        "name": "A4",
        "hz": 440.0,
        "cents_above_degree_0": 900.0,
        "cents_from_twelve_equal": 0.0,
    }
    assert [list(row) for row in answer["rows"]] == [COLUMNS] * 2
    # Key 70 of the MIDI Tuning Standard's 12-equal table: 466.1638 Hz.
    assert answer["rows"][1]["hz"] == pytest.approx(466.1638, abs=5e-5)


def test_the_table_says_what_its_cents_are_above() -> None:
    text = sheet("--scale", "19-equal", "--keys", "60..61").stdout
    for part in ("19-equal, A4=440 Hz", "cents above C4", "C#4", "63.158"):
        assert part in text
    text = sheet("--scale", "13-equal-of-3", "--anchor", "0=256", "--keys", "61").stdout
    for part in ("cents above degree 0", "146.304", "-"):
        assert part in text


def test_players_are_told_what_their_tuners_show() -> None:
    result = sheet("--scale", "just-five-limit", "--anchor", "c256", "--for", "players")
    for part in ("just-five-limit, C4=256 Hz", "tuner with A4 at 440 Hz", "4 on 5"):
        assert part in result.stdout
    found = csv.DictReader(
        io.StringIO(sheet("--scale", "12-equal", "--for", "players", "--as", "csv").stdout)
    )
    rows = {row["name"]: row for row in found}
    # 5/3 is 884.359 cents and A 900 above C in twelve equal parts, calculated.
    assert rows["C4"]["ratio"] == "3/5"
    assert float(rows["C4"]["ratio_cents"]) == pytest.approx(-15.641, abs=5.1e-4)
    # 440 Hz lies 101.27 cents above 415, calculated: a tuner set there calls it Bb4.
    low = sheet("--for", "players", "--tuner-hz", "415", "--json")
    a4 = next(row for row in json.loads(low.stdout)["rows"] if row["name"] == "A4")
    assert (a4["tuner_note"], round(a4["tuner_cents"], 2)) == ("Bb4", 1.27)


def test_ratios_are_as_near_and_of_such_primes_as_asked() -> None:
    arguments = ("--scale", "31-equal", "--anchor", "C4=256", "--for", "players", "--json")
    rows = json.loads(sheet(*arguments).stdout)["rows"]
    # 14 and 25 steps of 31 lie 9.382 and 1.084 cents below 11/8 and 7/4, calculated.
    assert (rows[14]["ratio"], rows[25]["ratio"]) == ("11/8", "7/4")
    rows = json.loads(sheet(*arguments, "--limit", "5").stdout)["rows"]
    assert not any(row["ratio"] in {"11/8", "7/4"} for row in rows)
    rows = json.loads(sheet(*arguments, "--within", "1").stdout)["rows"]
    assert rows[10]["ratio"] == "5/4"  # 0.783 cent off
    assert rows[18]["ratio"] != "3/2"  # 5.181 cents


def test_nothing_is_minus_nought() -> None:
    assert [signed(value, 1) for value in (-0.04, 0, 0.04, -0.06)] == [
        "+0.0",
        "+0.0",
        "+0.0",
        "-0.1",
    ]


def test_a_keyboard_is_told_what_its_keys_play() -> None:
    arguments = ("--scale", "31-equal", "--layout", "keyboard", "--for", "keyboard")
    rows = json.loads(sheet(*arguments, "--json").stdout)["rows"]
    assert [row["key"] for row in rows] == list(range(36, 97))
    at = {row["key"]: row for row in rows}
    # On the chain of fifths in 31 parts C# is degree 2 and Eb 8; they stand on keys 61 and 63.
    assert (at[61]["key_name"], at[61]["name"], at[61]["degree"]) == ("C#4", "C#4", 2)
    assert (at[63]["name"], at[63]["degree"]) == ("Eb4", 8)
    silent = sheet(*arguments[:2], "--layout", "black-keys", "--for", "keyboard", "--keys", "60")
    assert "the key is silent" in silent.stdout


def test_markdown_is_a_table_with_its_notes() -> None:
    lines = sheet("--scale", "31-equal", "--keys", "60..61", "--as", "markdown").stdout.split("\n")
    assert lines[0] == "## 31-equal, A4=440 Hz"
    assert lines[2] == "| key | degree | name | Hz | cents above C4 | 12-equal |"
    assert lines[3] == "| ---: | ---: | --- | ---: | ---: | ---: |"
    assert lines[4].startswith("| 60 | 0 | C4 | 263.0921 | 0.000 |")
    assert lines[7].startswith("12-equal: cents from")


@pytest.mark.parametrize(
    ("name", "beginning"), [("a.pdf", b"%PDF"), ("a.svg", b"<?xml"), ("a.PNG", b"\x89PNG\r\n")]
)
def test_pictures_are_drawn(tmp_path: Path, name: str, beginning: bytes) -> None:
    path = tmp_path / name
    result = sheet("--scale", "19-equal", "--for", "players", "--picture", str(path))
    assert result.stdout == f"{path}: 20 of 20 notes named\n"
    assert path.read_bytes().startswith(beginning)


def test_a_scale_of_a_thousand_is_listed_whole() -> None:
    for whom in ("everyone", "players"):
        result = sheet("--scale", "1000-equal", "--for", whom, "--as", "csv")
        assert len(result.stdout.splitlines()) == 1002


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--scale", "31-eqal"], "scale: got '31-eqal'; allowed: did you mean 31-equal"),
        (["--scale", "13-equal-of-3"], "note name: got 'A4'; allowed: degrees; 13-equal-of-3 has"),
        (["--anchor", "A4=0"], "from 0.01 to 20000"),
        (["--anchor", "b4=440"], "a note name such as A4"),
        (["--keys", "72..60"], "--keys: got '72..60'; allowed: LOW..HIGH, such as 60..72"),
        (["--keys", "60-72"], "--keys: got '60-72'; allowed: LOW..HIGH"),
        (["--degrees", "0..200000"], "--degrees: got '0..200000'; allowed: LOW..HIGH"),
        (["--keys", "1", "--degrees", "1"], "either --keys or --degrees"),
        (["--as", "csv", "--json"], "--json: got 'csv'; allowed: one of --json and --as"),
        (["--as", "csv", "--picture", "x.pdf"], "either a picture or a table"),
        (["--json", "--picture", "x.pdf"], "either a picture or a table"),
        (["--picture", "x.gif"], "a file name that ends in .pdf, .svg, .png"),
        (["--for", "keyboard", "--degrees", "1"], "--for: got 'keyboard'; allowed: --keys"),
        (["--for", "players", "--tuner-hz", "nan"], "tuner-hz: got nan; allowed: the tuner's A4"),
        (["--for", "players", "--tuner-hz", "-1", "--picture", "x.pdf"], "tuner-hz: got -1.0"),
        (["--for", "players", "--within", "101"], "within: got 101.0; allowed: cents from 0 to"),
        (["--layout", "black-keys", "--keys", "60", "--picture", "x.pdf"], "keys that play"),
        (["--keys", "9999"], "degree: got 9939; allowed: degrees within 64 octaves"),
        (["--layout", "lineal"], "layout: got 'lineal'; allowed: did you mean linear?"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str
) -> None:
    result = sheet(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stdout == ""
