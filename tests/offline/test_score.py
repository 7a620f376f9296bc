"""Scores: what they say in samples and Hz, and what is said of those that are wrong."""

import math
from fractions import Fraction
from pathlib import Path

import pytest

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.offline.score import Overrides, Score
from meantide.offline.score_reader import read_score
from meantide.offline.timeline import lay_out
from meantide.perform.event import Held, Kind, PitchKind

CATALOGUE = Catalogue()

WHOLE = """\
title: Ebb
scale: 31-equal
anchor: {note: A4, hz: 440}
tempo: 90
parts:
  reed:
    voice: plain-reed
    level_db: -3
    pan: -0.5
    notes:
      - {at: 0, for: 1/3, pitch: A4, velocity: 0.7}
      - [1/3, 1, C#5, 0.5]
      - [2, 1, 60]
      - [3, 1, {degree: -5}]
      - [4, 1, {interval: 3/2 - 1/4 of 81/80}]
      - [5, 1, {hz: 438.5}]
changes:
  - {at: 4, anchor: {note: A4, hz: 432}, glide: 2}
  - {at: 16, scale: 19-equal, held: stay}
"""


def read(tmp_path: Path, text: str, overrides: Overrides | None = None) -> Score:
    path = tmp_path / "ebb.yaml"
    path.write_text(text)
    return read_score(path, CATALOGUE, overrides or Overrides())


def test_beats_become_exact_seconds_and_the_nearest_sample(tmp_path: Path) -> None:
    score = read(tmp_path, WHOLE)
    notes = score.parts[0].notes
    beat = Fraction(60, 90)
    assert [note.start_s for note in notes[:3]] == [0, beat / 3, 2 * beat]
    timeline = lay_out(score, 48_000)
    starts = [event.sample for event in timeline.events if event.kind == Kind.NOTE_ON]
    assert starts == [0, 10_667, 64_000, 96_000, 128_000, 160_000]
    assert score.changes[0].at_s == 4 * beat
    assert score.changes[0].glide_s == 2 * beat
    assert score.changes[1].held == Held.STAY


def test_every_way_of_naming_a_pitch_is_understood(tmp_path: Path) -> None:
    notes = read(tmp_path, WHOLE).parts[0].notes
    assert [note.pitch.kind for note in notes] == [
        PitchKind.NAME,
        PitchKind.NAME,
        PitchKind.KEY,
        PitchKind.DEGREE,
        PitchKind.INTERVAL,
        PitchKind.HERTZ,
    ]
    fifth = notes[4].pitch.value * 1200
    assert fifth == pytest.approx(696.578428466)  # quarter-comma fifth, standards.md §5
    assert notes[4].asked == {"interval": "1/4 of 5/1"}


def test_without_a_tempo_times_are_seconds_and_decimals_are_exact(tmp_path: Path) -> None:
    text = "parts: {a: {notes: [[0.1, 0.2, A4], [86400, 1, A4]]}}"
    with pytest.raises(InvalidValue, match="within 86400 seconds"):
        read(tmp_path, text.replace("86400", "86401"))
    score = read(tmp_path, text)
    assert score.parts[0].notes[0].start_s == Fraction(1, 10)
    assert score.tuning.scale.size == 12
    assert math.isclose(score.tuning.anchor.hz, 440.0)


def test_overrides_win_over_the_score_and_its_changes(tmp_path: Path) -> None:
    score = read(tmp_path, WHOLE, Overrides("53-equal", "A4=435", None, "still-water"))
    assert score.tuning.scale.size == 53
    assert score.tuning.anchor.hz == 435.0
    assert score.parts[0].voice.name == "still-water"
    assert [change.tuning for change in score.changes] == [score.tuning] * 2
    assert len(score.notices) == 2


