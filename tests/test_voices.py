"""Every voice that is shipped: in tune, silent when it should be, and free of aliases at its top.

Both forms of voice, the compiled kernel (numpy's twin by the tests of kernels).
"""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import playing
import tones
from meantide.catalogue import Catalogue
from meantide.perform.event import Event, Kind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, Interval, Scale, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice, Breath, Drift, Unison
from meantide.voice.fm_description import DegreesUp, FmVoice
from meantide.voice.kernels import kernel_named
from meantide.voice.touch import Vibrato
from meantide.voice.voices import Voice, make_bank, prepare
from playing import RATE

VOICES = sorted(path.stem for path in (Path(__file__).parents[1] / "presets/voices").glob("*.yaml"))
FM = [name for name in VOICES if isinstance(Catalogue().voice(name), FmVoice)]
JUST = Scale.from_degrees([Interval.parse(t) for t in ("9/8", "5/4", "4/3", "3/2", "5/3", "15/8")])
GRID = DegreeGrid.of(Tuning(JUST, Anchor(256.0, degree=0)))
Floats = NDArray[np.float64]


def silence(said: str) -> None:
    """Say nothing."""


KERNEL = kernel_named("compiled", silence)


def sounded(voice: Voice, hz: float, samples: int, **touch: float) -> Floats:
    """Return a note of `voice`, held, at velocity 1, in a just scale on 256 Hz."""
    prepared = prepare(voice, RATE)
    bank = make_bank(prepared, 1, RATE, KERNEL)
    bank.start(0, prepared, Strike(hz, 1.0, GRID, **touch))  # type: ignore[arg-type]
    pieces = []
    for _ in range(-(-samples // 8192)):
        out = np.zeros((1, 8192), np.float32)
        bank.read(np.array([0]), np.ones((1, 1), np.float32), out)
        pieces.append(out[0])
    return np.concatenate(pieces).astype(np.float64)[:samples]


def ratio_of(voice: FmVoice, number: int, hz: float) -> Fraction:
    """Return an operator's ratio as the small fraction that it is in the just scale."""
    ratio = voice.operators[number].ratio
    if isinstance(ratio, DegreesUp):
        value = GRID.step(hz, ratio.degrees)
    else:
        value = ratio.ratio_value if isinstance(ratio, Interval) else float(ratio or 1.0)
    found = Fraction(value).limit_denominator(64)
    assert float(found) == pytest.approx(value, rel=1e-12)
    return found


@pytest.mark.parametrize("name", FM)
def test_aliases_of_fm_voices_are_eighty_db_down_at_their_top(name: str) -> None:
    """At the highest note and full index, touch at its fullest, all lies on sums of the ratios."""
    voice = Catalogue().voice(name)
    assert isinstance(voice, FmVoice)
    voice = still(voice)
    assert isinstance(voice, FmVoice)
    hz = nearest_degree_hz(voice.highest_hz)
    ratios = [ratio_of(voice, number, hz) for number in range(len(voice.operators))]
    step = hz / np.lcm.reduce([ratio.denominator for ratio in ratios])
    samples = sounded(voice, hz, 65_536, pressure=1.0, timbre=1.0)[8192:57_344]
    at, db = playing.spectrum_db(samples)
    off = np.abs(at / step - np.rint(at / step)) * step
    between = (off > 12.0) & (at > 30.0)  # window and envelope spread a line over 10 Hz
    assert between.any()
    assert db[between].max() < db.max() - 80.0


def still(voice: Voice) -> Voice:
    """Return a voice whose lines stand still: no vibrato, drift or unison; its touch stays."""
    answers = {
        name: replace(getattr(voice.response, name), vibrato_cents=0.0)
        for name in ("velocity", "pressure", "timbre")
    }
    stays = replace(voice, vibrato=Vibrato(), response=replace(voice.response, **answers))
    if isinstance(stays, AdditiveVoice):
        stays = replace(stays, drift=Drift(), unison=Unison(), breath=Breath())
    return stays


def nearest_degree_hz(hz: float) -> float:
    return float(GRID.hz_of(GRID.nearest(np.array([hz])))[0])


@pytest.mark.parametrize("hz", [131.1, 256.0, 611.3])
@pytest.mark.parametrize("name", VOICES)
def test_every_voice_sounds_at_the_pitch_asked_for(name: str, hz: float) -> None:
    """Its lowest line at the note's own frequency, or its strongest near it, to 0.01 cent."""
    voice = still(Catalogue().voice(name))
    envelope = voice.envelope if isinstance(voice, AdditiveVoice) else voice.operators[0].envelope
    begin = round((envelope.delay_s + envelope.attack_s + 0.02) * RATE)
    samples = sounded(voice, hz, begin + 24_000)[begin:]
    assert abs(tones.cents(line_hz(samples, hz), hz)) < 0.01


def line_hz(samples: Floats, near_hz: float) -> float:
    """Return the frequency of the line near `near_hz`, by how its phase moves on in 6000 samples.

    Kaiser, beta 18: what is 30 Hz away is 120 dB down.
    """
    length, hop = 18_000, 6000
    turn = np.exp(-2j * np.pi * near_hz / RATE * np.arange(len(samples)))
    seen = [
        np.sum(np.kaiser(length, 18.0) * (samples * turn)[first : first + length])
        for first in (0, hop)
    ]
    return near_hz + float(np.angle(seen[1] / seen[0])) / (2 * np.pi * hop) * RATE


@pytest.mark.parametrize("name", VOICES)
def test_every_voice_is_silent_before_its_note_and_after_its_release(name: str) -> None:
    voice = Catalogue().voice(name)
    performance = Performance(RATE, 1024, 4, 0.0, kernel=KERNEL)
    performance.hand_over(1, voice)
    performance.schedule(Event(Kind.VOICE, 0, value=1))
    for event in playing.note(5000, 29_000, playing.hertz(300.0), 1):
        performance.schedule(event)
    gone = 29_000 + round(voice.gone_s * RATE) + 128
    samples = gone + RATE
    out = np.zeros((2, -(-samples // 1024) * 1024), np.float32)
    for start in range(0, out.shape[1], 1024):
        performance.make(out[:, start : start + 1024])
    assert not out[:, :4990].any()
    assert np.abs(out[:, 5000:29_000]).max() > 0.05
    # what the blocker of 0 Hz still lets go is below hearing, and not sound
    assert np.abs(out[:, gone:]).max() < (1e-3 if name in FM else 1e-9)
    assert len(performance.notes) == 0
