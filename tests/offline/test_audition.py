"""The audition: the same phrase for every voice, in any scale, and its take is proved in tune."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meantide.catalogue import Catalogue
from meantide.offline.assay import Verdict, assay_file
from meantide.offline.audition import LONGEST_WAIT_S, audition, chord, middle_degree, rise_s
from meantide.offline.render import Settings, render
from meantide.offline.score import ScoreNote
from meantide.offline.timeline import lay_out
from meantide.perform.event import Kind
from meantide.pitch import Tuning
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator
from meantide.voice.fm_description import Path as Moving
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Answer, Response
from playing import SINE

CATALOGUE = Catalogue()


def tuning(scale: str, anchor: str) -> Tuning:
    return Tuning(CATALOGUE.scale(scale), CATALOGUE.anchor(anchor))


def notes_of(scale: str, anchor: str, envelope: Envelope) -> tuple[ScoreNote, ...]:
    return audition(replace(SINE, envelope=envelope), tuning(scale, anchor)).parts[0].notes


@pytest.mark.parametrize(
    ("scale", "anchor", "hz"),
    [
        ("12-equal", "A4=440", 220.0),  # an octave down: 300 cents from 261.6, not 900
        ("31-equal", "A4=435", 217.5),
        ("12-equal", "c256", 256.0),
        ("13-equal-of-3", "0=800", 800 / 3),
        ("13-equal-of-3", "0=20", 180.0),  # 20 * 9; 20 * 27 is further
    ],
)
def test_the_middle_note_is_the_anchored_one_near_middle_c(
    scale: str, anchor: str, hz: float
) -> None:
    found = tuning(scale, anchor)
    assert found.hz_of_degree(middle_degree(found)) == pytest.approx(hz, rel=1e-12)


@pytest.mark.parametrize(
    ("scale", "degrees"),
    [
        ("12-equal", (0, 4, 7)),
        ("31-equal", (0, 10, 18)),  # standards.md §5: 5/4 and 3/2
        ("53-equal", (0, 17, 31)),
        ("13-equal-of-3", (0, 6, 10)),  # 5/3 and 7/3, the triad of that scale; common practice
    ],
)
def test_the_chord_is_the_scales_own(scale: str, degrees: tuple[int, ...]) -> None:
    assert chord(CATALOGUE.scale(scale), 0) == degrees
    assert chord(CATALOGUE.scale(scale), -30) == tuple(each - 30 for each in degrees)


def test_soft_and_loud_low_and_high() -> None:
    found = tuning("31-equal", "A4=440")
    notes = notes_of("31-equal", "A4=440", Envelope(release_s=0.1))
    hz = [found.hz_of_degree(int(note.pitch.value)) for note in notes]
    assert hz[:4] == pytest.approx([220.0, 220.0, 55.0, 880.0])
    assert [note.velocity for note in notes[:2]] == [0.25, 0.9]
    assert len({note.start_s for note in notes[4:]}) == 1  # together
    assert notes[1].length_s == Fraction(41, 10)  # attacks take a tenth, rounded up


def test_a_note_waits_until_the_one_before_is_silent_but_not_for_ever() -> None:
    def gaps(release_s: float) -> set[float]:
        notes = notes_of("12-equal", "A4=440", Envelope(release_s=release_s))
        return {
            float(after.start_s - before.start_s - before.length_s)
            for before, after in pairwise(notes[:5])
        }

    [gap] = gaps(0.5)
    assert 0.75 + 0.1 <= gap < 0.75 + 0.2  # gone 1.5 times the release later
    assert gaps(60.0) == {LONGEST_WAIT_S + 0.1}


def test_a_voice_that_comes_slowly_is_waited_for() -> None:
    quick = notes_of("12-equal", "A4=440", Envelope(attack_s=0.1))
    slow = notes_of("12-equal", "A4=440", Envelope(attack_s=2.0, delay_s=0.5))
    assert [a.length_s - b.length_s for a, b in zip(slow, quick, strict=True)] == [
        Fraction(24, 10)
    ] * 7


TOUCHED = replace(
    SINE,
    response=Response(pressure=Answer(level_db=6.0), timbre=Answer(colour=1.0)),
    envelope=Envelope(attack_s=0.5, release_s=0.2),
)


def test_touch_is_swept_where_it_does_something() -> None:
    notes = audition(TOUCHED, tuning("12-equal", "A4=440")).parts[0].notes
    pressed, coloured = notes[7:]
    for note, kind, ways in (
        (pressed, Kind.PRESSURE, [1.0, 0.0]),
        (coloured, Kind.TIMBRE, [1.0, 0.0, 0.5]),
    ):
        assert note.pitch.value == -12 + 9  # the middle A
        assert {touch.kind for touch in note.touches} == {kind}
        assert [touch.amount for touch in note.touches] == ways
        times = [(touch.at_s, touch.at_s + touch.over_s) for touch in note.touches]
        assert all(end <= after for (_, end), (after, _) in pairwise(times))
        assert note.start_s + Fraction(1, 2) <= times[0][0]  # once it has risen
        assert times[-1][1] <= note.start_s + note.length_s
    assert len(audition(SINE, tuning("12-equal", "A4=440")).parts[0].notes) == 7


def test_a_swept_note_is_heard_to_move_and_is_in_its_take(tmp_path: Path) -> None:
    score = audition(TOUCHED, tuning("12-equal", "A4=440"))
    out = tmp_path / "audition.wav"
    log = render(lay_out(score, 48_000), out, Settings(), "touched", NumpyKernel())
    note = log.notes[7]
    samples = soundfile.read(out)[0][:, 0]

    def rms_db(at_s: float) -> float:
        start = note.start + round(at_s * 48_000)
        return float(10 * np.log10(np.mean(samples[start : start + 2400] ** 2)))

    assert rms_db(3.2) - rms_db(0.9) == pytest.approx(6.0, abs=0.05)  # pressed, after 0.5 s of rise
    assert len(log.notes) == 9
    assert assay_file(out, log, 0.1).passed


def test_an_fm_voice_is_waited_for_by_its_slowest_operator_that_is_heard() -> None:
    carriers = (
        Operator(1.0, level_db=0.0, envelope=Envelope(0.1, release_s=0.1)),
        Operator(2.0, level_db=0.0, envelope=Envelope(1.0, release_s=0.4)),
        Operator(3.0, envelope=Envelope(9.0, release_s=9.0)),
    )
    voice = FmVoice("slow", carriers, (Moving(3, 1, 1.0),))
    assert rise_s(voice) == 1.0
    notes = audition(voice, tuning("12-equal", "A4=440")).parts[0].notes
    assert notes[0].length_s == 2


@pytest.mark.parametrize("name", CATALOGUE.names("voices"))
def test_every_voice_has_one(name: str) -> None:
    voice = CATALOGUE.voice(name)
    timeline = lay_out(audition(voice, tuning("31-equal", "A4=435")), 48_000)
    assert len(timeline.notes) == 7 + len(
        [each for each in (voice.response.pressure, voice.response.timbre) if each != Answer()]
    )
    assert timeline.events[-1].sample < 60 * 48_000


# Additive voices that stand still, or only decay: to prove drift and unison takes a minute for
# each, and FM notes whose lines come and go are the assay's own matter.
STILL = [
    "drawn-glass", "driftwood-bars", "harbour-bell", "plain-reed", "plucked-wire",
    "still-water",
]  # fmt: skip


@pytest.mark.parametrize("name", STILL)
def test_its_take_is_in_tune(tmp_path: Path, name: str) -> None:
    score = audition(CATALOGUE.voice(name), tuning("31-equal", "A4=435"))
    out = tmp_path / "audition.wav"
    log = render(lay_out(score, 48_000), out, Settings(), name, NumpyKernel())
    assert log.limited_db == 0.0
    judged = assay_file(out, log, 0.1)
    assert judged.passed
    assert {row.verdict for row in judged.rows} == {Verdict.IN_TUNE}
