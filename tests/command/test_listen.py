"""`meantide listen`, run as the command line runs it."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

import tones
from meantide.catalogue import Catalogue
from meantide.command import main
from meantide.pitch import Anchor, Tuning

RATE = 48_000
REED = [(float(n), -6.0 * np.log2(n), None) for n in range(1, 9)]
STEPS = ("C4", "D4", "E4", "F4", "G4", "A4")
DEGREES = (0, 2, 4, 5, 7, 9)
QUAY_A4_HZ = 437.2  # invented: the chapel organ of Saltmarsh Quay
OFF_CENTS = (1.0, -1.5, 0.5, 24.0, -0.5, 0.5)  # its F is out


def run(*arguments):
    return CliRunner().invoke(main, ["listen", *map(str, arguments)])


def sound(hz, frames=RATE, partials=REED):
    made = tones.note(
        RATE, frames, [(0, 0, hz)], partials, release=frames - 3000, end=frames, attack_s=0.02
    )
    return np.concatenate([np.zeros(RATE // 4), made])


def save(path, samples):
    samples = samples + tones.noise(1, len(samples), -90.0)
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    return path


@pytest.fixture
def organ_a(tmp_path):
    return save(tmp_path / "organ-a.wav", sound(QUAY_A4_HZ))


def organ_hz():
    return [
        QUAY_A4_HZ * 2.0 ** ((degree - 9) / 12 + off / 1200)
        for degree, off in zip(DEGREES, OFF_CENTS, strict=True)
    ]


@pytest.fixture
def organ(tmp_path):
    return save(tmp_path / "organ.wav", np.concatenate([sound(hz) for hz in organ_hz()]))


@pytest.fixture
def bells(tmp_path):
    struck = [(1.0, 0.0, 2.5), (2.756, -12.0, 0.8), (5.404, -20.0, 0.3)]
    hz = (512.3, 580.1, 655.9, 770.7, 862.2)
    return save(tmp_path / "bells.wav", np.concatenate([
        np.concatenate([np.zeros(RATE // 2), tones.note(
            RATE, 2 * RATE, [(0, 0, each)], struck, attack_s=0.001)]) for each in hz
    ]))  # fmt: skip


def test_a_tone_is_told_with_the_anchor_it_makes(organ_a):
    result = run(organ_a)
    assert result.exit_code == 0
    row = next(line for line in result.stdout.splitlines() if "organ-a.wav" in line)
    assert float(row.split("│")[4]) == pytest.approx(QUAY_A4_HZ, abs=1e-4)
    assert "A4" in row
    assert "anchor: A4=437.200 Hz" in result.stdout
    # 1200 log2(437.2 / 440)
    assert "-11.05 cents from A4=440.000 Hz" in result.stdout


def test_the_named_note_is_anchored_in_the_scale_given(organ_a):
    told = json.loads(run(organ_a, "--note", "C5", "--scale", "31-equal", "--json").stdout)
    assert told["anchor"]["note"] == "C5"
    assert told["anchor"]["hz"] == pytest.approx(QUAY_A4_HZ, abs=1e-3)
    # C5 lies 8/31 of an octave above A4 in 31 equal parts.
    a4 = QUAY_A4_HZ * 2.0 ** (-8 / 31)
    assert f"A4 {a4:.3f} Hz" in run(organ_a, "--note", "C5", "--scale", "31-equal").stdout
    anchored = json.loads(
        run(organ_a, "--note", "C5", "--scale", "31-equal", "--anchor", "A4=440", "--json").stdout
    )
    assert anchored["anchor"]["note"] == "A4"
    assert anchored["anchor"]["hz"] == pytest.approx(a4, abs=1e-3)


def test_the_anchor_is_written_and_read_back(organ_a, tmp_path):
    path = tmp_path / "chapel.yaml"
    result = run(organ_a, "--note", "A4", "--celsius", "16.5", "--write-anchor", path)
    assert result.exit_code == 0
    assert f"written: {path}" in result.stdout
    anchor = Catalogue().anchor(path)
    assert anchor.hz == pytest.approx(QUAY_A4_HZ, abs=1e-4)
    assert str(anchor.note) == "A4"
    assert anchor.celsius == 16.5
    assert anchor.source == "measured by meantide listen from organ-a.wav"


@pytest.mark.parametrize("named", [True, False])
def test_several_tones_give_the_best_anchor_and_name_the_one_that_is_out(organ, named):
    result = run(organ, *(["--notes", ",".join(STEPS)] if named else []), "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert [tone["placed"]["name"] for tone in told["tones"]] == list(STEPS)
    assert told["outliers"] == [3]
    others = [off for place, off in enumerate(OFF_CENTS) if place != 3]
    assert told["scatter_cents"] == pytest.approx(np.std(others, ddof=1), abs=0.01)
    best = QUAY_A4_HZ * 2.0 ** (np.mean(others) / 1200)
    assert abs(tones.cents(told["anchor"]["hz"], best)) < 0.01
    for tone, off in zip(told["tones"], OFF_CENTS, strict=True):
        assert tone["placed"]["cents"] == pytest.approx(off - np.mean(others), abs=0.02)
    assert "left out of the fit" in run(organ).stdout


def test_one_file_a_tone_serves_as_well(tmp_path):
    files = [save(tmp_path / f"{hz:.0f}.wav", sound(hz)) for hz in organ_hz()]
    told = json.loads(run(*files, "--notes", ",".join(STEPS), "--json").stdout)
    assert [tone["file"] for tone in told["tones"]] == [path.name for path in files]
    assert told["outliers"] == [3]


def test_the_scale_as_it_sounded_is_written_and_sounds_so_again(bells, tmp_path):
    path = tmp_path / "bells.yaml"
    result = run(bells, "--write-scale", path)
    assert result.exit_code == 0
    assert "stiff" not in result.stdout
    assert "degrees:\n- 215.17" in path.read_text()  # 1200 log2(580.1 / 512.3)
    tuning = Tuning(Catalogue().scale(path), Anchor(512.3, degree=0))
    for degree, hz in enumerate((512.3, 580.1, 655.9, 770.7, 862.2)):
        assert abs(tones.cents(tuning.hz_of_degree(degree), hz)) < 0.01
    assert "--anchor 0=512.3" in path.read_text()


def test_a_scale_without_note_names_is_heard_by_degree(organ_a):
    told = json.loads(run(organ_a, "--scale", "13-equal-of-3", "--degree", "6", "--json").stdout)
    assert told["anchor"] == {"degree": 6, "hz": pytest.approx(QUAY_A4_HZ, abs=1e-3)}
    assert run(organ_a, "--scale", "13-equal-of-3").exit_code == 0
    assert run(organ_a, "--scale", "13-equal-of-3", "--note", "A4").exit_code == 2


def test_either_channel_will_do_and_opposed_ones_do_not_cancel(tmp_path):
    mono = sound(QUAY_A4_HZ)
    for name, sides in (("left", (1.0, 0.0)), ("opposed", (1.0, -1.0))):
        path = tmp_path / f"{name}.flac"
        soundfile.write(path, np.stack([mono * side for side in sides], axis=1), RATE)
        told = json.loads(run(path, "--json").stdout)
        assert told["anchor"]["hz"] == pytest.approx(QUAY_A4_HZ, abs=1e-3)


def test_what_a_listener_should_know_is_said(tmp_path):
    seconds = np.arange(2 * RATE) / RATE
    turns = np.cumsum(440.0 * 2.0 ** (25.0 * np.sin(2 * np.pi * 6.0 * seconds) / 1200)) / RATE
    singing = save(tmp_path / "voice.wav", 0.1 * np.sin(2 * np.pi * turns))
    assert "vibrato, 6.0 a second, 25." in run(singing).stdout
    clipped = save(tmp_path / "clipped.wav", sound(440.0, partials=[(1.0, 20.0, None)]))
    soundfile.write(clipped, np.clip(4.0 * np.sin(2 * np.pi * 440.5 * seconds), -1, 1), RATE)
    assert "clipped: 84 % of the samples" in run(clipped).stdout
    two = save(tmp_path / "two.wav", sound(440.0) + tones.gain(-12.0) * sound(554.0))
    assert "something else sounds at 554.0 Hz, 12 dB weaker" in run(two).stdout
    assert "440.0" in run(two).stdout
    headless = save(tmp_path / "headless.wav", sound(220.0, partials=REED[1:]))
    assert "the first partial is not there" in run(headless).stdout


def test_what_is_no_tone_exits_1_with_one_sentence(tmp_path, organ_a):
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(RATE), RATE)
    hiss = tmp_path / "hiss.wav"
    soundfile.write(hiss, tones.noise(1, RATE, -20.0), RATE)
    for arguments, said in [
        ((silent,), "silent.wav: there is only silence"),
        ((hiss,), "only noise"),
        ((organ_a, "--note", "A2"), "the note named would be near 110.00 Hz"),
        ((organ_a, "--near-hz", "300"), "there is a tone at 437.20 Hz"),
    ]:
        result = run(*arguments)
        assert result.exit_code == 1, arguments
        assert said in result.stderr
        assert result.stderr.count("\n") == 1


def test_bad_input_exits_2_in_one_sentence(tmp_path, organ, organ_a):
    words = tmp_path / "words.wav"
    words.write_text("no sound")
    holed = tmp_path / "holed.wav"
    soundfile.write(holed, np.array([0.0, np.nan, 0.0]), RATE, subtype="FLOAT")
    for arguments, said in [
        ((), "FILES"),
        ((organ_a, "--input", "2"), "one of the two"),
        ((tmp_path / "nowhere.wav",), "exists"),
        ((words,), "readable sound file"),
        ((holed,), "sample 1"),
        ((organ, "--notes", "C4,D4"), "6 of them"),
        ((organ_a, "--notes", "C4", "--note", "C4"), "one of --note, --degree and --notes"),
        ((organ_a, "--note", "H4"), "H4"),
        ((organ_a, "--near-hz", "nan"), "--near-hz"),
        ((organ_a, "--celsius", "-300"), "--celsius"),
        ((organ_a, "--scale", "no-such"), "no-such"),
        ((organ_a, "--write-anchor", tmp_path / "no" / "where.yaml"), "can be written"),
    ]:
        result = run(*arguments)
        assert result.exit_code == 2, (arguments, result.output)
        assert said in result.stderr
        assert "Traceback" not in result.output


def test_nothing_is_written_when_nothing_is_heard(tmp_path):
    silent, path = tmp_path / "silent.wav", tmp_path / "anchor.yaml"
    soundfile.write(silent, np.zeros(RATE), RATE)
    assert run(silent, "--write-anchor", path).exit_code == 1
    assert not path.exists()


def test_help_has_an_example():
    assert "meantide listen organ-a.wav --note A4" in run("--help").stdout
