"""Touch, pedals, glide and the voice's numbers: from a socket to the sound."""

import gc
from collections.abc import Iterator

import numpy as np
import pytest

import tones
from meantide.perform.event import OutcomeKind
from meantide.voice.prepared import PreparedVoice
from playing import RATE, decibels
from stage import Stage


@pytest.fixture
def stage() -> Iterator[Stage]:
    built = Stage()
    yield built
    built.close()


def hz_of(samples: np.ndarray, near_hz: float) -> float:
    return tones.measure_hz(samples, RATE, near_hz)


def test_a_note_is_bent_by_id_by_key_and_by_name(stage: Stage) -> None:
    stage.ask("/note/on", 57, 0.3, 7)
    stage.ask("/note/on", 69, 0.3)
    stage.ask("/note/on", "E6", 0.3)
    stage.play(0.1)
    assert stage.ask("/note/bend", 7, 50) == []
    assert stage.ask("/note/bend", 69, -30.0, 0.1) == []
    assert stage.ask("/note/bend", "E6", 14.0, 0.05) == []
    samples = stage.play(0.6)[6_000:]
    expected = [220.0 * 2 ** (50 / 1200), 440.0 * 2 ** (-30 / 1200), 440.0 * 2 ** (1914 / 1200)]
    fit = tones.fit_lines(samples, RATE, expected)
    for measured, hz in zip(fit.hz, expected, strict=True):
        assert abs(tones.cents(measured, hz)) < 0.001
    assert fit.residual_db < -110.0


def test_a_touch_before_its_note_waits_for_it(stage: Stage) -> None:
    assert stage.ask("/note/bend", 12, 100.0) == []
    assert stage.ask("/hertz/on", 400.0, 0.5, 12) == []
    expected = 400.0 * 2 ** (1 / 12)
    assert abs(tones.cents(hz_of(stage.play(0.3)[2_000:], expected), expected)) < 0.001


def test_pressure_and_timbre_as_the_voice_answers_to_them(stage: Stage) -> None:
    stage.ask("/voice/set", "response.pressure.level_db", -20.0)
    stage.ask("/voice/set", "response.timbre.level_db", 6.0)
    stage.ask("/hertz/on", 440.0, 0.5, 1)
    levels = []
    for address, amount in ((None, 0.0), ("/note/pressure", 1), ("/note/timbre", 0.0)):
        if address is not None:
            assert stage.ask(address, 1, amount, 0.02) == []
        samples = stage.play(0.3)[2_000:]
        levels.append(tones.fit_lines(samples, RATE, [440.0]).level_db[0])
    assert levels[1] - levels[0] == pytest.approx(-20.0, abs=0.01)
    assert levels[2] - levels[1] == pytest.approx(-6.0, abs=0.01)


def test_pedals_keep_notes_and_the_state_says_so(stage: Stage) -> None:
    assert stage.ask("/note/on", 60, 0.5, 1) == []
    stage.play(0.1)
    assert stage.ask("/sostenuto", 1) == []
    assert stage.ask("/note/on", 64, 0.5, 2) == []
    stage.play(0.1)
    assert stage.ask("/sustain", 1.0) == []
    assert stage.ask("/note/off", 1) == []
    assert stage.ask("/note/off", 2) == []
    stage.play(0.1)
    state = stage.state()
    assert (state["sustain"], state["sostenuto"], state["notes"]) == (1, 1, 2)
    assert stage.ask("/sustain", 0) == []
    stage.play(0.1)
    assert stage.state()["notes"] == 1
    assert stage.ask("/sostenuto", 0) == []
    stage.play(0.1)
    state = stage.state()
    assert (state["sustain"], state["sostenuto"], state["notes"]) == (0, 0, 0)


def test_notes_off_lets_go_what_the_pedals_keep(stage: Stage) -> None:
    stage.ask("/sustain", 1)
    stage.ask("/note/on", 60, 0.5)
    stage.play(0.1)
    stage.ask("/note/off", 60)
    stage.ask("/notes/off")
    stage.play(0.1)
    assert stage.state()["notes"] == 0


def test_notes_glide_from_one_to_the_next(stage: Stage) -> None:
    assert stage.ask("/glide", 0.25) == []
    assert stage.state()["glide_s"] == 0.25
    stage.ask("/hertz/on", 300.0, 0.5, 1)
    stage.play(0.2)
    stage.ask("/note/off", 1)
    stage.ask("/hertz/on", 450.0, 0.5, 2)
    samples = stage.play(0.8)
    moved = [o for o in stage.engine.outcomes if o.kind == OutcomeKind.MOVED]
    assert [(o.note, o.hz, o.samples) for o in moved] == [(2, 450.0, RATE // 4)]
    began = [o.hz for o in stage.engine.outcomes if o.kind == OutcomeKind.BEGAN]
    assert began == [300.0, pytest.approx(300.0)]
    assert abs(tones.cents(hz_of(samples[13_000:], 450.0), 450.0)) < 0.001


def test_a_number_of_the_voice_moves_what_sounds_and_what_comes(stage: Stage) -> None:
    stage.ask("/hertz/on", 440.0, 0.5, 1)
    before = tones.fit_lines(stage.play(0.3)[2_000:], RATE, [440.0]).level_db[0]
    assert stage.ask("/voice/set", "level_db", -10.0, 0.05) == []
    samples = stage.play(0.4)
    after = tones.fit_lines(samples[3_000:], RATE, [440.0]).level_db[0]
    assert after - before == pytest.approx(-10.0, abs=0.01)
    # ten decibels in 50 ms: no step is larger than the sine's own and the ramp's
    own = tones.gain(before) * 2.0 * np.pi * 440.0 / RATE
    assert np.abs(np.diff(samples)).max() < own * 1.02
    stage.ask("/note/off", 1)
    stage.play(0.1)
    stage.ask("/hertz/on", 440.0, 0.5, 2)
    again = tones.fit_lines(stage.play(0.3)[2_000:], RATE, [440.0]).level_db[0]
    assert again == pytest.approx(after, abs=0.001)
    assert stage.control.state.voice.level_db == -10.0


def test_another_voice_begins_with_its_own_numbers(stage: Stage) -> None:
    stage.ask("/voice/set", "level_db", -10.0)
    stage.ask("/voice", "still-water")
    assert stage.control.state.voice == stage.control.catalogue.voice("still-water")


def test_of_a_voice_moved_a_thousand_times_only_the_last_is_kept(stage: Stage) -> None:
    """As a fader would; the engine makes its blocks meanwhile, two of them in a burst."""

    def kept() -> int:
        gc.collect()
        return sum(type(each) is PreparedVoice for each in gc.get_objects())

    before = kept()
    stage.ask("/hertz/on", 440.0, 0.5, 1)
    out = np.zeros((2, 256), np.float32)
    for number in range(1_000):
        stage.control.begin(None)
        stage.control.set_voice("level_db", -float(number % 12), 0.01)
        stage.control.commit()
        if number % 2:
            stage.engine.fill(out)
    assert stage.engine._performance.untaken == 0
    assert kept() <= before + 2  # the note's first is one of those before
    assert decibels(np.abs(out).max()) > -40.0
