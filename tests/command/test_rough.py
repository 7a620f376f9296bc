"""`meantide rough`, run as the command line runs it, and the picture it draws."""

import csv
import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from meantide.catalogue import Catalogue
from meantide.command import main
from meantide.command.rough import LARGEST_DENOMINATOR, simplest_ratio
from meantide.offline.roughness_picture import Mark, label_rows

# Seven equal harmonics at 500 Hz: the example of Sethares' published program (standards.md §8).
SEVEN = """
name: seven
source: invented
kind: additive
partials: {count: 7}
envelope: {}
"""


@pytest.fixture
def seven(tmp_path: Path) -> str:
    path = tmp_path / "seven.yaml"
    path.write_text(SEVEN)
    return str(path)


def rough(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["rough", *arguments])


def answer(*arguments: str) -> Any:
    result = rough(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_minima_with_their_simplest_ratios_and_heights(seven: str) -> None:
    said = answer("--voice", seven, "--base", "500", "--depth", "1")
    ratios = [row["nearest_ratio"] for row in said["minima"]]
    assert ratios == ["1/1", "7/6", "6/5", "5/4", "4/3", "7/5", "3/2", "5/3", "7/4", "2/1"]
    assert [row["ratio_cents"] for row in said["minima"]] == pytest.approx([0.0] * 10, abs=1e-9)
    # D(3/2) = 0.82610 of a highest 6.3310 (calculated; the top is known to four decimals).
    fifth = said["minima"][6]
    assert fifth["roughness"] == pytest.approx(0.82610 / 6.3310, abs=1e-5)
    assert (fifth["degree"], fifth["name"], said["degrees"]) == (None, None, [])


def test_degrees_of_a_scale_beside_the_minima(seven: str) -> None:
    said = answer("--voice", seven, "--base", "500", "--scale", "31-equal", "--depth", "1")
    near = {row["nearest_ratio"]: row for row in said["minima"]}
    # standards.md §5, 31 equal parts: steps and errors in cents.
    for ratio, degree, cents, name in (
        ("3/2", 18, -5.181, "G4"),
        ("5/4", 10, 0.783, "E4"),
        ("6/5", 8, -5.964, "Eb4"),
        ("7/4", 25, -1.084, "A#4"),
    ):
        assert (near[ratio]["degree"], near[ratio]["name"]) == (degree, name)
        assert near[ratio]["degree_cents"] == pytest.approx(cents, abs=0.00051)
    degrees = said["degrees"]
    assert [each["degree"] for each in degrees] == list(range(32))
    assert degrees[18]["nearest_minimum"] == pytest.approx(1.5, rel=1e-12)
    assert degrees[18]["minimum_cents"] == pytest.approx(-5.181, abs=0.00051)


def test_the_period_is_the_scales_own_unless_told() -> None:
    assert answer("--scale", "13-equal-of-3")["period"] == "3/1"
    assert answer("--scale", "13-equal-of-3", "--period", "2/1")["period"] == "2/1"
    assert answer()["period"] == "2/1"


def test_the_table_is_for_people(seven: str) -> None:
    text = rough("--voice", seven, "--base", "500", "--scale", "31-equal").stdout
    for part in ("seven against itself, above 500 Hz", "701.96", "3/2", "G4", "-5.18", "31-equal:"):
        assert part in text
    assert "-0.00" not in rough("--scale", "just-five-limit").stdout
    assert "if from" not in rough("--scale", "13-equal-of-3").stdout  # no names


def test_the_curve_is_written_as_csv_and_json(seven: str, tmp_path: Path) -> None:
    for ending in ("csv", "json"):
        assert rough("--voice", seven, "--curve", str(tmp_path / f"c.{ending}")).exit_code == 0
    with (tmp_path / "c.csv").open(newline="") as file:
        rows = [{key: float(text) for key, text in row.items()} for row in csv.DictReader(file)]
    assert rows == json.loads((tmp_path / "c.json").read_text())
    assert (rows[0]["cents"], rows[-1]["cents"]) == pytest.approx((0.0, 1200.0), abs=1e-9)
    assert max(row["roughness"] for row in rows) == 1.0
    assert len(rows) > 1200


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_a_picture_of_each_kind(seven: str, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"seven.{ending}"
    result = rough("--voice", seven, "--scale", "31-equal", "--picture", str(path))
    assert result.exit_code == 0, result.output
    # Signatures: PNG (ISO/IEC 15948), PDF (ISO 32000), and XML for SVG.
    begins = {"png": b"\x89PNG\r\n\x1a\n", "svg": b"<?xml", "pdf": b"%PDF-"}[ending]
    assert path.read_bytes().startswith(begins)


def test_the_picture_is_labelled_and_black_and_grey(seven: str, tmp_path: Path) -> None:
    path = tmp_path / "seven.svg"
    arguments = ("--voice", seven, "--base", "500", "--scale", "31-equal", "--depth", "1")
    assert rough(*arguments, "--picture", str(path)).exit_code == 0
    drawing = ElementTree.fromstring(path.read_text())  # noqa: S314  written just now
    texts = {"".join(node.itertext()).strip() for node in drawing.iter() if "text" in node.tag}
    assert {"3/2", "702", "4/3", "498", "2/1", "1200", "G", "Eb", "roughest"} <= texts
    assert "seven: how rough two notes are, the lower at 500 Hz" in texts
    assert any("cents above the lower note" in text and "31-equal" in text for text in texts)
    colours = {
        word.strip("; ")
        for node in drawing.iter()
        for part in node.get("style", "").split(";")
        if part.strip().startswith(("fill:", "stroke:"))
        for word in [part.partition(":")[2]]
    }
    shades = {colour for colour in colours if colour.startswith("#")}
    assert all(c[1:3] == c[3:5] == c[5:7] for c in shades if len(c) == 7), shades
    first = path.read_bytes()
    assert rough(*arguments, "--picture", str(path)).exit_code == 0
    assert path.read_bytes() == first  # the same picture from the same curve


def test_a_spectrum_for_a_scale_is_a_voice_that_is_smooth_there(tmp_path: Path) -> None:
    path = tmp_path / "thirteen-reed.yaml"
    result = rough("--scale", "13-equal-of-3", "--fit", str(path))
    assert result.exit_code == 0, result.output
    assert "40 partials drawn to degrees, by 69.4 cents at most, 13 of them merged" in result.stdout
    voice = Catalogue().voice(str(path))
    assert voice.name == "thirteen-reed"
    assert voice.source == "made by meantide rough --fit from plain-reed and 13-equal-of-3"
    step = math.log2(3.0) / 13
    for partial in voice.partials:
        places = math.log2(partial.ratio) / step
        assert places == pytest.approx(round(places), abs=1e-12)
    said = answer("--voice", str(path), "--scale", "13-equal-of-3", "--depth", "2")
    assert [row["degree"] for row in said["minima"]] == list(range(14))
    off = [row["degree_cents"] for row in said["minima"]]
    assert off == pytest.approx([0.0] * 14, abs=1e-9)
    before = path.read_bytes()
    again = rough("--scale", "12-equal", "--fit", str(path))
    assert again.exit_code == 2
    assert "a new file; this one is there already" in again.stderr
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--voice", "plain-red"], "did you mean plain-reed"),
        (["--scale", "31-eqal"], "did you mean 31-equal"),
        (["--base", "5"], "base: got 5.0; allowed: a number from 10 to 10000"),
        (["--base", "nan"], "base: got nan"),
        (["--period", "1/1"], "a ratio above 1, to 16"),
        (["--period", "2"], "an interval such as 3/2"),
        (["--period", "3000/1"], "a ratio above 1, to 16"),
        (["--depth", "-1"], "--depth: got -1.0"),
        (["--depth", "nan"], "--depth: got nan"),
        (["--curve", "c.txt"], "a name that ends in .csv or .json"),
        (["--curve", "nowhere/c.csv"], "a place that can be written"),
        (["--picture", "c.gif"], "a name that ends in .png, .svg, .pdf"),
        (["--picture", "nowhere/c.png"], "a place that can be written"),
        (["--fit", "v.yaml"], "--fit together with --scale"),
        (["--scale", "12-equal", "--fit", "v.txt"], "a name that ends in .yaml"),
        (["--scale", "12-equal", "--fit", "nowhere/v.yaml"], "a place that can be written"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = rough(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_matplotlib_is_loaded_for_a_picture_only() -> None:
    code = "import sys, meantide.command.rough; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@given(st.floats(1.0, 16.0))
def test_the_simplest_ratio_is_the_least_of_all_within_reach(ratio: float) -> None:
    """Against every fraction with those denominators, the least product of the two parts."""
    within = [
        (above * below, (above, below))
        for below in range(1, LARGEST_DENOMINATOR + 1)
        for above in range(1, 17 * LARGEST_DENOMINATOR)
        if abs(1200.0 * math.log2(above / below / ratio)) <= 5.0
    ]
    assert simplest_ratio(ratio, 5.0) == (min(within)[1] if within else None)


@given(
    st.lists(st.tuples(st.floats(0.0, 1200.0), st.floats(0.0, 1.0)), max_size=30),
    st.floats(1.0, 200.0),
    st.integers(1, 3),
)
def test_labels_never_run_into_each_other(
    places: list[tuple[float, float]], width: float, rows: int
) -> None:
    marks = [Mark(cents, "x", weight) for cents, weight in places]
    found = label_rows(marks, width, rows)
    shown = [(mark, row) for mark, row in zip(marks, found, strict=True) if row is not None]
    for index, (mark, row) in enumerate(shown):
        assert 0 <= row < rows
        for other, other_row in shown[:index]:
            assert row != other_row or abs(mark.cents - other.cents) >= width
    if marks:  # the heaviest always has its label
        assert found[max(range(len(marks)), key=lambda k: marks[k].weight)] == 0
