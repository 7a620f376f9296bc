"""`meantide presets`, run as the command line runs it."""

import json
import math
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meantide.command import main

STEP = 1200 / 17
TO = {"abs": 6e-4}  # cents of just intervals to three decimals, standards.md §5
FM = "kind: fm\noperators: [{ratio: 1, level_db: 0}, {ratio: 7/2}]\npaths: [[2, 1, 1.5]]\n"


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MEANTIDE_PRESETS", str(tmp_path))
    (tmp_path / "scales").mkdir()
    return tmp_path / "scales"


def presets(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["presets", *arguments])


def test_everything_is_listed_by_kind() -> None:
    text = presets().stdout
    for part in ("scales", "31-equal", "anchors", "a440", "layouts", "linear", "voices"):
        assert part in text
    text = presets("anchors").stdout
    assert "c256" in text
    assert "31-equal" not in text


def test_json_says_where_each_comes_from(own: Path) -> None:
    (own / "quay.yaml").write_text("equal: 17\nabout: invented for a test\nsource: invented\n")
    listed = {entry["name"]: entry for entry in json.loads(presets("scales", "--json").stdout)}
    assert listed["quay"] == {
        "kind": "scales",
        "name": "quay",
        "about": "invented for a test",
        "source": "invented",
        "file": str(own / "quay.yaml"),
        "error": "",
        "size": 17,
        "period": "2/1",
        "equal": True,
        "nearest": [
            {
                "target": "3/2",
                "degree": 10,
                "error_cents": pytest.approx(10 * STEP - 701.955, **TO),
            },
            {"target": "5/4", "degree": 5, "error_cents": pytest.approx(5 * STEP - 386.314, **TO)},
            {
                "target": "7/4",
                "degree": 14,
                "error_cents": pytest.approx(14 * STEP - 968.826, **TO),
            },
        ],
        "error_cents": pytest.approx(22.404, abs=1e-3),  # √((3.927² + 33.373² + 19.409²) / 3)
    }
    assert listed["pelog-1885"]["source"].endswith("from memory")
    assert Path(listed["31-equal"]["file"]).is_file()
    kinds = {entry["kind"] for entry in json.loads(presets("--json").stdout)}
    assert kinds == {"scales", "anchors", "layouts", "voices"}


def test_none_of_ours_is_broken() -> None:
    assert {entry["error"] for entry in json.loads(presets("--json").stdout)} == {""}


def test_a_broken_file_is_listed_with_what_is_wrong_and_hides_no_other(own: Path) -> None:
    (own / "broken.yaml").write_text("name: broken\nequal: many\n")
    (own / "bytes.yaml").write_bytes(b"\xff\xfe")
    result = presets("scales", "--json")
    assert result.exit_code == 0
    listed = {entry["name"]: entry["error"] for entry in json.loads(result.stdout)}
    assert listed["broken"].startswith(
        f"{own / 'broken.yaml'}:2: equal: got 'many'; allowed: a who"
    )
    assert "UTF-8" in listed["bytes"]
    assert listed["31-equal"] == ""
    assert "31-equal" in presets("scales").stdout


def test_unknown_kinds_are_a_usage_error() -> None:
    result = presets("tunes")
    assert result.exit_code == 2
    assert "scales" in result.stderr


# Steps and errors in cents of equal divisions, calculated: standards.md §5.
TARGETS = ["3/2", "5/4", "6/5", "7/4", "11/8"]
NEAREST = {
    "12-equal": [(7, -1.955), (4, 13.686), (3, -15.641), (10, 31.174), (6, 48.682)],
    "19-equal": [(11, -7.218), (6, -7.366), (5, 0.148), (15, -21.457), (9, 17.103)],
    "22-equal": [(13, 7.136), (7, -4.496), (6, 11.631), (18, 12.992), (10, -5.863)],
    "31-equal": [(18, -5.181), (10, 0.783), (8, -5.964), (25, -1.084), (14, -9.382)],
    "53-equal": [(31, -0.068), (17, -1.408), (14, 1.340), (43, 4.759), (24, -7.922)],
}


def entries(*arguments: str) -> list[dict[str, Any]]:
    result = presets("scales", *arguments, "--json")
    assert result.exit_code == 0, result.output
    found: list[dict[str, Any]] = json.loads(result.stdout)
    return found


