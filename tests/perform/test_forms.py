"""Additive and FM voices in one performance: each in its banks, FM without what folds onto 0 Hz."""

from dataclasses import replace

import numpy as np
import pytest

import playing
import tones
from meantide.perform.event import ALL_PARTS, Event, Kind, OutcomeKind
from meantide.perform.performance import Performance
from meantide.voice.fm_description import FmVoice, Operator, Path
from playing import RATE, STEADY, Samples, decibels, hertz, note, saw

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
CARRIER = Operator(ratio=1.0, level_db=0.0, envelope=STEADY)
MODULATOR = Operator(ratio=1.0, level_db=None, envelope=STEADY, phase=0.25)
FOLDING = FmVoice("folding", (CARRIER, MODULATOR), (Path(2, 1, 3.0),))
"""Twice oversampled; c:m = 1:1, whose lower sideband of order 1 falls on 0 Hz (Chowning 1973)."""


def play_both(block: int, samples: int, *events: Event) -> tuple[Samples, Performance]:
    """Play on FM in part 0 and additively in part 1, -12 dB."""
    performance = Performance(RATE, block, 4, -12.0, kernel=playing.in_use)
    for number, voice in ((1, FOLDING), (2, saw(3)), (3, replace(FOLDING, level_db=-20.0))):
        performance.hand_over(number, voice)
    performance.schedule(Event(Kind.VOICE, 0, 0, value=1))
    performance.schedule(Event(Kind.VOICE, 0, 1, value=2))
    for event in events:
        performance.schedule(event)
    out = np.zeros((2, samples), np.float32)
    for start in range(0, samples, block):
        performance.fill(out[:, start : start + block])
    return out[0].astype(np.float64), performance


def in_part(part: int, events: list[Event]) -> list[Event]:
    return [event._replace(part=part) for event in events]


def test_both_are_in_tune_and_nothing_stands_at_0_hz() -> None:
    samples, _ = play_both(
        256,
        96_000,
        *in_part(0, note(0, None, hertz(300.0), 1)),
        *in_part(1, note(0, None, hertz(431.0), 2)),
    )
    lines = [300.0 * n for n in range(1, 11)] + [431.0 * n for n in range(1, 4)]
    fit = tones.fit_lines(samples[48_000:], RATE, lines)
    for measured, hz in zip(fit.hz, lines, strict=True):
        if hz in (300.0, 600.0, 431.0):
            assert abs(tones.cents(measured, hz)) < 0.001
    assert decibels(abs(samples[48_000:].mean())) < -80.0


EVENTS = [
    *note(0, None, hertz(300.0), 1),
    *note(500, None, hertz(400.5), 2),
    *in_part(1, note(700, None, hertz(220.0), 4)),
    *note(600, None, hertz(500.0), 3),
    *note(9_001, None, hertz(700.0), 5),  # takes one
    Event(Kind.BEND, 12_000, note=2, amount=300.0, samples=600),
    Event(Kind.GLIDE, 13_000, samples=2_000),
    Event(Kind.REVOICE, 15_000, value=3, samples=500),
    *note(16_000, 20_000, hertz(350.0), 5),
    Event(Kind.NOTES_OFF, 24_000, part=ALL_PARTS),
]


def test_the_size_of_blocks_changes_nothing() -> None:
    reference, _ = play_both(1024, 30_000, *EVENTS)
    for block in (1, 64, 100, 256):
        samples, _ = play_both(block, 30_000, *EVENTS)
        assert decibels(np.abs(samples - reference).max()) < -100.0


def test_a_note_taken_leaves_no_click() -> None:
    """No step: above 15 kHz, where no sideband reaches, there is nothing."""
    samples, performance = play_both(256, 30_000, *EVENTS)
    assert any(told.kind == OutcomeKind.TAKEN for told in performance.outcomes)
    frames = np.lib.stride_tricks.sliding_window_view(samples, 1024)[::128] * np.hanning(1024)
    spectra = np.abs(np.fft.rfft(frames)) * 2.0 / 512.0
    assert decibels(spectra[:, 320:].max()) < -95.0


def test_every_note_ends() -> None:
    """An oversampled note whose cells end 16 samples before blocks do: its `used` is always 16."""
    ends = Event(Kind.SOUND_OFF, 24_064 - 16)
    for block in (64, 256):
        _, performance = play_both(block, 40_000, *EVENTS[:-1], ends)
        assert len(performance.notes) == 0
