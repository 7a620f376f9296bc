"""`meantide presets`, run as the command line runs it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meantide.command import main


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
    }
    assert listed["31-equal"]["source"] == "common practice, no source"
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