def test_paths_in_a_score_start_where_it_lies(tmp_path: Path) -> None:
    (tmp_path / "quay.yaml").write_text("source: invented\nequal: 7\n")
    score = read(tmp_path, "scale: ./quay.yaml\nanchor: 0=300\nparts: {a: {notes: [[0, 1, 60]]}}")
    assert score.tuning.scale.size == 7


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ("tempo: 90", "tempo: 0", 4, "tempo: got 0; allowed: a number or fraction"),
        ("tempo: 90", "tempoo: 90", 4, "did you mean tempo"),
        ("A4, velocity", "H4, velocity", 11, "pitch: got 'H4'; allowed"),
        ("velocity: 0.7", "velocity: 1.7", 11, "velocity: got 1.7; allowed: a number from"),
        ("[2, 1, 60]", "[2, 0, 60]", 13, "got 0; allowed: more than nothing"),
        ("[2, 1, 60]", "[2, 1]", 13, "[at, for, pitch, velocity]"),
        ("[2, 1, 60]", "[-1, 1, 60]", 13, "got -1"),
        ("[2, 1, 60]", "[2, '1e99999999', 60]", 13, "got '1e99999999'"),  # would fill the memory
        ("{degree: -5}", "{degree: 1.5}", 14, "got 1.5"),
        ("{degree: -5}", "{degree: 1, hz: 3}", 14, "exactly one of"),
        ("{hz: 438.5}", "{hz: .nan}", 16, "hz"),
        ("3/2 - 1/4", "3/2 -- 1/4", 15, "interval"),
        ("19-equal", "19-equals", 19, "did you mean 19-equal"),
        ("voice: plain-reed", "voice: plain-red", 7, "did you mean plain-reed"),
        ("held: stay", "held: leave", 19, "follow, stay"),
        ("at: 16", "at: 3", 19, "changes in order of time"),
        ("pan: -0.5", "pan: left", 9, "pan: got 'left'"),
    ],
)
def test_errors_name_file_line_field_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, line: int, told: str
) -> None:
    assert old in WHOLE
    with pytest.raises(InvalidValue) as caught:
        read(tmp_path, WHOLE.replace(old, new))
    assert str(caught.value).startswith(f"{tmp_path / 'ebb.yaml'}:{line}: ")
    assert told in str(caught.value)


SILENT = """\
scale: 31-equal
layout: white-keys
parts:
  a: {notes: [[0, 1, 60], [1, 1, 61], [2, 1, 61], [3, 1, C#4], [9, 1, 61], [10, 1, 62]]}
  b: {notes: [[0, 1, 63]]}
changes:
  - {at: 9, layout: black-keys}
"""


def test_keys_that_play_nothing_are_left_out_and_told_in_one_notice(tmp_path: Path) -> None:
    timeline = lay_out(read(tmp_path, SILENT), 48_000)
    asked = [dict(planned.note.asked) for planned in timeline.notes]
    assert asked == [{"key": 60}, {"note": "C#4"}, {"key": 61}]
    assert timeline.score.notices == (
        "4 notes left out: in white-keys and black-keys nothing is on the keys 61, 62, 63",
    )
    assert [len(part.notes) for part in timeline.score.parts] == [3, 0]


def test_a_score_of_silent_keys_alone_is_refused(tmp_path: Path) -> None:
    text = "layout: white-keys\nparts: {a: {notes: [[0, 1, 61]]}}\n"
    with pytest.raises(InvalidValue, match="keys 61'; allowed: keys that play something in white"):
        lay_out(read(tmp_path, text), 48_000)


def test_a_change_of_several_things_is_one_change(tmp_path: Path) -> None:
    # Thirteen parts of 3/1 have no names for the keyboard, nor for the anchor, that were before.
    text = (
        "layout: keyboard\nparts: {a: {notes: [[0, 1, 60], [2, 1, 60]]}}\n"
        "changes: [{at: 1, scale: 13-equal-of-3, layout: linear, anchor: 0=256}]\n"
    )
    score = read(tmp_path, text)
    assert score.changes[0].tuning.hz_of_key(73) == pytest.approx(768, rel=1e-15)


