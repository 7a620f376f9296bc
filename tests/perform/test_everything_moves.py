"""Everything moves at once, at random but the same each time: sound stays sound."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import playing
from meantide.journal import (
    JournalHead,
    end_line,
    event_line,
    head_line,
    read_journal,
    value_line,
)
from meantide.offline.journal_take import render_journal
from meantide.perform.event import Event, Held, Kind
from meantide.perform.master import QUIETEST_DB
from meantide.perform.performance import Performance
from meantide.pitch import Tuning
from meantide.voice.description import AdditiveVoice, Drift, SecondTable, Unison
from meantide.voice.envelope import Envelope
from meantide.voice.kernel import Kernel
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Answer, Response, Vibrato
from playing import RATE, ROOT_HALF, Samples, decibels, degree, hertz, key, play, saw, tuned

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
LENGTH = 2 * RATE
BLOCKS = (1, 21, 64, 100, 256, 300, 1024)
COUNT, MOST_HZ = 3, 500.0
"""Partials of each voice, and the highest fundamental before bends of half an octave."""

BASE = replace(
    saw(COUNT, Envelope(0.02, 0.2, -6.0, 0.15)),
    second=SecondTable(tilt_db=12.0),
    vibrato=Vibrato(5.5, 12.0, 0.05, 0.2),
    drift=Drift(3.0, 0.5, 0.7),
    unison=Unison(2, 6.0),
    drawn=0.5,
    response=Response(
        Answer(level_db=6.0),
        Answer(level_db=-9.0, vibrato_cents=20.0, colour=0.3),
        Answer(level_db=3.0, colour=0.5),
    ),
    level_db=-12.0,
)
VOICES = {
    100: BASE,
    101: replace(BASE, tilt_db=-9.0, vibrato=Vibrato(6.5, 30.0, 0.0, 0.1)),
    102: replace(BASE, inharmonicity=0.01, colour=1.0, level_db=-20.0, drift=Drift()),
    103: replace(BASE, stretch=2.02, response=Response()),
    104: saw(24, level_db=-12.0),
}
TUNINGS = [tuned(12), tuned(31, "A4=432"), tuned(19)]


def events_at_random(seed: int) -> list[Event]:
    """Return some thousand events of every kind but those that end everything."""
    random = np.random.default_rng(seed)
    events: list[Event] = []

    def at() -> int:
        return int(random.integers(0, LENGTH))

    def ramp() -> int:
        return int(random.choice([0, 0, 37, 480, 9_000]))

    for _ in range(120):
        start, note = at(), int(random.integers(0, 12))
        pitch = [key(int(random.integers(40, 71))), degree(int(random.integers(-20, 9))),
                 hertz(float(random.uniform(60.0, MOST_HZ)))][int(random.integers(3))]  # fmt: skip
        velocity = float(random.uniform(0.05, 1.0))
        events.append(Event(Kind.NOTE_ON, start, 0, note, pitch, velocity))
        events.append(Event(Kind.NOTE_OFF, start + int(random.integers(50, 20_000)), 0, note))
    for _ in range(150):
        note = int(random.integers(0, 12))
        events.append(Event(Kind.BEND, at(), 0, note, amount=float(random.uniform(-600, 600)),
                            samples=ramp()))  # fmt: skip
        for kind in (Kind.PRESSURE, Kind.TIMBRE):
            amount = float(random.choice([0.0, 1.0, random.uniform(0.0, 1.0)]))
            events.append(Event(kind, at(), 0, note, amount=amount, samples=ramp()))
    for number in range(40):
        events.append(Event(Kind.SUSTAIN, at(), amount=float(random.integers(2))))
        events.append(Event(Kind.SOSTENUTO, at(), amount=float(random.integers(2))))
        events.append(Event(Kind.GLIDE, at(), samples=ramp()))
        events.append(Event(Kind.LEVEL, at(), amount=float(random.uniform(-20, -6)),
                            samples=ramp()))  # fmt: skip
        events.append(Event(Kind.REVOICE, at(), value=200 + number, samples=ramp()))
        events.append(Event(Kind.TUNING, at(), value=2 + number, samples=ramp(),
                            held=Held(int(random.integers(2)))))  # fmt: skip
    for kind, low, high in ((Kind.PAN, -1, 1), (Kind.WIDTH, 0, 1), (Kind.PART_LEVEL, -20, 0)):
        for _ in range(20):
            amount = float(random.uniform(low, high))
            events.append(Event(kind, at(), amount=amount, samples=ramp()))
    for number in range(6):
        events.append(Event(Kind.MODE, at(), amount=float(number % 2)))
        events.append(Event(Kind.LIMIT, at(), amount=float(random.integers(0, 10))))
    late = 3 * LENGTH // 4  # from the first on the part's tuning is its own
    events += [
        Event(Kind.LAYOUT, late + at() // 4, value=value, samples=ramp(), held=Held(value % 2))
        for value in (42, 43, 44)
    ]
    events.append(Event(Kind.VOICE, LENGTH // 2, value=300))
    return sorted(events, key=lambda event: event.sample)


def values() -> dict[int, AdditiveVoice]:
    choice = list(VOICES.values())
    return {200 + n: choice[(n * 7) % len(choice)] for n in range(40)} | {300: VOICES[101]}


def tunings() -> list[Tuning]:
    return [TUNINGS[n % 3] for n in range(44)]


def play_all(
    block: int, seed: int = 3, kernel: Kernel | None = None, length: int = LENGTH
) -> tuple[Samples, Performance]:
    return play(
        events_at_random(seed), length, voice=BASE, tunings=tunings(), values=values(),
        block=block, notes=10, level_db=-12.0, kernel=kernel,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
def test_it_stays_finite_and_bounded_and_never_jumps(seed: int) -> None:
    samples, performance = play_all(1024, seed)
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() > 0.05
    assert np.abs(samples).max() * ROOT_HALF < 10.0 ** (-1.2 / 20.0)  # nothing to limit
    assert performance.counts.taken > 0
    assert performance.untaken == 0
    # no partial comes near 18.75 kHz: what is there, steps made. One of 0.005 would show as -100 dB
    window = np.hanning(1024)
    frames = np.lib.stride_tricks.sliding_window_view(samples, 1024)[::256] * window
    spectra = np.abs(np.fft.rfft(frames)) * (2.0 / window.sum())
    assert decibels(spectra[:, 400:].max()) < -100.0


def test_the_size_of_blocks_changes_nothing() -> None:
    reference, performance = play_all(4096, length=LENGTH // 4)
    for block in BLOCKS:
        samples, other = play_all(block, length=LENGTH // 4)
        assert decibels(np.abs(samples - reference).max()) < -100.0
        assert other.counts.taken == performance.counts.taken


def test_the_kernels_agree() -> None:
    plain, _ = play_all(256, kernel=NumpyKernel())
    samples, _ = play_all(256)
    assert decibels(np.abs(samples - plain).max()) < -110.0


def test_the_journal_of_it_plays_the_same_bit_for_bit(tmp_path: Path) -> None:
    """Every event and value goes through its line of text, and the block it was heard at."""
    plain = [saw(3), saw(3, tilt_db=-9.0), saw(24)]
    voices = {200 + n: plain[n % 3] for n in range(40)} | {300: plain[1], 1000: plain[0]}
    tuned_so = dict(enumerate(tunings(), start=1))
    events = [Event(Kind.VOICE, 0, value=1000), Event(Kind.TUNING, 0, value=1),
              *events_at_random(5)]  # fmt: skip
    lines = [head_line(JournalHead(RATE, 256, 10, playing.in_use.name))]
    lines += [value_line(number, value) for number, value in (tuned_so | voices).items()]
    lines += [event_line(event.sample // 256 * 256, event) for event in events]
    path, out = tmp_path / "all.jsonl", tmp_path / "all.wav"
    path.write_text("".join([*lines, end_line(LENGTH)]), encoding="utf-8")
    journal = read_journal(path)
    assert journal.events == tuple(events)
    render_journal(journal, out, "float32", "all", playing.in_use)
    performance = Performance(RATE, 256, 10, QUIETEST_DB, kernel=playing.in_use)
    for number, value in (tuned_so | voices).items():
        performance.hand_over(number, value)
    for event in events:
        performance.schedule(event)
    block = np.zeros((2, 256), np.float32)
    replayed = soundfile.read(out, dtype="float32")[0].T
    played = []
    for _ in range(0, LENGTH, 256):
        performance.fill(block)
        played.append(block.copy())
    late = performance.line.latency_samples
    heard = np.concatenate(played, axis=1)[:, late:]
    assert replayed[:, : heard.shape[1]].tobytes() == heard.tobytes()
    assert replayed.shape[1] % 256 == 0  # what the line held at the end is there too
    assert np.abs(replayed).max() > 0.05
