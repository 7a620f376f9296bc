"""Every shipped voice, in the phrase of its audition made short: never called out by mistake."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from meantide.catalogue import Catalogue
from meantide.offline.assay import Assay, Verdict, assay_file
from meantide.offline.audition import audition
from meantide.offline.render import Settings, render
from meantide.offline.score import Score, ScoreNote, ScoreTouch
from meantide.offline.takelog import TakeLog
from meantide.offline.timeline import lay_out
from meantide.pitch import Tuning
from meantide.voice.kernels import kernel_named

CATALOGUE = Catalogue()
TUNING = Tuning(CATALOGUE.scale("31-equal"), CATALOGUE.anchor("A4=435"))
SHORTER = 3  # times
# Of these no note is proved in so short a phrase: copies of a unison drift as far as they are
# apart, or their notes are over before the copies can be told from each other.
UNPROVED = [
    "boat-choir", "chapel-bell", "drawn-veil", "eel-choir", "high-chapel", "high-water",
    "keel-strings", "slack-water", "spray-choir", "stroked-bowl",
]  # fmt: skip
VOICES = [name for name in CATALOGUE.names("voices") if name not in UNPROVED]
KERNEL = "compiled"  # the kernels' sounds are the same: tests/voice/test_kernels_in_step.py


def shortened(score: Score, notes: int) -> Score:
    """Return the last notes of a score, so many times sooner and shorter, velocities kept."""
    (part,) = score.parts
    kept = part.notes[-notes:]
    first_s = kept[0].start_s

    def sooner(at_s: Fraction) -> Fraction:
        return (at_s - first_s) / SHORTER

    def touch(each: ScoreTouch) -> ScoreTouch:
        return replace(each, at_s=sooner(each.at_s), over_s=each.over_s / SHORTER)

    def note(each: ScoreNote) -> ScoreNote:
        touches = tuple(touch(one) for one in each.touches)
        length_s = each.length_s / SHORTER
        return replace(each, start_s=sooner(each.start_s), length_s=length_s, touches=touches)

    return replace(score, parts=(replace(part, notes=tuple(note(each) for each in kept)),))


def taken(name: str, kernel: str, notes: int, out: Path) -> TakeLog:
    score = shortened(audition(CATALOGUE.voice(name), TUNING), notes)
    return render(lay_out(score, 48_000), out, Settings(), name, kernel_named(kernel, print))


def wrong_by(log: TakeLog, cents: float) -> TakeLog:
    """Return the log of the same take, were all its notes tuned so many cents lower."""
    down = 2.0 ** (-cents / 1200.0)
    notes = tuple(
        replace(note, pitches=tuple(replace(each, hz=each.hz * down) for each in note.pitches))
        for note in log.notes
    )
    return replace(log, notes=notes)


def verdicts(result: Assay) -> list[Verdict]:
    return [row.verdict for row in result.rows]


@pytest.mark.parametrize("name", VOICES)
def test_no_note_is_out_unless_the_log_is_wrong(name: str, tmp_path: Path) -> None:
    out = tmp_path / "take.wav"
    log = taken(name, KERNEL, 9, out)
    result = assay_file(out, log)
    assert set(verdicts(result)) <= {Verdict.IN_TUNE, Verdict.UNRESOLVED}, result.rows
    assert result.passed
    wrong = assay_file(out, wrong_by(log, 1.0))
    for right, now in zip(result.rows, wrong.rows, strict=True):
        if right.verdict is Verdict.IN_TUNE:
            assert now.verdict is Verdict.OUT
            # nearly the same samples: which can be used depends on what the log says
            assert now.cents - right.cents == pytest.approx(1.0, abs=5e-3)
        assert now.verdict is not Verdict.IN_TUNE


@pytest.mark.parametrize("name", UNPROVED)
def test_what_cannot_be_told_apart_proves_nothing_and_says_so(name: str, tmp_path: Path) -> None:
    out = tmp_path / "take.wav"
    log = taken(name, KERNEL, 9, out)
    for told in (log, wrong_by(log, 1.0)):
        rows = assay_file(out, told).rows
        assert {row.verdict for row in rows} == {Verdict.UNRESOLVED}
        assert all(row.why for row in rows)