def names(*arguments: str) -> list[str]:
    return [entry["name"] for entry in entries(*arguments)]


def test_equal_divisions_come_as_near_as_the_table_says() -> None:
    found = {entry["name"]: entry for entry in entries("--near", ",".join(TARGETS))}
    for name, rows in NEAREST.items():
        nearest = found[name]["nearest"]
        assert [each["target"] for each in nearest] == TARGETS
        assert [each["degree"] for each in nearest] == [degree for degree, _ in rows]
        errors = [each["error_cents"] for each in nearest]
        assert errors == pytest.approx([error for _, error in rows], abs=5.1e-4)
        rms = math.sqrt(sum(error**2 for _, error in rows) / len(rows))
        assert found[name]["error_cents"] == pytest.approx(rms, abs=1e-3)


def test_the_nearest_come_first_and_weights_change_the_order() -> None:
    errors = [entry["error_cents"] for entry in entries("--near", "3/2,5/4,7/4")]
    assert errors == sorted(errors)
    assert errors[0] == 0  # a scale that has all three
    equal = ("equal", "--size", "19..22", "--period", "2/1")
    # 22 is nearer in fifths by 0.08 cent, in thirds by 2.87: its errors are all the smaller
    assert names(*equal, "--near", "3/2,5/4") == ["22-equal", "19-equal", "20-equal"]
    assert names(*equal, "--near", "3/2,6/5") == ["19-equal", "22-equal", "20-equal"]
    assert names(*equal, "--near", "3/2,6/5", "--weights", "1,0")[0] == "22-equal"


def test_degrees_may_lie_past_the_period_or_below() -> None:
    [thirteen] = [e for e in entries("--near", "5/1, 1/3") if e["name"] == "13-equal-of-3"]
    five, third = thirteen["nearest"]
    # 5/1 is 2786.314 cents, 19 steps of 146.304 are 2779.780.
    assert (five["degree"], third["degree"]) == (19, -13)
    assert five["error_cents"] == pytest.approx(2779.780 - 2786.314, abs=1.1e-3)
    assert third["error_cents"] == 0


def test_sizes_periods_and_words_filter(own: Path) -> None:
    (own / "quay.yaml").write_text("equal: 17\nabout: Invented BUOYS\nsource: a fork at the mole\n")
    assert names("buoys", "Mole") == ["quay"]
    assert names("buoys", "gulls") == []
    assert names("buoys", "--size", "18..40") == []
    assert set(names("--size", "17")) >= {"17-equal", "quay", "urmawi-17"}
    assert {entry["size"] for entry in entries("--size", "5..7")} == {5, 6, 7}
    assert {entry["period"] for entry in entries("--period", "9/3")} == {"3/1"}
    assert "12-equal-pure-fifths" in names("--period", "12/7 of 3/2")
    assert set(names("werckmeister")) == {"werckmeister-3", "werckmeister-4", "werckmeister-5"}


def test_tables_say_it_for_people() -> None:
    text = presets("scales", "--near", "3/2,5/4", "--size", "31").stdout
    [row] = [line for line in text.splitlines() if "31-equal" in line]
    assert row.split("│")[2:-1] == ["      31 ", " 3.705 ", " 18 -5.181 ", " 10 +0.783 "]
    text = presets("scales", "31-equal").stdout
    assert "3/2 at 18 (-5.18), 5/4 at 10 (+0.78), 7/4 at 25 (-1.08)" in text
    assert "13 to 3/1" in presets("scales", "just-13-of-3").stdout
    assert presets("scales", "gulls").stdout == "scales: none\n"


def test_anchors_show_cents_year_and_place() -> None:
    text = presets("anchors").stdout
    [row] = [line for line in text.splitlines() if "a435 " in line]
    cells = [cell.strip() for cell in row.split("│")[1:-2]]
    assert cells == ["a435", "A4", "435", "-19.79", "1859", "Paris", "15"]  # standards.md §4
    found = json.loads(presets("anchors", "--json").stdout)
    listed = {entry["name"]: entry for entry in found}
    assert listed["c256"]["cents_from_a440"] == pytest.approx(-37.6317, abs=5.1e-5)  # §0
    assert [e["cents_from_a440"] for e in found] == sorted(e["cents_from_a440"] for e in found)
    assert "a422-handel-1751" in presets("anchors", "1751", "london").stdout
    assert "a440" not in presets("anchors", "1751").stdout


