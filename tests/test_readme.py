"""What README.md prints is what works: its commands run, its files read, its tables are whole."""

import re
import shlex
from dataclasses import fields
from pathlib import Path

import pytest
from click.testing import CliRunner

from meantide.catalogue import Catalogue
from meantide.command import VERBS, main
from meantide.document import parse_document
from meantide.live.addresses import ADDRESSES
from meantide.offline.score import Overrides
from meantide.offline.score_reader import read_score
from meantide.scale_files import read_scale
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator
from meantide.voice.touch import Answer
from meantide.voice_files import read_voice

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
TOUR = TEXT[TEXT.index("## A tour") :]


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", TOUR, re.MULTILINE | re.DOTALL)


def commands() -> list[str]:
    """Return the tour's commands; those of the live set, which wait for an end, are not here."""
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    found = [line.split("#")[0].strip() for line in lines if line.startswith("meantide")]
    return [line for line in found if "tonight" not in line and "send /" not in line]


def test_the_commands_of_the_tour_run_in_their_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MEANTIDE_PRESETS", str(tmp_path / "none"))
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    (tmp_path / "tests").symlink_to(ROOT / "tests")
    ran = set()
    for line in commands():
        words = shlex.split(line)
        result = CliRunner().invoke(main, words[1:])
        assert result.exit_code == 0, f"{line}\n{result.output}"
        ran.add(words[1])
    assert ran == set(VERBS) - {"live", "send"}  # tests/live plays these


def test_the_score_of_the_tour_is_one(tmp_path: Path) -> None:
    [score] = [block for block in blocks("yaml") if "parts:" in block]
    path = tmp_path / "slack-water.yaml"
    path.write_text(score)
    assert len(read_score(path, Catalogue(), Overrides()).parts[0].notes) == 4


def test_the_scale_of_the_tour_is_one() -> None:
    [scale] = [block for block in blocks("yaml") if "degrees:" in block and "parts:" not in block]
    assert read_scale(parse_document(scale, "README.md")).size == 5


def test_every_form_of_scale_in_the_table_is_understood() -> None:
    forms = re.findall(r"`((?:chain|harmonics|subharmonics|choose|products|equal): [^`]+)`", TOUR)
    assert len(forms) == 6
    for form in forms:
        catalogue = Catalogue()
        definition = parse_document(f"source: invented\n{form}", "README.md")
        assert catalogue.scale(definition).size > 1


def test_the_voices_of_the_tour_are_voices() -> None:
    voices = [block for block in blocks("yaml") if "kind:" in block]
    read = [read_voice(parse_document(block, "README.md")) for block in voices]
    assert [type(voice) for voice in read] == [AdditiveVoice, FmVoice]


@pytest.mark.parametrize("kind", [AdditiveVoice, FmVoice, Operator, Partial, Answer, Envelope])
def test_every_field_of_a_voice_file_stands_in_a_table(kind: type[AdditiveVoice]) -> None:
    told = set(re.findall(r"\w+", TOUR[TOUR.index("**Write a voice.**") :]))
    assert {field.name for field in fields(kind)} <= told


def test_the_reference_of_addresses_is_what_the_table_generates() -> None:
    begin, end = "<!-- addresses: what `meantide live --addresses` prints -->\n", "\n<!-- end of"
    told = TOUR[TOUR.index(begin) + len(begin) : TOUR.index(end)]
    assert told == CliRunner().invoke(main, ["live", "--addresses"]).output.rstrip("\n")
    rows = re.findall(r"^\| (/\S+) \|", told, re.MULTILINE)
    assert sorted(rows) == sorted(ADDRESSES)
    assert all(address.about for address in ADDRESSES.values())


def test_the_catalogue_is_as_large_as_is_said() -> None:
    assert len(Catalogue().names("scales")) > 100  # "over a hundred"
    assert 35 <= len(Catalogue().names("anchors")) <= 45  # "some forty"


def test_every_example_stands_in_its_table() -> None:
    listed = re.findall(r"^\| `(examples/[^`]+)` \|", TOUR, re.MULTILINE)
    assert listed == sorted(f"examples/{path.name}" for path in (ROOT / "examples").iterdir())
