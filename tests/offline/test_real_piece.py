"""Real input: a hymn in four parts by another hand, in four scales at two anchors, all assayed."""

import json
from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner

from meantide.command import main

PIECE = Path(__file__).parents[1] / "data" / "chorale.mid"
NOTES = 388  # tests/data/README.md


@pytest.mark.parametrize("anchor", ["A4=440", "A4=432"])
@pytest.mark.parametrize("scale", ["12-equal", "19-equal", "31-equal", "just-five-limit"])
def test_the_piece_is_in_tune(scale: str, anchor: str, tmp_path: Path) -> None:
    out = tmp_path / "hymn.wav"
    runner = CliRunner()
    arguments = ["--scale", scale, "--anchor", anchor, "--out", str(out)]
    rendered = runner.invoke(main, ["render", str(PIECE), *arguments])
    assert rendered.exit_code == 0, rendered.output
    assayed = runner.invoke(main, ["assay", str(out), "--tolerance", "0.1", "--json"])
    assert assayed.exit_code == 0, assayed.output
    told = json.loads(assayed.output)
    verdicts = Counter(row["verdict"] for row in told["rows"])
    assert sum(verdicts.values()) == NOTES
    assert verdicts["out"] == verdicts["missing"] == 0
    assert verdicts["in tune"] > NOTES * 0.6  # in unisons and octaves voices mask each other
    assert told["worst_cents"] < 0.01


def test_another_scale_than_the_log_says_is_found_out(tmp_path: Path) -> None:
    runner = CliRunner()
    for name, scale in (("a", "19-equal"), ("b", "31-equal")):
        out = tmp_path / f"{name}.wav"
        result = runner.invoke(main, ["render", str(PIECE), "--scale", scale, "--out", str(out)])
        assert result.exit_code == 0, result.output
    log = json.loads((tmp_path / "a.json").read_text())
    assert log["frames"] == json.loads((tmp_path / "b.json").read_text())["frames"]
    log["wav"] = "b.wav"
    swapped = tmp_path / "swapped.json"
    swapped.write_text(json.dumps(log))
    result = runner.invoke(
        main, ["assay", str(tmp_path / "b.wav"), "--log", str(swapped), "--json"]
    )
    assert result.exit_code == 1, result.output
    assert json.loads(result.output)["counts"]["out"] > NOTES / 2