@pytest.mark.parametrize(
    ("scale", "pitch"), [("just-five-limit", "Db4"), ("31-equal", "{hz: 30000}")]
)
def test_a_note_that_cannot_sound_is_named_with_its_line(
    tmp_path: Path, scale: str, pitch: str
) -> None:
    text = f"scale: {scale}\nparts:\n  a:\n    notes:\n    - [0, 1, A4]\n    - [1, 1, {pitch}]\n"
    with pytest.raises(InvalidValue, match=r"ebb.yaml:6: .*"):
        lay_out(read(tmp_path, text), 48_000)


TOUCHED = """\
title: Gauge
tempo: 60
parts:
  reed:
    voice: plain-reed
    glide: 1/4
    pedals:
      - {at: 1, sustain: down}
      - {at: 2, sostenuto: down}
      - {at: 4, sustain: up}
      - {at: 4, sustain: down}
      - {at: 5, sostenuto: up}
    settings:
      - {at: 2, set: {tilt_db: -3, vibrato.depth_cents: 12.5}, over: 1/2}
      - {at: 3, voice: still-water}
      - {at: 3, set: {level_db: -6}}
    notes:
      - {at: 0, for: 4, pitch: A4, bend: -13.5, pressure: 0.25}
      - {at: 2, for: 2, pitch: E5, bend: [{at: 0, to: 5}, {at: 1/2, to: 20, over: 1/3}]}
      - {at: 4, for: 2, pitch: C5, timbre: [{at: 0, to: 1, over: 1}]}
"""


