"""The assay of FM notes: rendered by the bank, judged by the lines their voice may make."""

from dataclasses import replace

import numpy as np
import pytest

import tones
from fm_tones import operator, read
from meantide.offline.assay import UNLISTED, Row, Verdict, assay
from meantide.offline.assay_reading import Fate
from meantide.offline.logged_voice import Moved, logged_voice, with_movement
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_voice import LoggedVoice
from meantide.voice.bank import Strike
from meantide.voice.envelope import Envelope
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Answer, Response, Vibrato
from takes import RATE, Asked, InMemory, make_log

SINKING = Envelope(attack_s=0.01, decay_s=1.5, sustain_db=-40.0)
BELL = FmVoice(
    "bell",
    (operator(1.0, heard=True), Operator(np.sqrt(2.0), envelope=SINKING)),
    (Path(2, 1, 3.0),),
)
REED = FmVoice(
    "reed",
    (
        operator(1.0, heard=True),
        operator(3.0),
        Operator(1.0, envelope=SINKING, feedback=0.6),
    ),
    (Path(2, 1, 1.2), Path(3, 2, 0.8), Path(3, 1, 0.7)),
)
TURNED = replace(REED, operators=(*REED.operators[:2], replace(REED.operators[2], phase=0.2)))
HUM = FmVoice("hum", (operator(1.0, heard=True), Operator(hz=70.0)), (Path(2, 1, 1.0),))
VOICES = {"bell": BELL, "reed": REED, "hum": HUM}
SHAKEN = Vibrato(5.5, 20.0, 0.1, 0.2)


def sound(voice: FmVoice, hz: float, samples: int) -> tones.Samples:
    bank = FmBank(1, RATE, NumpyKernel())
    bank.start(0, prepare_fm(voice, RATE), Strike(hz, 1.0))
    return tones.gain(-20.0) * read(bank, samples, 4096)


def judged(voice: FmVoice, off_cents: float, *, silent: bool = False) -> Row:
    """Return what is said of a note held for a second and off by some cents."""
    plain = make_log([Asked(220.0, 0.0, 1.0, release_s=0.001)], RATE + 100)
    note = with_movement(plain.notes[0], Moved(voice, 0))
    log: TakeLog = replace(plain, voices={"reed": logged_voice(voice)}, notes=(note,))
    hz = 220.0 * 2.0 ** (off_cents / 1200.0)
    audio = np.zeros(log.frames) if silent else sound(voice, hz, log.frames)
    (row,) = assay(log, InMemory(audio + tones.noise(1, log.frames, -110.0))).rows
    return row


@pytest.mark.parametrize("name", VOICES)
@pytest.mark.parametrize("off_cents", [0.0, -3.0, -1.0, 0.5])
def test_an_fm_note_is_judged_by_its_sidebands(name, off_cents):
    row = judged(VOICES[name], off_cents)
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.used >= 3
    if name != "hum":  # its sidebands lie by Hz from the note: they are off by fewer cents
        assert row.cents == pytest.approx(off_cents, abs=1e-2)


@pytest.mark.parametrize("off_cents", [0.0, -3.0])
def test_harmonics_whose_phase_turns_as_the_indices_sink_prove_nothing(off_cents):
    row = judged(TURNED, off_cents)
    assert (row.verdict, row.why) == (Verdict.UNRESOLVED, Fate.TURNING.value)


@pytest.mark.parametrize("off_cents", [0.0, -1.0, 0.5])
def test_an_fm_note_under_vibrato_is_proved_too(off_cents):
    row = judged(replace(BELL, vibrato=SHAKEN), off_cents)
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.cents == pytest.approx(off_cents, abs=1e-2)


@pytest.mark.parametrize("wrong_cents", [19.0, 40.0])
def test_an_fm_note_under_another_vibrato_strays(wrong_cents):
    """In the mean it would be in tune; its lines stand apart, so nothing excuses them."""
    played = replace(BELL, vibrato=Vibrato(5.5, 20.0))
    plain = make_log([Asked(220.0, 0.0, 1.0, release_s=0.001)], RATE + 100)
    told = logged_voice(replace(played, vibrato=Vibrato(5.5, wrong_cents)))
    log = replace(plain, voices={"reed": told})
    rows = assay(log, InMemory(sound(played, 220.0, log.frames))).rows
    assert Verdict.IN_TUNE not in {row.verdict for row in rows}


@pytest.mark.parametrize("name", VOICES)
def test_an_fm_note_that_is_not_there_is_missed(name):
    row = judged(VOICES[name], 0.0, silent=True)
    if name == "hum":  # a line at 80 Hz below the note's second one: not all are in reach
        assert row.verdict is not Verdict.IN_TUNE
    else:
        assert row.verdict is Verdict.MISSING


def test_a_sideband_out_of_place_fails_the_note():
    """A modulator of another ratio makes every sideband but the carrier wrong."""
    moved = replace(BELL, operators=(BELL.operators[0], replace(BELL.operators[1], ratio=1.4145)))
    plain = make_log([Asked(220.0, 0.0, 1.0, release_s=0.001)], RATE + 100)
    log = replace(plain, voices={"reed": logged_voice(BELL)})
    (row,) = assay(log, InMemory(sound(moved, 220.0, log.frames))).rows
    assert row.verdict is Verdict.OUT


def test_a_voice_of_four_independent_frequencies_is_left_open():
    operators = (operator(1.0, heard=True), *(operator(n**0.5) for n in (2.0, 3.0, 5.0)))
    voice = FmVoice("crowd", operators, (Path(2, 1, 1.0), Path(3, 1, 1.0), Path(4, 1, 1.0)))
    assert logged_voice(voice) == LoggedVoice((), sidebands=True)
    row = judged(voice, 0.0)
    assert (row.verdict, row.why) == (Verdict.UNRESOLVED, UNLISTED)


def test_touch_that_may_move_the_vibrato_is_told():
    voice = replace(BELL, vibrato=SHAKEN, response=Response(pressure=Answer(vibrato_cents=30.0)))
    plain = make_log([Asked(220.0)], 2 * RATE).notes[0]
    assert logged_voice(voice).vibrato.touched_cents == 30.0
    assert with_movement(plain, Moved(voice, 0)).told_until is None
    assert with_movement(plain, Moved(voice, 0, touched=900)).told_until == 900
    assert with_movement(plain, Moved(voice, 0, touched=900, revoiced=70)).told_until == 70
