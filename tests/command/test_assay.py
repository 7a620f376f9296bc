"""`meantide assay`, run as the command line runs it."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result
from scipy.signal import chirp

from meantide.command import main
from takes import RATE, Asked, make_audio, make_take, write_take

PAIR = [Asked(440.0, voice="pure"), Asked(660.0, 0.3, voice="pure")]


def run(*arguments):
    return CliRunner().invoke(main, ["assay", *map(str, arguments)])


@pytest.fixture
def in_tune(tmp_path):
    return write_take(tmp_path, *make_take(PAIR))


@pytest.fixture
def two_cents_off(tmp_path):
    log, _ = make_take(PAIR)
    audio = make_audio([PAIR[0], Asked(660.0, 0.3, voice="pure", off_cents=2.0)], log.frames)
    return write_take(tmp_path, log, audio)


def test_a_take_in_tune_exits_0_with_a_row_a_note(in_tune):
    result = run(in_tune)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0].split()[:3] == ["note", "part", "pitch"]
    assert "440.00000" in lines[1]
    assert lines[1].rstrip().endswith("in tune")
    assert lines[-1].startswith("in tune to 0.1 cents: 2 in tune, 0 out, 0 missing, 0 unresolved")


def test_a_take_two_cents_off_exits_1_and_says_so(two_cents_off):
    result = run(two_cents_off)
    assert result.exit_code == 1
    row = result.stdout.splitlines()[2].split()
    assert row[-1] == "out"
    assert float(row[-4]) == pytest.approx(2.0, abs=1e-3)
    assert result.stdout.splitlines()[-1].startswith("not in tune to 0.1 cents: 1 in tune, 1 out")


def test_a_wide_tolerance_lets_two_cents_pass(two_cents_off):
    assert run(two_cents_off, "--tolerance", "3").exit_code == 0


def test_only_failing_rows_are_shown_but_all_are_counted(two_cents_off):
    result = run(two_cents_off, "--only", "failing")
    assert result.exit_code == 1
    assert [line.split()[0] for line in result.stdout.splitlines()] == ["note", "2", "not"]
    unresolved = run(two_cents_off, "--only", "unresolved")
    assert len(unresolved.stdout.splitlines()) == 1


def test_json_holds_the_measurement(two_cents_off):
    result = run(two_cents_off, "--json")
    assert result.exit_code == 1
    told = json.loads(result.stdout)
    assert told["passed"] is False
    assert told["counts"] == {"in tune": 1, "out": 1, "missing": 0, "unresolved": 0}
    assert told["worst_cents"] == pytest.approx(2.0, abs=1e-3)
    row = told["rows"][1]
    assert row["verdict"] == "out"
    assert row["measured_hz"] == pytest.approx(660.0 * 2 ** (2 / 1200), abs=1e-4)
    assert row["partials"][0]["fate"] == "resolved"


def test_a_take_of_which_nothing_can_be_resolved_exits_1(tmp_path):
    near = [Asked(440.0, voice="pure"), Asked(441.0, voice="pure")]
    result = run(write_take(tmp_path, *make_take(near)))
    assert result.exit_code == 1
    assert "masked by note 2" in result.stdout
    assert "nothing could be resolved" in result.stdout


def test_the_log_may_lie_elsewhere(in_tune, tmp_path):
    moved = tmp_path / "elsewhere.json"
    in_tune.with_suffix(".json").rename(moved)
    assert run(in_tune).exit_code == 2
    assert run(in_tune, "--log", moved).exit_code == 0


def test_bad_input_exits_2_in_one_sentence(in_tune, tmp_path):
    cases = [
        run(tmp_path / "nowhere.wav"),
        run(in_tune, "--tolerance", "0"),
        run(in_tune, "--tolerance", "nan"),
        run(in_tune, "--log", tmp_path / "nowhere.json"),
        run(in_tune, "--only", "some"),
    ]
    for result in cases:
        assert result.exit_code == 2
        assert "Traceback" not in result.output


def test_a_log_of_another_take_exits_2(in_tune):
    samples, _ = soundfile.read(in_tune)
    soundfile.write(in_tune, samples[:-1], RATE, subtype="FLOAT")
    result = run(in_tune)
    assert result.exit_code == 2
    assert "frames" in result.stderr


def test_samples_that_are_no_numbers_exit_2(in_tune):
    samples, _ = soundfile.read(in_tune)
    samples[777] = np.nan
    soundfile.write(in_tune, samples, RATE, subtype="FLOAT")
    result = run(in_tune)
    assert result.exit_code == 2
    assert "sample 777" in result.stderr


def test_a_recording_is_held_against_a_scale_without_its_log(tmp_path: Path) -> None:
    # Degrees 0 5 10 13 18 of thirty-one parts, A4 = 437.3 Hz at degree 23; made by scipy.
    rate, seconds = 44_100, 0.9
    t = np.arange(round(seconds * rate)) / rate
    hz = [437.3 * 2.0 ** ((degree - 23) / 31) for degree in (0, 5, 10, 13, 18, 23, 28)]
    samples = np.concatenate([0.2 * chirp(t, each, seconds, each) for each in hz])
    path = tmp_path / "trio.flac"
    soundfile.write(path, samples, rate)

    def against(*arguments: str) -> Result:
        return CliRunner().invoke(main, ["assay", str(path), *arguments])

    right = against("--scale", "31-equal", "--anchor", "A4=437.3")
    assert right.exit_code == 0, right.output
    assert "anchor: A4=437.3" in right.stdout
    assert "31-equal fits to 5 cents" in right.stdout
    assert against("--scale", "31-equal").exit_code == 0  # at whatever anchor
    astray = against("--scale", "31-equal", "--anchor", "A4=440")
    assert astray.exit_code == 1
    assert "the anchor is not that asked for" in astray.stdout
    wrong = against("--scale", "12-equal")
    assert wrong.exit_code == 1
    assert "wrong scale" in wrong.stdout
    answer = json.loads(against("--scale", "31-equal", "--json").stdout)
    assert (answer["finding"], answer["passed"]) == ("fits", True)
    assert answer["anchor"]["hz"] == pytest.approx(437.3, abs=0.01)
    assert [row["degree"] for row in answer["degrees"]] == [0, 5, 10, 13, 18, 23, 28]
    for bad in (["--scale", "31-equal", "--log", "x.json"], ["--anchor", "A4=440"]):
        assert against(*bad).exit_code == 2
