"""Scores rendered and assayed: what moves by itself is logged as it sounds."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from meantide.offline.assay import Verdict, assay_file
from meantide.offline.render import Settings, render
from meantide.offline.score import Change, Score, ScoreNote, ScorePart
from meantide.offline.takelog import TakeLog, read
from meantide.offline.timeline import lay_out
from meantide.perform.event import Held, Pitch, PitchKind
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.description import (
    AdditiveVoice,
    Breath,
    Drift,
    Formant,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator
from meantide.voice.fm_description import Path as Way
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Answer, Response, Vibrato
from meantide.voice.voices import Voice

PARTIALS = tuple(Partial(float(n), -4.0 * (n - 1) ** 0.7) for n in range(1, 7))
SHAKEN = Vibrato(5.5, 20.0, 0.1, 0.3)
STEADY = Envelope(attack_s=0.005, decay_s=0.01, sustain_db=0.0, release_s=0.05)
BY_VELOCITY = Response(velocity=Answer(level_db=6.0, vibrato_cents=30.0, colour=0.5))
DRAWN_FM = FmVoice(
    "drawn-bell",
    (Operator(1.0, level_db=0.0, envelope=STEADY), Operator(DegreesUp(18), envelope=STEADY)),
    (Way(2, 1, 1.5),),
    vibrato=SHAKEN,
)
VOICES: dict[str, Voice] = {
    "vibrato": AdditiveVoice("v", PARTIALS, vibrato=SHAKEN),
    "velocity": AdditiveVoice("v", PARTIALS, vibrato=SHAKEN, response=BY_VELOCITY),
    "drift": AdditiveVoice("v", PARTIALS, drift=Drift(3.0, 1.0, 0.3)),
    "unison": AdditiveVoice("v", PARTIALS, unison=Unison(3, 16.0)),
    "breath": AdditiveVoice("v", PARTIALS, breath=Breath(-20.0), vibrato=SHAKEN),
    "drawn": AdditiveVoice("v", PARTIALS, drawn=1.0, inharmonicity=1e-3, vibrato=SHAKEN),
    "shaped": AdditiveVoice(
        "v", PARTIALS, formants=(Formant(800.0, 100.0, 20.0),), second=SecondTable(tilt_db=-6.0)
    ),
    "fm": DRAWN_FM,
}


def tuned(parts: int) -> Tuning:
    return Tuning(Scale.equal(parts), Anchor.parse("A4=440"))


def taken(folder: Path, voice: Voice, changes: tuple[Change, ...] = ()) -> TakeLog:
    """Return the log of a take of two notes, as it is read back."""
    notes = tuple(
        ScoreNote(
            Fraction(place * 2), Fraction(3, 2), Pitch(PitchKind.DEGREE, float(degree)), {}, 0.7
        )
        for place, degree in enumerate((0, 10))
    )
    score = Score("Slack water", tuned(31), (ScorePart("trio", voice, notes),), changes)
    render(lay_out(score, 48_000), folder / "take.wav", Settings(), "score", NumpyKernel())
    return read(folder / "take.json")


@pytest.mark.parametrize("name", VOICES)
def test_each_kind_of_voice_is_proved_and_a_wrong_log_of_it_found_out(name, tmp_path):
    log = taken(tmp_path, VOICES[name])
    result = assay_file(tmp_path / "take.wav", log)
    assert [(row.verdict, row.why) for row in result.rows] == [(Verdict.IN_TUNE, "")] * 2
    assert abs(result.worst_cents) < 0.02
    for off_cents in (0.5,):
        notes = tuple(
            replace(
                note,
                pitches=tuple(
                    replace(pitch, hz=pitch.hz * 2.0 ** (-off_cents / 1200.0))
                    for pitch in note.pitches
                ),
            )
            for note in log.notes
        )
        wrong = assay_file(tmp_path / "take.wav", replace(log, notes=notes))
        assert [row.verdict for row in wrong.rows] == [Verdict.OUT] * 2


@pytest.mark.parametrize("name", ["drawn", "fm"])
@pytest.mark.parametrize("held", list(Held))
def test_what_is_drawn_to_the_scale_is_proved_before_and_after_it_changes(name, held, tmp_path):
    change = Change(Fraction(3, 4), tuned(19), Fraction(1, 20), held)
    log = taken(tmp_path, VOICES[name], (change,))
    result = assay_file(tmp_path / "take.wav", log)
    assert result.passed
    assert result.count(Verdict.IN_TUNE) == (3 if held is Held.FOLLOW else 2)
    swapped = {spectrum: log.spectra[next(iter(log.spectra))] for spectrum in log.spectra}
    wrong = assay_file(tmp_path / "take.wav", replace(log, spectra=swapped))
    assert not wrong.passed
