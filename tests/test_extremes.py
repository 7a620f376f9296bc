"""At the edges of what may be asked for: finite and bounded, or refused in a sentence."""

import math
from dataclasses import replace

import numpy as np
import pytest

import playing
from meantide.document import parse_json
from meantide.errors import InvalidValue
from meantide.perform.event import Event, Kind
from meantide.voice.description import AdditiveVoice, Breath, Drift, Formant, Unison
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.parameters import parameters, with_parameter
from meantide.voice.touch import Vibrato
from meantide.voice.voices import Voice
from meantide.voice_files import read_voice
from playing import RATE, STEADY, hertz, play, saw

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either

RICH = replace(
    saw(32, STEADY),
    inharmonicity=0.01,
    formants=(Formant(700.0, 100.0, 24.0),),
    drift=Drift(50.0, 6.0, 5.0),
    unison=Unison(3, 50.0),
    breath=Breath(-20.0),
    vibrato=Vibrato(7.0, 200.0),
)
PAIR = FmVoice(
    "pair",
    (Operator(1.0, level_db=0.0, envelope=STEADY), Operator(1.414, envelope=STEADY, feedback=1.0)),
    (Path(2, 1, 50.0),),
)


@pytest.mark.parametrize("hz", [0.01, 1.0, 20.0, 12_000.0, 21_600.0, 23_999.9])
@pytest.mark.parametrize("voice", [RICH, PAIR, replace(PAIR, paths=(Path(2, 1, 0.0),))])
def test_any_pitch_is_finite_and_bounded(voice: Voice, hz: float) -> None:
    samples, performance = play([*playing.note(0, 9_000, hertz(hz))], 12_000, voice=voice)
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() < 1.3  # at -6 dB, but for the gain of the pan
    assert performance.counts.refused == 0


@pytest.mark.parametrize("hz", [0.0, -1.0, 0.009, 24_000.0, math.inf, math.nan])
def test_a_pitch_that_cannot_sound_is_refused(hz: float) -> None:
    samples, performance = play([Event(Kind.NOTE_ON, 0, note=1, pitch=hertz(hz), amount=1.0)], 512)
    assert not samples.any()
    assert performance.counts.refused == 1


@pytest.mark.parametrize("velocity", [0.0, -0.1, 1.1, math.inf, math.nan])
def test_a_velocity_that_is_none_is_refused(velocity: float) -> None:
    event = Event(Kind.NOTE_ON, 0, note=1, pitch=hertz(440.0), amount=velocity)
    samples, performance = play([event], 512, voice=RICH)
    assert not samples.any()
    assert performance.counts.refused == 1


@pytest.mark.parametrize("velocity", [1e-300, 1e-9])
@pytest.mark.parametrize("voice", [RICH, PAIR])
def test_the_least_velocity_is_silence_and_no_error(voice: Voice, velocity: float) -> None:
    events = playing.note(0, 3000, hertz(440.0), velocity=velocity)
    samples, _ = play(events, 6000, voice=voice)
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() < 1e-6


def test_a_hundred_thousand_partials_are_refused_at_once() -> None:
    said = '{"kind": "additive", "name": "x", "partials": {"count": 100000}, "envelope": {}}'
    with pytest.raises(InvalidValue, match=r"100000.*256"):
        read_voice(parse_json(said, "x.json"))


@pytest.mark.parametrize("amount", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("voice", [RICH, PAIR])
def test_no_number_of_a_voice_may_be_none(voice: Voice, amount: float) -> None:
    for name in parameters(voice):
        with pytest.raises(InvalidValue):
            with_parameter(voice, name, amount)


@pytest.mark.parametrize(
    "kind", [Kind.BEND, Kind.PRESSURE, Kind.TIMBRE, Kind.LEVEL, Kind.PART_LEVEL, Kind.PAN]
)
@pytest.mark.parametrize("amount", [math.nan, math.inf, -1e9, 1e9])
def test_touch_beyond_all_bounds_leaves_sound_bounded(kind: Kind, amount: float) -> None:
    events = [*playing.note(0, 9_000, hertz(440.0), 1),
              Event(kind, 1_000, note=1, amount=amount, samples=100)]  # fmt: skip
    samples, _ = play(events, 12_000, voice=RICH, rate=RATE)
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() < 1.3
    assert isinstance(RICH, AdditiveVoice)
