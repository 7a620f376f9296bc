"""`meantide voice` and the contact sheet, run as the command line runs them."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import pictures
from meantide.command import main

STRUCK = """
name: struck
about: invented for a test
source: invented
kind: additive
partials:
  - {ratio: 1, level_db: 0}
  - {ratio: 2.5, level_db: -20}
envelope: {attack_s: 0.01, decay_s: 0.1, sustain_db: 0, release_s: 0.4}
velocity_exponent: 1
"""


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "own"
    (folder / "voices").mkdir(parents=True)
    (folder / "voices" / "struck.yaml").write_text(STRUCK)
    monkeypatch.setenv("MEANTIDE_PRESETS", str(folder))
    return folder / "voices"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def voice(*arguments: str) -> Result:
    return run("voice", *arguments, "--kernel", "numpy")


def answer(*arguments: str) -> Any:
    result = voice(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_facts_for_programs() -> None:
    said = answer("struck", "--velocity", "1")
    assert (said["kind"], said["name"], said["about"]) == ("voice", "struck", "invented for a test")
    assert said["note"] == {
        "name": "A3",
        "degree": -3,
        "hz": 220.0,
        "scale": "12-equal",
        "anchor": said["note"]["anchor"],
        "velocity": 1.0,
        "held_s": 4.0,
        "rate": 48_000,
    }
    assert "440" in said["note"]["anchor"]
    first, second = said["components"]
    assert (first["hz"], second["hz"]) == (220.0, 550.0)
    assert second["cents"] == pytest.approx(1586.314, abs=1e-3)  # standards.md §5: 386.314 + 1200
    assert (second["stated_db"], second["level_db"]) == (
        pytest.approx(-20.0),
        pytest.approx(-20.0, abs=0.1),
    )
    assert said["level"]["steady_db"] == pytest.approx(0.0, abs=0.05)  # a whole of full scale
    assert said["level"]["falls_60_db_s"] == pytest.approx(0.4, abs=0.02)  # its release time
    assert said["highest_hz"] == pytest.approx(550.0, abs=0.1)
    assert said["whole_to_hz"] == pytest.approx(0.9 * 24_000 / 2.5)
    assert said["voice"]["partials"][1]["ratio"] == 2.5
    cost = said["cost"]
    assert (cost["kernel"], cost["block"]) == ("numpy", 256)
    assert cost["share"] > 0.0
    assert cost["plain_partials"] > 0.0


def test_facts_for_people() -> None:
    result = voice("struck", "--scale", "31-equal", "--anchor", "A4=435")
    assert result.exit_code == 0
    for part in (
        "struck: invented for a test",
        "source     invented",
        "A3 = 217.5 Hz in 31-equal",
        "additive: 2 partials",
        "attack 0.01 s (eased), decay 0.1 s (approach), sustain 0 dB, release 0.4 s (decibel)",
        "level -6.0 dB at half",  # velocity to the power of one
        "to 544 Hz within 80 dB; whole up to a note of 8640 Hz",
        "1586.3",
        "543.75",
        "-20.0",
        "numpy kernel",
    ):
        assert part in result.stdout


def test_a_long_table_says_what_it_leaves_out() -> None:
    result = voice("plain-reed")
    assert "16 more; --json has all" in result.stdout
    assert len(answer("plain-reed")["components"]) == 40


def test_another_note_rate_and_scale() -> None:
    said = answer("struck", "--scale", "31-equal", "--note", "D4", "--rate", "32000")
    # D lies 5 steps of 31 over C, A 23: 18 steps below A4
    assert said["note"]["hz"] == pytest.approx(440.0 * 2 ** (-18 / 31))
    assert said["note"]["rate"] == 32_000
    assert said["whole_to_hz"] == pytest.approx(0.9 * 16_000 / 2.5)
    said = answer("struck", "--scale", "13-equal-of-3", "--anchor", "0=256", "--degree", "13")
    assert (said["note"]["name"], said["note"]["hz"]) == ("degree 13", pytest.approx(768.0))


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_a_picture_of_each_kind(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"struck{ending}"
    result = voice("struck", "--picture", str(path))
    assert result.exit_code == 0, result.output
    assert f"{path}: the picture" in result.stdout
    assert path.read_bytes().startswith(pictures.SIGNATURES[ending])
    if ending == ".svg":
        texts = pictures.texts_in_svg(path)
        assert {"struck", "invented for a test", "550.0", "1586.3", "additive: 2 partials"} <= set(
            texts
        )


def test_the_audition_is_a_take_that_can_be_proved(tmp_path: Path) -> None:
    path = tmp_path / "struck.wav"
    result = voice("struck", "--scale", "31-equal", "--out", str(path))
    assert result.exit_code == 0, result.output
    assert f"meantide assay {path}" in result.stdout
    log = json.loads((tmp_path / "struck.json").read_text())
    assert log["title"] == "audition of struck in 31-equal"
    proved = run("assay", str(path))
    assert proved.exit_code == 0
    assert "7 in tune, 0 out, 0 missing, 0 unresolved" in proved.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("strucks",), "did you mean struck?"),
        (("struck", "--scale", "31-equals"), "31-equal"),
        (("struck", "--note", "H4"), "H4"),
        (("struck", "--degree", "300"), "degree 300"),
        (("struck", "--degree", "0", "--note", "A4"), "one of --note and --degree"),
        (("struck", "--scale", "13-equal-of-3"), "13-equal-of-3"),
        (("struck", "--picture", "struck.gif"), ".png, .svg, .pdf"),
        (("struck", "--picture", "nowhere/struck.png"), "a place that can be written"),
        (("struck", "--out", "struck.mp3"), "a name that ends in .wav"),
        (("struck", "--out", "nowhere/struck.wav"), "a folder that is there"),
        (("struck", "--velocity", "nan"), "velocity"),
        (("struck", "--velocity", "0"), "velocity"),
        (("struck", "--rate", "7999"), "rate"),
    ],
)
def test_what_cannot_be_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = voice(*arguments)
    assert result.exit_code == 2
    assert told in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["own"]


def test_a_broken_voice_names_file_and_line(own: Path) -> None:
    (own / "cracked.yaml").write_text(STRUCK.replace("level_db: -20", "level_db: loud"))
    result = voice("cracked")
    assert result.exit_code == 2
    assert f"{own / 'cracked.yaml'}:8" in result.stderr


def test_voices_by_kind_and_words() -> None:
    def names(*arguments: str) -> list[str]:
        return [
            each["name"] for each in json.loads(run("presets", *arguments, "--json").stdout or "[]")
        ]

    assert {"struck", "plain-reed"} <= set(names("voices", "--kind", "additive"))
    assert "struck" not in names("voices", "--kind", "fm")
    assert names("voices", "Struck", "FOR A test") == ["struck"]  # name and about, in any case
    assert "harbour-bell" in names("voices", "struck", "invented")  # about and source
    assert names("voices", "nothing-like-it") == []


def test_voices_by_family_and_range() -> None:
    def names(*arguments: str) -> list[str]:
        return [
            each["name"]
            for each in json.loads(run("presets", "voices", *arguments, "--json").stdout)
        ]

    assert {"ebb-bass", "mooring-bass"} <= set(names("--family", "bass"))
    assert "plain-reed" not in names("--family", "bass")
    assert "ebb-bass" in names("bass", "felt")  # the family counts among the words
    low = names("--range", "C1..C4")
    assert "ebb-bass" in low
    assert "mooring-bass" not in low  # from E1
    assert "struck" in low  # it states no range: 20 to 2000 Hz
    assert names("--family", "bass", "--range", "32.8..261") == [
        name for name in low if name != "struck"
    ]


def test_match_tells_the_loudness_and_the_trims(own: Path) -> None:
    (own / "loud.yaml").write_text(
        "kind: additive\npartials: {count: 1}\nrange: [220, 880]\n"  # invented
    )
    told = json.loads(voice("loud", "--match", "--json").stdout)
    assert told["target_lufs"] == -14.0
    assert (told["notes_hz"][0], told["notes_hz"][-1]) == pytest.approx((220.0, 880.0))
    assert min(told["loudness_lufs"]) > -10.0
    assert told["matched_lufs"] == pytest.approx([-14.0] * len(told["notes_hz"]), abs=0.5)
    (own / "matched.yaml").write_text(
        "kind: additive\npartials: {count: 1}\nrange: [220, 880]\n"
        + "".join(f"{key}: {value}\n" for key, value in told["trims"].items())
    )
    again = json.loads(voice("matched", "--match", "--json").stdout)
    assert again["loudness_lufs"] == pytest.approx(told["matched_lufs"], abs=0.01)
    shown = voice("matched", "--match").stdout
    assert f"level_db: {told['trims']['level_db']}" in shown
    assert "furthest off 0." in shown


def test_the_sheet_shows_the_voices_asked_for(tmp_path: Path, own: Path) -> None:
    (own / "cracked.yaml").write_text(STRUCK.replace("level_db: -20", "level_db: loud"))
    path = tmp_path / "sheet.svg"
    result = run("presets", "voices", "--sheet", str(path))
    assert result.exit_code == 0, result.output
    texts = pictures.texts_in_svg(path)
    listed = json.loads(run("presets", "voices", "--json").stdout)
    readable = [each["name"] for each in listed if not each["error"]]
    assert set(readable) <= set(texts)
    assert {"additive", f"{len(readable)} voices"} <= set(texts)
    assert any(text.startswith("A3 = 220 Hz") for text in texts)
    assert "cracked" not in texts
    assert "1 left out that cannot be read" in result.stderr
    assert run("presets", "voices", "struck", "test", "--sheet", str(path)).stdout == (
        f"{path}: 1 voice\n"
    )


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("scales", "--sheet", "sheet.png"), "only voices have it"),
        (("--kind", "fm"), "only voices have it"),
        (("voices", "--sheet", "sheet.doc"), ".png, .svg, .pdf"),
        (("voices", "--sheet", "nowhere/sheet.png"), "a place that can be written"),
        (("voices", "nothing-like-it", "--sheet", "sheet.png"), "at least one voice"),
        (("voices", "--kind", "organ"), "additive"),
        (("scales", "--family", "pipe"), "only voices have it"),
        (("anchors", "--range", "C2..C3"), "only voices have it"),
        (("voices", "--family", "organ"), "pipe"),
        (("voices", "--range", "C3"), "LOW..HIGH such as C3..G5"),
        (("voices", "--range", "C3..C2"), "LOW..HIGH such as C3..G5"),
        (("voices", "--range", "C3..inf"), "a number from 20 to 20000 (Hz), or a note name"),
        (("voices", "--range", "..C4"), "a note name such as"),
    ],
)
def test_bad_sheets_and_kinds_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("presets", *arguments)
    assert result.exit_code == 2
    assert told in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["own"]