def test_an_anchor_by_degree_has_no_cents_and_comes_last(own: Path) -> None:
    (own.parent / "anchors").mkdir()
    (own.parent / "anchors" / "tide.yaml").write_text("degree: 0\nhz: 256\nsource: invented\n")
    last = json.loads(presets("anchors", "--json").stdout)[-1]
    assert (last["name"], last["degree"], last["note"], last["hz"]) == ("tide", 0, None, 256)
    assert last["cents_from_a440"] is None
    assert "tide" in presets("anchors").stdout


def test_voices_and_layouts_show_their_kind() -> None:
    listed = {each["name"]: each for each in json.loads(presets("voices", "--json").stdout)}
    assert listed["plain-reed"]["voice_kind"] == "additive"
    assert listed["plain-reed"]["partials"] == 40
    [row] = [line for line in presets("voices").stdout.splitlines() if "plain-reed" in line]
    assert [cell.strip() for cell in row.split("│")[1:6]] == [
        "plain-reed",
        "reed",
        "65 to 1047",
        "additive",
        "40 partials",
    ]
    [row] = [line for line in presets("layouts").stdout.splitlines() if "linear " in line]
    assert [cell.strip() for cell in row.split("│")[1:3]] == ["linear", "linear"]


def test_what_cannot_be_read_is_left_out_of_a_ranking_and_said(own: Path) -> None:
    (own / "broken.yaml").write_text("equal: many\n")
    result = presets("scales", "--near", "3/2", "--json")
    assert result.exit_code == 0
    assert "broken" not in [entry["name"] for entry in json.loads(result.stdout)]
    assert result.stderr.startswith("meantide: 1 left out that cannot be read")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["anchors", "--near", "3/2"], "--near: got '3/2'; allowed: presets scales --near"),
        (["--size", "5"], "--size: got '5'; allowed: presets scales --size"),
        (["scales", "--weights", "1"], "--weights: got '1'; allowed: weights together with"),
        (["scales", "--near", "3/2", "--weights", "1,2"], "--weights: got '1,2'; allowed: 1 num"),
        (["scales", "--near", "3/2", "--weights", "0"], "--weights: got '0'; allowed: 1 num"),
        (["scales", "--near", "3/2", "--weights", "nan"], "--weights: got 'nan'; allowed: "),
        (["scales", "--near", "3:2"], "interval: got '3:2'; allowed: an interval such as"),
        (["scales", "--near", ""], "interval: got ''; allowed: an interval such as"),
        (["scales", "--size", "9..5"], "--size: got '9..5'; allowed: a number of degrees"),
        (["scales", "--size", "-5"], "--size: got '-5'; allowed: a number of degrees"),
        (["scales", "--period", "octave"], "interval: got 'octave'; allowed: an interval"),
    ],
)
def test_what_is_refused(arguments: list[str], message: str) -> None:
    result = presets(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"meantide: {message}")


def test_fm_voices_are_listed_and_refused_where_partials_are_reckoned_with(own: Path) -> None:
    voices = own.parent / "voices"
    voices.mkdir()
    (voices / "two-sines.yaml").write_text(FM)  # invented
    listed = {each["name"]: each for each in json.loads(presets("voices", "--json").stdout)}
    assert (listed["two-sines"]["voice_kind"], listed["two-sines"]["operators"]) == ("fm", 2)
    [row] = [line for line in presets("voices").stdout.splitlines() if "two-sines" in line]
    assert [cell.strip() for cell in row.split("│")[1:6]] == [
        "two-sines",
        "",
        "20 to 2000",
        "fm",
        "2 operators",
    ]
    for command in (["beats", "C4", "E4"], ["rough"]):
        result = CliRunner().invoke(main, [*command, "--voice", "two-sines"])
        assert result.exit_code == 2
        assert "--voice: got 'two-sines'; allowed: an additive voice" in result.stderr
