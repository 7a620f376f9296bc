"""A voice whose numbers change while it sounds: which notes follow, how soon, without a click."""

from dataclasses import replace

import numpy as np
import pytest

import tones
from meantide.perform.event import Event, Kind
from meantide.perform.performance import Performance
from meantide.perform.queue import MOST_WAITING
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.touch import Vibrato
from playing import RATE, STEADY, decibels, hertz, note, play, saw, tuned

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
OPEN = saw(4)
DARK = replace(OPEN, tilt_db=-12.0)
LINES = [400.0, 800.0, 1_200.0, 1_600.0]


def revoice(sample: int, value: int, samples: int = 0) -> Event:
    return Event(Kind.REVOICE, sample, value=value, samples=samples)


def levels_of(voice: AdditiveVoice) -> list[float]:
    return [partial.level_db for partial in voice.sounding_partials()]


def levels_in(samples: np.ndarray, lines: list[float]) -> list[float]:
    """Return the levels of lines, what `play` took away given back."""
    return [level + 15.0 for level in tones.fit_lines(samples, RATE, lines).level_db]


def test_sounding_notes_and_the_next_ones_take_on_the_new_numbers() -> None:
    events = [
        *note(0, None, hertz(400.0), 1),
        revoice(12_000, 2, 2_400),
        *note(30_000, None, hertz(430.0), 2),
    ]
    samples, _ = play(events, 48_000, voice=OPEN, values={2: DARK}, level_db=-15.0)
    assert levels_in(samples[1_000:12_000], LINES) == pytest.approx(levels_of(OPEN), abs=0.01)
    assert levels_in(samples[14_500:30_000], LINES) == pytest.approx(levels_of(DARK), abs=0.01)
    both = [*LINES, *(hz * 430.0 / 400.0 for hz in LINES)]
    assert levels_in(samples[31_000:], both) == pytest.approx(2 * levels_of(DARK), abs=0.01)


def test_a_step_is_a_ramp_of_five_milliseconds() -> None:
    quiet = replace(OPEN, level_db=-30.0)
    events = [*note(0, None, hertz(400.0), 1), revoice(6_000, 2)]
    samples, _ = play(events, 12_000, voice=OPEN, values={2: quiet}, level_db=-15.0)
    largest = np.abs(np.diff(samples[2_000:6_000])).max()
    whole = np.abs(np.diff(samples[2_000:])).max()
    assert whole < largest + 30.0 / 240.0 * np.log(10.0) / 20.0 * np.abs(samples).max()
    assert np.abs(samples[6_240:]).max() < np.abs(samples).max() * tones.gain(-29.9)


def test_notes_of_another_voice_keep_theirs() -> None:
    """A bell rings on while the reed that came after it is changed."""
    events = [
        *note(0, None, hertz(400.0), 1),
        Event(Kind.VOICE, 5_000, value=3),
        *note(6_000, None, hertz(3_000.0), 2),
        revoice(12_000, 2),
    ]
    values = {2: DARK, 3: saw(4)}
    samples, _ = play(events, 36_000, voice=OPEN, values=values, level_db=-15.0)
    lines = [*LINES, 3_000.0, 6_000.0, 9_000.0, 12_000.0]
    heard = levels_in(samples[13_000:], lines)
    assert heard == pytest.approx(levels_of(OPEN) + levels_of(DARK), abs=0.01)


def test_a_voice_that_needs_another_bank_is_for_the_next_notes_only() -> None:
    larger = saw(40)
    events = [
        *note(0, None, hertz(400.0), 1),
        revoice(6_000, 2),
        *note(7_000, None, hertz(650.0), 2),
    ]
    samples, performance = play(events, 36_000, voice=OPEN, values={2: larger}, level_db=-15.0)
    assert performance.counts.refused == 0
    heard = levels_in(samples[8_000:], [*LINES, *(650.0 * n for n in range(1, 34))])
    assert heard[:4] == pytest.approx(levels_of(OPEN), abs=0.05)
    assert heard[4] == pytest.approx(levels_of(larger)[0], abs=0.05)


def test_vibrato_given_to_a_sounding_note() -> None:
    """The pitch swings by the depth: the largest of Carson's first sidelines is J1(m), m small."""
    voice = AdditiveVoice("one", (Partial(1.0),), STEADY, velocity_exponent=1.0)
    shaken = replace(voice, vibrato=Vibrato(rate_hz=6.0, depth_cents=3.0, rise_s=0.0))
    events = [*note(0, None, hertz(1_000.0), 1), revoice(6_000, 2, 4_800)]
    samples, _ = play(events, 12_000 + 2 * RATE, voice=voice, values={2: shaken}, level_db=-15.0)
    steady = samples[12_000:]
    heard = levels_in(steady, [994.0, 1_000.0, 1_006.0])
    index = 1_000.0 * (2 ** (3.0 / 1200.0) - 1.0) / 6.0  # Hz of swing over Hz of rate
    side = decibels(index / 2.0 - index**3 / 16.0)  # J1, Abramowitz and Stegun 9.1.10
    assert heard[0] == pytest.approx(side, abs=0.05)
    assert heard[2] == pytest.approx(side, abs=0.05)


def test_without_a_voice_before_there_is_none_to_change() -> None:
    performance = Performance(RATE, 256, 4)
    performance.hand_over(1, OPEN)
    performance.schedule(revoice(0, 1))
    performance.schedule(revoice(0, 77))
    performance.fill(np.zeros((2, 256), np.float32))
    assert performance.counts.refused == 2
    assert performance.untaken == 0


def test_values_do_not_pile_up() -> None:
    """A set of many changes keeps none of them, whether they act or find no room."""
    performance = Performance(RATE, 256, 4)
    performance.hand_over(1, OPEN)
    performance.schedule(Event(Kind.VOICE, value=1))
    out = np.zeros((2, 256), np.float32)
    for number in range(2, 400):
        performance.hand_over(number, DARK if number % 2 else OPEN)
        performance.schedule(revoice(-1, number))
        if number % 7 == 0:
            performance.fill(out)
            assert performance.untaken == 0
    for _ in range(MOST_WAITING - performance.waiting):
        performance.schedule(Event(Kind.PAN, 10_000_000))
    for number, value in ((1_000, DARK), (1_001, tuned(12))):
        performance.hand_over(number, value)
        kind = Kind.TUNING if number == 1_001 else Kind.REVOICE
        assert performance.schedule(Event(kind, value=number)) is None
    assert performance.untaken <= 7 + 2
    performance.fill(out)
    assert performance.untaken == 0
