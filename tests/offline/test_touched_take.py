"""Takes of touched notes: from the score, or the journal, to the sound, and a log that is true."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

import tones
from meantide.command import main
from meantide.journal import JournalHead, end_line, event_line, head_line, value_line
from meantide.offline.stories import stories_of
from meantide.offline.timeline import history_of
from meantide.perform.event import Event, Kind, Outcome, OutcomeKind
from meantide.pitch import Anchor, Scale, Tuning
from playing import degree, hertz, note, saw, still_water_db

RATE = 48_000

# The festival's trio, invented: a reed that is bent, swelled and pedalled.
SCORE = """\
title: Neap
scale: 31-equal
parts:
  reed:
    voice: still-water
    pan: -1
    pedals:
      - {at: 0.5, sustain: down}
      - {at: 3, sustain: up}
    settings:
      - {at: 4, set: {level_db: -17.8}, over: 0.1}
    notes:
      - {at: 0, for: 1, pitch: A4, velocity: 0.5, bend: [{at: 0.5, to: -40, over: 0.1}]}
      - {at: 4.5, for: 2, pitch: E5, velocity: 0.5, bend: 25}
  bass:
    voice: still-water
    pan: 1
    glide: 0.5
    notes:
      - {at: 0, for: 1, pitch: {hz: 200}, velocity: 0.5}
      - {at: 2, for: 2, pitch: {hz: 300}, velocity: 0.5}
