"""Every voice that is shipped: in tune, as loud as all others, silent before and after, no aliases.

Both forms of voice, the compiled kernel (numpy's twin by the tests of kernels).
"""

import math
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import playing
import tones
from meantide.catalogue import Catalogue
from meantide.offline.voice_loudness import TARGET_LUFS, loudness_at
from meantide.perform.event import Event, Kind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, Interval, Scale, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice, Breath, Drift, Unison
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import DegreesUp, FmVoice
from meantide.voice.kernels import kernel_named
from meantide.voice.purpose import FAMILIES
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
    """At the highest note, touch at its fullest, all lies on sums of the ratios.

    All operators are held at the full level of their envelopes: indices are never higher, and lines
    stand still.
    """
    voice = Catalogue().voice(name)
    assert isinstance(voice, FmVoice)
    voice = still(voice)
    assert isinstance(voice, FmVoice)
    full = tuple(replace(each, envelope=Envelope()) for each in voice.operators)
    voice = replace(voice, operators=full)
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
    """Return a voice whose lines stand still; its touch stays.

    It has no vibrato, drift or unison, and no operator that comes again and again.
    """
    answers = {
        name: replace(getattr(voice.response, name), vibrato_cents=0.0)
        for name in ("velocity", "pressure", "timbre")
    }
    stays = replace(voice, vibrato=Vibrato(), response=replace(voice.response, **answers))
    if isinstance(stays, AdditiveVoice):
        return replace(stays, drift=Drift(), unison=Unison(), breath=Breath())
    once = (
        replace(each, envelope=replace(each.envelope, repeats=False)) for each in stays.operators
    )
    return replace(stays, operators=tuple(once))


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


@pytest.mark.parametrize("name", VOICES)
def test_every_voice_is_as_loud_as_all_others_over_its_range(name: str) -> None:
    """To 1 LU, at both ends of its range and every 700 cents, where most lie between its trims."""
    voice = Catalogue().voice(name)
    notes = [voice.lowest_hz * 2.0 ** (n * 7 / 12) for n in range(20)]
    for hz in (*(hz for hz in notes if hz < voice.highest_hz), voice.highest_hz):
        assert abs(loudness_at(voice, hz, KERNEL) - TARGET_LUFS) < 1.0


def test_there_are_forty_voices_of_every_family_and_each_says_what_it_is_for() -> None:
    voices = [Catalogue().voice(name) for name in VOICES]
    assert len(voices) >= 40
    assert {voice.family for voice in voices} == set(FAMILIES)
    for voice in voices:
        assert voice.about
        assert voice.source
        assert voice.highest_hz >= 4.0 * voice.lowest_hz * (1.0 - 1e-9)  # two octaves at least


def test_the_readme_lists_every_voice_in_its_family() -> None:
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    for family in FAMILIES:
        named = [name for name in VOICES if Catalogue().voice(name).family == family]
        [row] = re.findall(rf"^\| {family} \|.*\| (.*) \|$", readme, re.MULTILINE)
        assert row.split() == [f"`{name}`" for name in named]
    assert f"\n{len(VOICES)} voices come with it" in readme


MADE_FOR = {
    "sixteen-bell": "16-equal",
    "thirteen-pipe": "13-equal-of-3",
    "thirty-one-wire": "31-equal",
    "just-bowl": "just-major",
}


@pytest.mark.parametrize("name", MADE_FOR)
def test_the_partials_of_a_voice_made_for_a_scale_are_its_degrees(name: str) -> None:
    """To 0.001 cent: their ratios are written with nine digits, 0.000002 cent."""
    scale = Catalogue().scale(MADE_FOR[name])
    voice = Catalogue().voice(name)
    assert isinstance(voice, AdditiveVoice)
    for partial in voice.sounding_partials():
        octaves = math.log2(partial.ratio)
        near = min(abs(scale.octaves(d) - octaves) for d in range(6 * scale.size))
        assert 1200.0 * near < 0.001
    assert MADE_FOR[name] in voice.source
