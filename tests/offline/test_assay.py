"""The assay: what it must pass, fail and leave open, on takes made by sines of the tests' own."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import soundfile

import tones
from meantide.errors import InvalidValue
from meantide.offline.assay import Assay, Verdict, WaveFile, assay, assay_file
from meantide.offline.assay_reading import Fate
from meantide.offline.assay_sections import Section, sections
from meantide.offline.assay_windows import Steady, candidates, zones
from meantide.offline.takelog_note import LoggedNote, LoggedPitch
from takes import RATE, Asked, InMemory, make_audio, make_log, make_take, write_take

CHORD = [Asked(261.6256), Asked(327.032), Asked(392.4384)]  # 4:5:6 on C4


def check(notes: list[Asked], noise_db: float | None = None, tolerance: float = 0.1) -> Assay:
    log, audio = make_take(notes, noise_db)
    return assay(log, InMemory(audio), tolerance)


def verdicts(result: Assay) -> list[str]:
    return [row.verdict.value for row in result.rows]


# -- what passes ------------------------------------------------------------------------------


def test_a_chord_in_tune_passes_to_a_thousandth_of_a_cent():
    result = check(CHORD)
    assert result.passed
    assert verdicts(result) == ["in tune"] * 3
    for row, note in zip(result.rows, CHORD, strict=True):
        assert row.expected_hz == note.hz
        assert abs(row.cents) < 1e-3
        assert row.uncertainty_cents < 1e-3
        assert row.used >= 8


def test_struck_and_stretched_partials_pass():
    result = check([Asked(130.81, 0.0, 2.0, "struck"), Asked(311.13, 0.7, 1.5, "struck")], -90.0)
    assert verdicts(result) == ["in tune"] * 2
    # The stretch is no small thing: the twelfth partial stands 48 cents over the harmonic one.
    twelfth = result.rows[0].partials[11]
    assert tones.cents(twelfth.expected_hz, 12 * 130.81) == pytest.approx(48.5, abs=1.0)
    assert twelfth.fate is Fate.RESOLVED


def test_a_retune_midway_gives_a_row_before_and_a_row_after():
    note = Asked(440.0, 0.0, 2.0, moves=[(0.9, 0.05, 432.0)])
    result = check([note])
    assert verdicts(result) == ["in tune"] * 2
    assert [row.expected_hz for row in result.rows] == [440.0, 432.0]
    assert (result.rows[0].start_s, result.rows[0].end_s) == (0.0, pytest.approx(0.9))
    assert result.rows[1].start_s == pytest.approx(0.95)


def test_a_note_off_only_after_its_retune_fails_there():
    log, _ = make_take([Asked(440.0, 0.0, 2.0, moves=[(0.9, 0.05, 432.0)])])
    audio = make_audio([Asked(440.0, 0.0, 2.0, moves=[(0.9, 0.05, 432.5)])], log.frames)
    assert verdicts(assay(log, InMemory(audio))) == ["in tune", "out"]


def test_what_is_off_within_the_tolerance_passes_and_is_told():
    result = check([replace(CHORD[0], off_cents=0.06)])
    assert result.passed
    assert result.worst_cents == pytest.approx(0.06, abs=1e-3)
    assert not check([replace(CHORD[0], off_cents=0.06)], tolerance=0.05).passed


# -- what fails -------------------------------------------------------------------------------


@pytest.mark.parametrize("off_cents", [-30.0, -2.0, -0.12, 0.12, 2.0, 30.0])
def test_a_note_off_its_pitch_fails_with_its_measured_deviation(off_cents):
    notes = [CHORD[0], replace(CHORD[1], off_cents=off_cents), CHORD[2]]
    result = check(notes)
    assert verdicts(result) == ["in tune", "out", "in tune"]
    assert result.rows[1].cents == pytest.approx(off_cents, abs=1e-3)
    assert not result.passed
    assert result.worst_cents == result.rows[1].cents


def test_a_missing_partial_fails_and_is_named():
    notes = [CHORD[0], replace(CHORD[1], without=[2]), CHORD[2]]
    result = check(notes)
    assert verdicts(result) == ["in tune", "missing", "in tune"]
    assert result.rows[1].why == "partial 2"


def test_a_missing_partial_on_which_another_note_sounds_cannot_be_known():
    # The fourth partial of 5 is the fifth of 4.
    result = check([CHORD[0], replace(CHORD[1], without=[4])])
    assert verdicts(result) == ["in tune"] * 2
    fourth = result.rows[1].partials[3]
    assert (fourth.fate, fourth.by) == (Fate.MASKED, 1)


def test_each_partial_of_a_lone_note_is_missed():
    for number in range(1, 17):
        result = check([Asked(220.0, without=[number])])
        assert (result.rows[0].verdict, result.rows[0].why) == (
            Verdict.MISSING,
            f"partial {number}",
        )


def test_a_note_that_is_not_there_fails():
    result = check([CHORD[0], replace(CHORD[1], silent=True), CHORD[2]])
    assert verdicts(result) == ["in tune", "missing", "in tune"]
    assert result.rows[1].why == "no partial of it is there"


def test_silence_fails():
    log, audio = make_take(CHORD)
    assert verdicts(assay(log, InMemory(np.zeros_like(audio)))) == ["missing"] * 3


def test_one_partial_out_of_place_fails_the_note():
    result = check([Asked(220.0, moved_partial={7: 1.5})])
    assert verdicts(result) == ["out"]
    assert result.rows[0].why == "partial 7 by +1.500 cents"


def test_another_scale_fails():
    def scale(parts: int) -> list[Asked]:
        steps = [round(n * parts / 12) for n in (0, 2, 4, 5, 7, 9, 11)]
        return [
            Asked(261.6256 * 2 ** (step / parts), place * 0.5, 0.5)
            for place, step in enumerate(steps)
        ]

    log, _ = make_take(scale(31))
    right, wrong = make_audio(scale(31), log.frames), make_audio(scale(19), log.frames)
    assert assay(log, InMemory(right)).passed
    result = assay(log, InMemory(wrong))
    assert verdicts(result) == ["in tune"] + ["out"] * 6  # the first note is C4 in both
    for row, one, other in zip(result.rows, scale(31), scale(19), strict=True):
        assert row.cents == pytest.approx(tones.cents(other.hz, one.hz), abs=1e-2)


def test_noise_instead_of_music_does_not_pass():
    log, audio = make_take(CHORD)
    assert not assay(log, InMemory(tones.noise(1, len(audio), -20.0))).passed


# -- what is left open ------------------------------------------------------------------------


def test_notes_closer_than_the_window_allows_are_masked_and_name_each_other():
    pair = [Asked(440.0, voice="pure"), Asked(441.5, voice="pure")]
    result = check([*pair, Asked(600.0, voice="pure")])
    assert verdicts(result) == ["unresolved", "unresolved", "in tune"]
    assert [row.why for row in result.rows] == ["masked by note 2", "masked by note 1", ""]
    assert result.rows[0].measured_hz is None
    # Held long enough they come apart: 1.5 Hz is six bins of four seconds.
    longer = [replace(note, for_s=6.0) for note in pair]
    assert verdicts(check(longer)) == ["in tune"] * 2


@pytest.mark.parametrize("neighbour_hz", [448.8, 454.4, 458.0])
def test_a_note_on_the_shoulder_of_a_louder_one_is_masked_not_missing(neighbour_hz):
    # What dies fast has a broad line, which beside a steady one may have no peak of its own.
    shoulder = [Asked(440.0, 0.0, 0.5, "tap"), Asked(neighbour_hz, 0.0, 0.5, "pure")]
    result = check(shoulder, noise_db=-80.0)
    assert verdicts(result) == ["unresolved", "in tune"]
    assert result.rows[0].why == "masked by note 2"


def test_masked_in_full_is_no_pass_of_the_take():
    assert not check([Asked(440.0, voice="pure"), Asked(441.5, voice="pure")]).passed


def test_a_masked_note_is_measured_where_its_neighbour_is_silent():
    held = Asked(440.0, 0.0, 2.0, "pure")
    passing = Asked(441.5, 1.0, 0.8, "pure")
    result = check([held, passing])
    assert result.rows[0].verdict is Verdict.IN_TUNE
    assert all(reading.last <= passing.start for reading in result.rows[0].partials)
    assert result.rows[1].verdict is Verdict.UNRESOLVED


def test_short_notes_are_unresolved():
    log, audio = make_take([Asked(110.0, 0.0, 0.004, release_s=0.004), Asked(440.0, 0.1)])
    result = assay(log, InMemory(audio))
    assert verdicts(result) == ["unresolved", "in tune"]
    assert result.rows[0].why == "too short"
    low = check([Asked(55.0, 0.0, 0.03, release_s=0.005), Asked(440.0, 0.1)])
    assert low.rows[0].why == "too short"


def test_a_note_under_the_noise_is_too_quiet():
    result = check([Asked(440.0, level_db=-100.0), Asked(660.0)], noise_db=-60.0)
    assert verdicts(result) == ["unresolved", "in tune"]
    assert result.rows[0].why == "too quiet"


def test_a_line_where_a_dead_partial_would_be_is_not_taken_for_it():
    log, audio = make_take([Asked(440.0, voice="chiff")])
    hum = tones.note(RATE, len(audio), [(0, 0, 880.0 * 2 ** (5 / 1200))], level_db=-90.0)
    result = assay(log, InMemory(audio + hum))
    assert verdicts(result) == ["in tune"]
    assert result.rows[0].partials[1].fate is Fate.QUIET


def test_a_note_that_never_stands_still_is_unresolved():
    note = Asked(440.0, 0.0, 1.0, moves=[(0.0, 1.5, 550.0)])
    result = check([note, Asked(880.0, 1.2)])
    assert verdicts(result) == ["unresolved", "in tune"]
    assert result.rows[0].why == "never steady"


def test_a_note_with_vibrato_is_not_passed_as_steady():
    log, _ = make_take([Asked(440.0, voice="pure")])
    index = np.arange(log.frames)
    wave = 440.0 * index / RATE + 0.3 * np.sin(2 * np.pi * 1.4 * index / RATE)
    assert not assay(log, InMemory(0.1 * np.sin(2 * np.pi * wave))).passed


# -- how sure it is ---------------------------------------------------------------------------


@pytest.mark.parametrize("under_db", [40.0, 60.0, 140.0])
def test_the_true_error_lies_within_twice_the_uncertainty(under_db):
    random = np.random.default_rng(7)
    within, total = 0, 0
    for seed in range(50):
        notes = [
            Asked(
                float(80.0 * 2 ** random.uniform(0.0, 4.0)),
                float(random.uniform(0.0, 0.8)),
                float(random.uniform(0.1, 1.0)),
                str(random.choice(["reed", "struck", "pure"])),
                float(random.uniform(-30.0, -15.0)),
                float(random.uniform(0.02, 0.3)),
            )
            for _ in range(random.integers(1, 6))
        ]
        log, audio = make_take(notes, -20.0 - under_db, seed)
        for row in assay(log, InMemory(audio)).rows:
            assert row.verdict in (Verdict.IN_TUNE, Verdict.UNRESOLVED)
            resolved = [each for each in row.partials if each.fate is Fate.RESOLVED]
            errors = [(each.cents, each.uncertainty_cents) for each in resolved]
            if row.cents is not None:
                errors.append((row.cents, row.uncertainty_cents))
            within += sum(abs(cents) <= 2.0 * doubt for cents, doubt in errors)
            total += len(errors)
    assert total > 500
    assert within >= 0.95 * total


def test_the_mirror_image_of_a_low_short_note_is_in_its_uncertainty():
    for seed in range(10):
        log, audio = make_take([Asked(40.0, 0.0, 0.12, "pure", release_s=0.002)], None, seed)
        for reading in assay(log, InMemory(audio), 10.0).rows[0].partials:
            assert reading.cents is not None
            assert 1e-3 < abs(reading.cents) <= 2.0 * reading.uncertainty_cents


def test_a_resolved_partial_is_sure_to_half_the_tolerance():
    for tolerance in (0.01, 0.1, 1.0):
        result = check(CHORD, -50.0, tolerance)
        for row in result.rows:
            for reading in row.partials:
                if reading.fate is Fate.RESOLVED:
                    assert reading.uncertainty_cents <= tolerance / 2.0


# -- files ------------------------------------------------------------------------------------


@pytest.mark.parametrize("position", [-1.0, 0.0, 0.6, 1.0])
def test_a_note_panned_anywhere_is_measured(tmp_path, position):
    log, audio = make_take([CHORD[0]])
    path = write_take(tmp_path, replace(log, channels=2), tones.pan(audio, position))
    result = assay_file(path, replace(log, channels=2))
    assert result.passed
    assert abs(result.rows[0].cents) < 1e-3


@pytest.mark.parametrize(("subtype", "most_cents"), [("PCM_16", 0.01), ("PCM_24", 1e-3)])
def test_files_of_whole_numbers_are_measured(tmp_path, subtype, most_cents):
    log, audio = make_take(CHORD)
    result = assay_file(write_take(tmp_path, log, audio, subtype), log)
    assert verdicts(result) == ["in tune"] * 3
    assert abs(result.worst_cents) < most_cents


@pytest.mark.parametrize(
    ("change", "field"),
    [({"frames": 1}, "frames"), ({"rate": 44_100}, "rate"), ({"channels": 2}, "channels")],
)
def test_a_file_that_does_not_match_its_log_is_refused(tmp_path, change, field):
    log, audio = make_take([CHORD[0]])
    path = write_take(tmp_path, log, audio)
    with pytest.raises(InvalidValue) as caught:
        assay_file(path, replace(log, **change))
    assert caught.value.field == field


@pytest.mark.parametrize("poison", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_is_refused_with_its_place(tmp_path, poison):
    log, audio = make_take([CHORD[0]])
    audio[40_123] = poison
    with pytest.raises(InvalidValue, match="sample 40123"):
        assay_file(write_take(tmp_path, log, audio), log)


def test_what_is_no_sound_file_is_refused(tmp_path):
    (tmp_path / "take.wav").write_text("slack water")
    with pytest.raises(InvalidValue, match="readable sound file"):
        assay_file(tmp_path / "take.wav", make_log([], 10))


def test_a_long_take_is_read_in_pieces(tmp_path):
    note = Asked(440.0, 0.0, 60.0, "pure")
    log, audio = make_take([note])
    reads = []

    class Watched(WaveFile):
        def read(self, first, last):
            reads.append(last - first)
            return super().read(first, last)

    path = tmp_path / "take.wav"
    soundfile.write(path, audio, RATE, subtype="FLOAT")
    with Watched(path, log) as audio_file:
        assert assay(log, audio_file).passed
    assert max(reads) <= 4 * RATE


@pytest.mark.parametrize("part", ["beginning", "middle", "end"])
def test_a_long_note_is_measured_at_its_beginning_middle_and_end(part):
    note = Asked(440.0, 0.0, 40.0, "pure")
    log, audio = make_take([note])
    first = {"beginning": 0, "middle": 17, "end": 34}[part] * RATE
    off = make_audio([replace(note, off_cents=2.0)], log.frames)
    audio[first : first + 6 * RATE] = off[first : first + 6 * RATE]
    result = assay(log, InMemory(audio))
    assert verdicts(result) == ["out"]
    assert result.rows[0].cents == pytest.approx(2.0, abs=1e-3)


def test_a_long_note_that_jumps_in_one_of_its_parts_does_not_pass():
    note = Asked(440.0, 0.0, 40.0, "pure")
    log, audio = make_take([note])
    audio[38 * RATE :] = make_audio([replace(note, off_cents=2.0)], log.frames)[38 * RATE :]
    assert not assay(log, InMemory(audio)).passed


# -- its parts --------------------------------------------------------------------------------


def test_a_life_is_cut_where_its_pitch_begins_or_ceases_to_move():
    def note(*pitches: tuple[int, int, float]) -> LoggedNote:
        steps = tuple(LoggedPitch(*pitch) for pitch in pitches)
        return LoggedNote(1, "reed", "reed", {}, 0.5, -20.0, 0, 900, 1000, steps)

    assert sections(note((0, 0, 400.0))) == (Section(0, 1000, 400.0, 400.0),)
    assert sections(note((0, 0, 400.0), (500, 0, 400.0))) == (Section(0, 1000, 400.0, 400.0),)
    assert sections(note((0, 0, 400.0), (500, 100, 300.0))) == (
        Section(0, 500, 400.0, 400.0),
        Section(500, 600, 300.0, 400.0),
        Section(600, 1000, 300.0, 300.0),
    )
    # Half of a glide of two octaves, cut short there, is one octave.
    cut = sections(note((0, 0, 100.0), (200, 200, 400.0), (300, 0, 150.0)))
    assert [(part.first, part.last) for part in cut] == [(0, 200), (200, 300), (300, 1000)]
    assert cut[1].high_hz == pytest.approx(200.0, rel=1e-12)


def test_windows_stay_in_their_zone_and_dodge_what_happens():
    zone = Steady(1_000, 97_000, 97_000, 440.0)
    windows = candidates(zone, [30_000, 40_000], RATE, dying=False)
    assert all(zone.first <= window.first < window.last <= zone.last for window in windows)
    quiet = [w for w in windows if not any(w.first < each < w.last for each in (30_000, 40_000))]
    longest = max(quiet, key=lambda window: window.last - window.first)
    assert longest.first == 40_000
    assert longest.last > 95_000
    assert windows[0].first == 1_000
    assert windows[0].last > 95_000


def test_only_long_stretches_are_cut_into_zones():
    def starts(length_s: int) -> list[float]:
        stretch = Steady(0, length_s * RATE, length_s * RATE, 440.0)
        return [zone.first / RATE for zone in zones(stretch, RATE)]

    assert starts(4) == [0.0]
    assert starts(7) == [0.0, 3.0]
    assert starts(600) == [0.0, 298.0, 596.0]


def test_the_assay_loads_nothing_that_makes_sound():
    code = (
        "import sys, meantide.command.assay;"
        "print([n for n in sys.modules if n.startswith(('meantide.voice','meantide.perform',"
        "'meantide.live','pyo'))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
