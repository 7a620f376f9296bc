"""`meantide picture`, run as the command line runs it."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meantide.command import main
from takes import Asked, make_take, write_take


@pytest.fixture
def take(tmp_path: Path) -> Path:
    return write_take(tmp_path, *make_take([Asked(440.0, 0.0, 2.0, voice="pure")]))


def picture(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["picture", *map(str, arguments)])


@pytest.mark.parametrize(
    ("kind", "told"),
    [
        (["--kind", "pitch"], "440.000 Hz; measured"),
        (["--kind", "spectrogram"], "hz 440.0: 440.0 Hz"),
        (["--kind", "spectrum", "--at", "1"], "expected 440.000 Hz; found at 440.000 Hz"),
    ],
)
def test_a_picture_and_its_text_twin_are_written(take, tmp_path, kind, told) -> None:
    out = tmp_path / "a.png"
    result = picture(take, *kind, "--out", out)
    assert result.exit_code == 0, result.output
    assert out.read_bytes().startswith(b"\x89PNG")
    assert told in (tmp_path / "a.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--out", "a.gif"], "ends in"),
        (["--out", "a.png", "--kind", "spectrum"], "--at: got None"),
        (["--out", "a.png", "--at", "1"], "--at: got 1.0"),
        (["--out", "a.png", "--kind", "spectrum", "--at", "nan"], "--at: got nan"),
        (["--out", "a.png", "--kind", "spectrum", "--at", "90"], "in which a note is held"),
    ],
)
def test_bad_input_is_refused_in_a_sentence(take, tmp_path, arguments, message) -> None:
    result = picture(take, *(a.replace("a.", f"{tmp_path}/a.") for a in arguments))
    assert result.exit_code == 2, result.output
    assert message in result.stderr
    assert not list(tmp_path.glob("a.*"))


def test_a_take_that_is_not_there_is_named(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)  # a long path is cut short in what is said
    result = picture("none.wav", "--out", "a.png")
    assert result.exit_code == 2
    assert "none.wav" in result.stderr