def test_what_touches_notes_and_parts_becomes_events_in_the_order_they_act(tmp_path: Path) -> None:
    timeline = lay_out(read(tmp_path, TOUCHED), 48_000)
    told = [
        (event.sample, event.kind.name, event.note, event.amount, event.samples)
        for event in timeline.events
        if event.kind not in (Kind.TUNING, Kind.PAN, Kind.PART_LEVEL)
    ]
    second = 48_000
    assert told == [
        (0, "VOICE", -1, 0.0, 0),
        (0, "GLIDE", -1, 0.0, second // 4),
        (0, "BEND", 1, -13.5, 0),  # before the note: there from its first sample
        (0, "PRESSURE", 1, 0.25, 0),
        (0, "NOTE_ON", 1, 0.7, 0),
        (second, "SUSTAIN", -1, 1.0, 0),
        (2 * second, "REVOICE", -1, 0.0, second // 2),
        (2 * second, "BEND", 2, 5.0, 0),
        (2 * second, "NOTE_ON", 2, 0.7, 0),
        (2 * second, "SOSTENUTO", -1, 1.0, 0),  # after the note: catches it
        (5 * second // 2, "BEND", 2, 20.0, second // 3),
        (3 * second, "VOICE", -1, 0.0, 0),
        (3 * second, "REVOICE", -1, 0.0, 0),
        (4 * second, "NOTE_OFF", 1, 0.0, 0),
        (4 * second, "NOTE_OFF", 2, 0.0, 0),
        (4 * second, "SUSTAIN", -1, 0.0, 0),  # lets the ended notes go
        (4 * second, "SUSTAIN", -1, 1.0, 0),
        (4 * second, "NOTE_ON", 3, 0.7, 0),
        (4 * second, "TIMBRE", 3, 1.0, second),
        (5 * second, "SOSTENUTO", -1, 0.0, 0),
        (6 * second, "NOTE_OFF", 3, 0.0, 0),
        (6 * second, "SUSTAIN", -1, 0.0, 0),  # left down in the score: up where the last note ends
    ]
    first, second_voice, third = (planned.voice for planned in timeline.notes)
    assert first == CATALOGUE.voice("plain-reed")
    assert (second_voice.tilt_db, second_voice.vibrato.depth_cents) == (-3.0, 12.5)
    assert (third.name, third.level_db) == ("still-water", -6.0)


def test_settings_give_way_to_a_voice_the_caller_wants(tmp_path: Path) -> None:
    score = read(tmp_path, TOUCHED, Overrides(voice="still-water"))
    assert score.parts[0].settings == ()
    assert score.notices == ("the settings of reed in the score give way to --voice",)


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("bend: -13.5", "bend: 12001", 18, "parts.reed.notes item 1.bend: got 12001"),
        ("bend: -13.5", "bend: 7300", 18, "parts.reed.notes item 1.bend: got 7300.0"),
        ("bend: -13.5", "bend: sharp", 18, "parts.reed.notes item 1.bend: got 'sharp'"),
        ("pressure: 0.25", "pressure: true", 18, "parts.reed.notes item 1.pressure: got True"),
        ("pressure: 0.25", "pressure: 2", 18, "parts.reed.notes item 1.pressure: got 2"),
        ("pressure: 0.25", "presure: 0.2", 18, "parts.reed.notes item 1: unknown field"),
        ("to: 20, over: 1/3", "to: 20, for: 1/3", 19, "bend item 2: unknown field: got 'for'"),
        ("at: 1/2, to: 20", "at: 5/2, to: 20", 19, "bend item 2.at: got '5/2'; allowed: a time"),
        ("at: 0, to: 5}", "at: 1, to: 5}", 19, "bend item 2.at: got '1/2'; allowed: a time after"),
        ("{at: 0, to: 1, over: 1}", "{at: 0, over: 1}", 20, "timbre item 1.to: got 'nothing'"),
        ("glide: 1/4", "glide: -1", 6, "parts.reed.glide: got -1"),
        ("glide: 1/4", "glide: fast", 6, "parts.reed.glide: got 'fast'"),
        ("{at: 1, sustain: down}", "{at: 1, sustain: on}", 8, "item 1.sustain: got 'on'"),
        ("{at: 1, sustain: down}", "{at: 1, sustain: up}", 8, "got 'up, as it is already'"),
        ("{at: 2, sostenuto: down}", "{at: 2, sustain: down}", 9, "'down, as it is already'"),
        ("{at: 2, sostenuto: down}", "{at: 0, sostenuto: down}", 9, "in order of time"),
        ("{at: 4, sustain: up}", "{at: 4, sustain: up, sostenuto: up}", 10, "exactly one of"),
        ("{at: 4, sustain: up}", "{at: 1, sostenuto: up}", 10, "in order of time"),
        ("{at: 5, sostenuto: up}", "{at: 4, sustain: up}", 12, "a time after it went down"),
        ("tilt_db: -3", "tilt: -3", 14, "settings item 1.set.tilt: got 'tilt'; allowed: did you"),
        ("tilt_db: -3", "tilt_db: -300", 14, "settings item 1.set.tilt_db: got -300"),
        ("tilt_db: -3", "tilt_db: .nan", 14, "settings item 1.set.tilt_db: got nan"),
        ("set: {level_db: -6}", "set: {}", 16, "at least one parameter"),
        ("set: {level_db: -6}", "voice: still-water, over: 1", 16, "over with what moves"),
        ("set: {level_db: -6}", "voice: stil-water", 16, "still-water"),
        ("- {at: 3, voice: still-water}", "- {at: 1, voice: still-water}", 15, "in order of time"),
        (
            "set: {level_db: -6}",
            "set: {level_db: -6}, voice: reed",
            16,
            "exactly one of set, voice",
        ),
    ],
)
def test_what_is_wrong_with_touch_pedals_and_settings_is_named(
    tmp_path: Path, old: str, new: str, line: int, message: str
) -> None:
    assert TOUCHED.count(old) >= 1
    with pytest.raises(InvalidValue) as caught:
        lay_out(read(tmp_path, TOUCHED.replace(old, new, 1)), 48_000)
    told = str(caught.value)
    assert told.startswith(f"{tmp_path / 'ebb.yaml'}:{line}: ")
    assert message in told
