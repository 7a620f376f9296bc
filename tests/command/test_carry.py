"""`meantide carry`, run as the command line runs it; mido reads and writes the same files."""

import json
from pathlib import Path
from typing import Any

import mido
import pytest
from click.testing import CliRunner, Result

from meantide.catalogue import Catalogue
from meantide.command import main
from meantide.command.definition_file import to_yaml
from meantide.document import parse_document
from meantide.pitch import Tuning
from meantide.pitch.midi_tuning import FORMS

SINGLE = bytes.fromhex("F0 7F 7F 08 02 00 01 45 44 66 56 F7")  # A4 to 435 Hz


def carry(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["carry", *map(str, arguments)])


def answer(*arguments: object) -> Any:
    result = carry(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.mark.parametrize("form", [form.name for form in FORMS])
def test_every_form_is_written_read_by_mido_and_read_back(form: str, tmp_path: Path) -> None:
    file = tmp_path / "quay.syx"
    result = carry("write", "--as", form, "--out", file)
    assert result.exit_code == 0, result.output
    data = file.read_bytes()
    messages = mido.read_syx_file(str(file))
    assert b"".join(bytes(message.bytes()) for message in messages) == data
    assert f"{file}: " in result.stdout
    assert len(answer("read", file)["messages"]) == len(messages)
    # And a file that mido wrote is read the same.
    other = tmp_path / "other.syx"
    mido.write_syx_file(str(other), messages)
    assert answer("read", other) == answer("read", file)


def test_what_it_costs_is_told(tmp_path: Path) -> None:
    file = tmp_path / "a.syx"
    arguments = ("write", "--anchor", "A4=415", "--as", "bulk", "--out", file)
    text = carry(*arguments).stdout
    assert "408 bytes: bulk, program 0, '12-equal', all devices" in text
    assert "tuning: 12-equal, A4=415 Hz, linear" in text
    assert "not encoded: keys 0-1: below 8.1758 Hz, where words end" in text
    found = answer(*arguments)
    assert found["left_out"] == [0, 1]
    assert found["keys"][0]["sent_hz"] is None
    assert found["keys"][69]["wanted_hz"] == 415
    # A4 = 415 is 43 7E 30, all keys being off by the same rounding: at most half of 0.0061 cent.
    assert found["messages"][0]["hex"].split()[22 + 207 : 22 + 210] == ["43", "7E", "30"]
    assert 0 < abs(found["worst_cents"]) <= 0.00306
    assert f"cost: at most {abs(found['worst_cents']):.4f} cents; key" in text


def test_a_single_change_with_its_bytes_explained(tmp_path: Path) -> None:
    file = tmp_path / "a.syx"
    result = carry(
        *("write", "--anchor", "A4=435", "--as", "single", "--keys", "69", "--out", file),
        *("--show-bytes", "--every-key"),
    )
    assert file.read_bytes() == SINGLE
    lines = [" ".join(line.split()) for line in result.stdout.splitlines()]
    for line in (
        "0 F0 7F system exclusive, universal real-time",
        "2 7F all devices",
        "3 08 02 tuning, single: chosen keys of a program, at once",
        "5 00 program 0",
        "6 01 keys to change: 1",
        "7 45 44 66 56 key 69: 434.9995 Hz",
        "11 F7 end",
    ):
        assert line in lines
    assert "│ 69 │ 435.0000 │ 434.9995 │ -0.00185 │ │" in lines
    lines = [
        " ".join(line.split()) for line in carry("read", file, "--show-bytes").output.splitlines()
    ]
    assert "7 45 44 66 56 key 69: 434.9995 Hz" in lines


def test_a_tuning_comes_back_as_files_that_the_catalogue_reads(tmp_path: Path) -> None:
    file, scale, anchor, layout = (
        tmp_path / name for name in ("31.syx", "scale.yaml", "anchor.yaml", "layout.yaml")
    )
    arguments = ("--scale", "31-equal", "--anchor", "A4=435", "--out", file)
    assert carry("write", *arguments).exit_code == 0
    result = carry(
        *("read", file, "--write-scale", scale, "--write-anchor", anchor),
        *("--write-layout", layout),
    )
    assert result.exit_code == 0, result.output
    catalogue = Catalogue([])
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    assert tuning.scale.name == "31-equal"
    assert tuning.scale.source == "31.syx, program 0"
    assert tuning.scale.size == 31
    assert "- 38.70849609375 cents\n" in scale.read_text()  # 6342 steps, exactly
    for key in answer("read", file)["tunings"][0]["keys"]:
        assert tuning.hz_of_key(key["key"]) == pytest.approx(key["hz"], rel=1e-15)
        wanted = 435 * 2 ** ((key["key"] - 83) / 31)  # A4 is degree 23, which key 83 plays
        assert key["hz"] == pytest.approx(wanted, rel=1.8e-6)  # half a step of 0.0061 cent
    # Going out again it is the same file.
    again = tmp_path / "again.syx"
    carry(*("write", "--scale", scale, "--anchor", anchor, "--layout", layout, "--out", again))
    assert again.read_bytes() == file.read_bytes()


def test_the_table_of_what_was_read(tmp_path: Path) -> None:
    file = tmp_path / "a.syx"
    carry(*("write", "--scale", "meantone-quarter-comma", "--as", "octave2", "--out", file))
    text = carry("read", file).stdout
    assert "octave2, channels 1-16, all devices, non-real-time" in text
    assert "12 degrees to 2/1, linear layout" in text
    rows = [[cell.strip() for cell in line.split("│")[1:-1]] for line in text.splitlines()]
    named = {row[2]: row for row in rows if len(row) == 6}
    # Quarter-comma meantone: C lies 10.2646 above twelve equal where A stays, which is nearest to
    # 841 steps of 200/16384 cents: 10.266.
    assert named["A4"] == ["69", "9", "A4", "440.0000", "889.734", "+0.000"]
    assert named["C4"] == ["60", "0", "C4", "263.1816", "0.000", "+10.266"]


def test_several_tunings_in_one_file_are_picked_from(tmp_path: Path) -> None:
    parts = []
    for program, scale in enumerate(("12-equal", "19-equal")):
        file = tmp_path / f"{program}.syx"
        carry("write", "--scale", scale, "--program", program, "--out", file)
        parts.append(file.read_bytes())
    both = tmp_path / "both.syx"
    both.write_bytes(b"".join(parts))
    found = answer("read", both)
    assert [each["place"] for each in found["tunings"]] == ["program 0", "program 1"]
    assert [each["offset"] for each in found["messages"]] == [0, 408]
    out = tmp_path / "scale.yaml"
    result = carry("read", both, "--write-scale", out)
    assert result.exit_code == 2
    assert "--pick: got 'nothing'; allowed: one of 1 (program 0), 2 (program 1)" in result.stderr
    assert not out.exists()
    for pick in (0, 3):
        assert carry("read", both, "--write-scale", out, "--pick", pick).exit_code == 2
    assert carry("read", both, "--write-scale", out, "--pick", 2).exit_code == 0
    assert Catalogue([]).scale(out).size == 19


def test_requests_are_read_and_hold_no_tuning(tmp_path: Path) -> None:
    file = tmp_path / "ask.syx"
    assert carry("write", "--as", "bulk-request", "--program", 5, "--out", file).exit_code == 0
    assert file.read_bytes() == bytes.fromhex("F0 7E 7F 08 00 05 F7")
    assert answer("read", file)["tunings"] == []
    result = carry("read", file, "--write-scale", tmp_path / "scale.yaml")
    assert result.exit_code == 2
    assert "no tuning, only requests" in result.stderr


def test_selecting_a_program_and_bank() -> None:
    assert carry("select", "--program", 5, "--bank", "next", "--channels", "1,16").stdout == (
        "B0 64 04 B0 65 00 B0 60 7F   channel 1: tuning bank next\n"
        "B0 64 03 B0 65 00 B0 06 05   channel 1: tuning program 5\n"
        "BF 64 04 BF 65 00 BF 60 7F   channel 16: tuning bank next\n"
        "BF 64 03 BF 65 00 BF 06 05   channel 16: tuning program 5\n"
    )
    (found,) = answer("select", "--program", "previous")
    assert bytes(found["bytes"]) == bytes.fromhex("B0 64 03 B0 65 00 B0 61 7F")


def test_definitions_are_quoted_where_they_would_be_read_as_something_else() -> None:
    mapping = {"name": "1e5", "source": "010", "about": "null", "degrees": ["9/8", "5/4"]}
    assert parse_document(to_yaml(mapping), "here").plain() == mapping


def test_a_damaged_file_is_refused_whole_with_its_offset(tmp_path: Path) -> None:
    file, scale = tmp_path / "cut.syx", tmp_path / "scale.yaml"
    file.write_bytes(SINGLE + SINGLE[:7])
    result = carry("read", file, "--write-scale", scale)
    assert result.exit_code == 2
    assert f"{file}: offset 19: got 'the end of the data'" in result.stderr
    assert result.stdout == ""
    assert not scale.exists()


OUT = ["--out", "x.syx"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["read", "nowhere.syx"], "file: got 'nowhere.syx'; allowed: a file that is there"),
        (["read", "."], "a readable file"),
        (["write", *OUT, "--as", "bulky"], "'bulky' is not one of"),
        (["write"], "Missing option '--out'"),
        (["write", *OUT, "--program", "128"], "program: got 128"),
        (["write", *OUT, "--bank", "1"], "bank: got 1; allowed: nothing in bulk"),
        (["write", *OUT, "--device", "-1"], "device: got -1"),
        (["write", *OUT, "--realtime"], "realtime: got True; allowed: false in bulk"),
        (["write", *OUT, "--channels", "1"], "channels: got"),
        (["write", *OUT, "--as", "octave1", "--channels", "0-3"], "numbers from 1 to 16"),
        (["write", *OUT, "--as", "octave1", "--channels", "1,,2"], "numbers from 1 to 16"),
        (["write", *OUT, "--as", "single", "--keys", "60..128"], "numbers from 0 to 127"),
        (["write", *OUT, "--as", "single", "--keys", "72-60"], "numbers from 0 to 127"),
        (["write", *OUT, "--keys", "60"], "no keys: bulk tells of all of them"),
        (["write", *OUT, "--name", "Saltmarsh Quay 17"], "up to 16 characters of ASCII"),
        (["write", *OUT, "--as", "octave1", "--scale", "19-equal"], "repeats at the octave"),
        (["write", "--out", "nowhere/x.syx"], "a place that can be written"),
        (["select"], "--program, --bank, or both"),
        (["select", "--program", "128"], "program: got 128"),
        (["select", "--bank", "-1"], "--bank: got '-1'; allowed: 0 to 127, next or previous"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = carry(*arguments)
    assert result.exit_code == 2
    assert message in " ".join(result.stderr.split())
    assert result.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_help_lists_the_forms() -> None:
    text = carry("write", "--help").stdout
    for form in FORMS:
        assert form.name in text
        assert form.layout in text