"""


def render(source: Path, out: Path) -> tuple[np.ndarray, dict[str, Any]]:
    """Render by the command; return the samples (2, frames) and the log."""
    result = CliRunner().invoke(main, ["render", str(source), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert soundfile.info(out).samplerate == RATE
    return soundfile.read(out)[0].T, json.loads(out.with_suffix(".json").read_text())


def hz_at(samples: np.ndarray, start_s: float, end_s: float, near_hz: float) -> float:
    return tones.measure_hz(samples[round(start_s * RATE) : round(end_s * RATE)], RATE, near_hz)


def test_a_score_with_touch_sounds_as_it_says_and_its_log_tells_it(tmp_path: Path) -> None:
    score = tmp_path / "neap.yaml"
    score.write_text(SCORE)
    (left, right), log = render(score, tmp_path / "neap.wav")
    bent = 440.0 * 2 ** (-40 / 1200)
    assert abs(tones.cents(hz_at(left, 0.1, 0.5, 440.0), 440.0)) < 0.001
    assert abs(tones.cents(hz_at(left, 0.7, 3.0, bent), bent)) < 0.001  # rings by the pedal
    fifth = 440.0 * 2 ** (18 / 31 + 25 / 1200)
    assert abs(tones.cents(hz_at(left, 4.6, 6.4, fifth), fifth)) < 0.001
    assert abs(tones.cents(hz_at(right, 2.6, 3.9, 300.0), 300.0)) < 0.001
    first, second, bass, glided = sorted(log["notes"], key=lambda each: each["id"])
    assert (first["release"], second["release"]) == (3 * RATE, round(6.5 * RATE))
    assert [(p["sample"], p["glide_samples"]) for p in first["pitches"]] == [
        (0, 0),
        (RATE // 2, RATE // 10),
    ]
    assert first["pitches"][1]["hz"] == pytest.approx(bent, rel=1e-12)
    assert [p["hz"] for p in second["pitches"]] == [pytest.approx(fifth, rel=1e-12)]
    assert [(p["sample"], p["glide_samples"], p["hz"]) for p in glided["pitches"]] == [
        (2 * RATE, 0, pytest.approx(200.0)),
        (2 * RATE, RATE // 2, 300.0),
    ]
    assert bass["release"] == RATE
    # the two versions of the voice are told apart, and 12 dB lie between the notes
    assert (first["voice"], second["voice"]) == ("still-water", "still-water (2)")
    trims = still_water_db(fifth) - still_water_db(440.0)
    assert second["level_db"] - first["level_db"] == pytest.approx(-12.0 + trims, abs=1e-4)
    result = CliRunner().invoke(main, ["assay", str(tmp_path / "neap.wav")])
    assert result.exit_code == 0, result.output


def test_a_bend_that_the_log_does_not_tell_is_found_out_of_tune(tmp_path: Path) -> None:
    """The proof has teeth: take the bend out of the log, and the assay fails the take."""
    score, out = tmp_path / "neap.yaml", tmp_path / "neap.wav"
    score.write_text(SCORE)
    _, log = render(score, out)
    for each in log["notes"]:
        if each["id"] == 2:
            each["pitches"][0]["hz"] /= 2 ** (25 / 1200)
    out.with_suffix(".json").write_text(json.dumps(log))
    assert CliRunner().invoke(main, ["assay", str(out)]).exit_code == 1


def test_a_midi_files_bends_and_pedals_are_heard_and_told(tmp_path: Path) -> None:
    """A bend of a quarter of the way, 50 cents; the pedal keeps the note from beat 1 to beat 3."""
    message = mido.Message
    track = [
        message("note_on", note=69, velocity=100),
        message("control_change", control=66, value=127, time=240),
        message("pitchwheel", pitch=2048),
        message("note_off", note=69, time=240),
        message("control_change", control=66, value=0, time=960),
    ]
    path, out = tmp_path / "neap.mid", tmp_path / "neap.wav"
    mido.MidiFile(ticks_per_beat=480, tracks=[mido.MidiTrack(track)]).save(path)
    (left, _), log = render(path, out)
    bent = 440.0 * 2 ** (50 / 1200)
    assert abs(tones.cents(hz_at(left, 0.3, 1.45, bent), bent)) < 0.001
    [each] = log["notes"]
    assert each["release"] == 3 * RATE // 2
    assert each["pitches"][1] == {
        "sample": RATE // 4,
        "glide_samples": RATE // 200,
        "hz": pytest.approx(bent, rel=1e-12),
    }
    assert CliRunner().invoke(main, ["assay", str(out)]).exit_code == 0


def a_set(file: Path) -> Path:
    """Write the journal of a set with pedals, bends and a voice that was changed."""
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=432"))
    voice = saw(3)
    events = [
        Event(Kind.TUNING, 0, value=1),
        Event(Kind.VOICE, 0, value=2),
        Event(Kind.LEVEL, 0, amount=-12.0, samples=960),
        Event(Kind.BEND, 0, note=1, amount=33.0),
        *note(1_000, 20_000, degree(23), 1, 0.8),
        Event(Kind.SUSTAIN, 15_000, amount=1.0),
        Event(Kind.REVOICE, 30_000, value=3, samples=480),
        Event(Kind.SUSTAIN, 60_000, amount=0.0),
        *note(70_000, 120_000, degree(23), 1, 0.8),
        *note(75_000, None, hertz(30_000.0), 1, 0.8),  # refused
        Event(Kind.LEVEL, 90_000, amount=-30.0),
        *note(100_000, 120_000, degree(5), 4, 0.8),
    ]
    events.sort(key=lambda event: event.sample)
    file.write_text(
        head_line(JournalHead(RATE, 256, 8, "numpy"))
        + value_line(1, tuning)
        + value_line(2, voice)
        + value_line(3, replace(voice, tilt_db=-9.0))
        + "".join(event_line(event.sample // 256 * 256, event) for event in events)
        + end_line(130_000),
        encoding="utf-8",
    )
    return file


def test_a_journals_take_tells_when_notes_were_let_go_and_by_what_they_were_made(
    tmp_path: Path,
) -> None:
    out = tmp_path / "ebb.wav"
    (left, _), log = render(a_set(tmp_path / "ebb.jsonl"), out)
    first, again, other = log["notes"]
    bent = 432.0 * 2 ** (33 / 1200)
    assert first["pitches"] == [
        {"sample": 1_000, "glide_samples": 0, "hz": pytest.approx(bent, rel=1e-12)}
    ]
    assert abs(tones.cents(tones.measure_hz(left[31_000:60_000], RATE, bent), bent)) < 0.001
    assert [each["release"] for each in log["notes"]] == [60_000, 120_000, 120_000]
    assert [each["start"] for each in log["notes"]] == [1_000, 70_000, 100_000]
    assert [each["voice"] for each in log["notes"]] == ["saw", "saw (2)", "saw (2)"]
    assert again["pitches"][0]["hz"] == pytest.approx(432.0)
    assert other["level_db"] - again["level_db"] == pytest.approx(-18.0)
    assert set(log["voices"]) == {"saw", "saw (2)"}
    result = CliRunner().invoke(main, ["assay", str(out)])
    assert result.exit_code == 0, result.output


def test_a_way_told_ahead_is_void_if_another_comes_before_it() -> None:
    """A glide to sample 5000 turned at 3000 by a bend's end, until a bend at 2000 changed that."""
    told = [
        Outcome(OutcomeKind.BEGAN, 0, 1, 400.0),
        Outcome(OutcomeKind.TOUCHED, 500, 1),
        Outcome(OutcomeKind.MOVED, 1_000, 1, 410.0, 2_000),
        Outcome(OutcomeKind.MOVED, 3_000, 1, 420.0, 2_000),
        Outcome(OutcomeKind.MOVED, 2_000, 1, 425.0, 3_000),
        Outcome(OutcomeKind.REVOICED, 6_000, 1),
        Outcome(OutcomeKind.RELEASED, 7_000, 1),
        Outcome(OutcomeKind.REVOICED, 7_100, 1),
        Outcome(OutcomeKind.ENDED, 7_200, 1),
    ]
    [story] = stories_of(told)
    history = history_of(story.told, 1_000, 50_000)
    pieces = [(pitch.sample, pitch.glide_samples, pitch.hz) for pitch in history.pitches]
    assert pieces == [(0, 0, 400.0), (1_000, 2_000, 410.0), (2_000, 3_000, 425.0)]
    assert (history.start, history.release, history.end) == (0, 7_000, 7_200)
    firsts = [story.first(kind) for kind in (OutcomeKind.TOUCHED, OutcomeKind.REVOICED)]
    assert firsts == [500, 6_000]
