"""The end of the line within a performance: its promise, its latency, and what it lets pass."""

import numpy as np
import pytest

import playing
from meantide.perform.end_of_line import Line
from meantide.perform.event import Event, Kind
from meantide.perform.limiter import CEILING_DBTP
from meantide.perform.meter import Meter
from meantide.perform.performance import Performance
from meantide.voice.kernels import COMPILED, NUMPY
from outside_meter import measured
from playing import RATE, hertz, note, saw

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either


def stage(level_db: float, voice: object = playing.SINE) -> Performance:
    performance = Performance(RATE, 512, 64, level_db, kernel=playing.in_use)
    performance.hand_over(1, voice)  # type: ignore[arg-type]
    performance.schedule(Event(Kind.VOICE, 0, value=1))
    return performance


def fill(performance: Performance, samples: int, block: int = 512) -> np.ndarray:
    out = np.zeros((2, samples), np.float32)
    for start in range(0, samples, block):
        performance.fill(out[:, start : start + block])
    return out


def test_a_sudden_chord_of_64_notes_at_full_level_stays_under_the_ceiling() -> None:
    performance = stage(0.0, saw(24))
    for number in range(64):
        performance.schedule(note(5_000, 40_000, hertz(55.0 * (number + 1)), number)[0])
    out = fill(performance, RATE)
    assert performance.line.most_taken_db > 12.0
    meter = Meter(RATE, RATE)
    meter.read(out)
    assert CEILING_DBTP - 2.0 < meter.highest_true_peak_dbtp <= CEILING_DBTP
    assert max(measured(out, RATE).true_peaks) <= CEILING_DBTP


def test_a_sound_leaves_so_many_samples_after_its_event() -> None:
    performance = stage(-12.0)
    performance.schedule(note(1_000, None, hertz(2_000.0))[0])
    late = performance.line.latency_samples
    assert late == 107
    out = fill(performance, 4_096)[0]
    other = stage(-12.0)
    other.schedule(note(1_000, None, hertz(2_000.0))[0])
    dry = np.zeros((2, 4_096), np.float32)
    for start in range(0, 4_096, 512):
        other.make(dry[:, start : start + 512])
    first = int(np.flatnonzero(dry[0])[0])
    assert first in (1_000, 1_001)
    assert np.flatnonzero(out)[0] == first + late
    # at 2 kHz the high-pass takes nothing (1e-9) and turns by 0.4 degrees: 0.007 of the amplitude
    assert out[late:] == pytest.approx(dry[0, :-late], abs=0.01 * float(np.abs(dry).max()))


@pytest.mark.parametrize(("hz", "taken_db"), [(1.0, 40.0), (10.0, 3.01), (20.0, 0.263)])
def test_infrasound_may_be_played_and_is_taken_out(hz: float, taken_db: float) -> None:
    """By 10·log10(1 + (10 Hz/f)^4), second-order Butterworth."""
    performance = stage(-12.0)
    performance.schedule(note(0, None, hertz(hz))[0])
    samples = 4 * RATE
    out = fill(performance, samples)[0, 2 * RATE :]  # the first two seconds settle it
    turn = np.exp(-2j * np.pi * hz * np.arange(2 * RATE) / RATE)
    level_db = 20.0 * np.log10(abs(np.mean(out * turn)) * 2.0 / playing.ROOT_HALF)
    assert level_db == pytest.approx(-12.0 - taken_db, abs=0.02)
    assert performance.counts.refused == 0


def test_what_is_not_a_number_is_silence_is_counted_and_does_not_stay() -> None:
    line = Line(RATE, 256, playing.in_use.name)
    tone = 0.25 * np.sin(2 * np.pi * 1000.0 * np.arange(48_000) / RATE).astype(np.float32)
    heard = []
    for start in range(0, 48_000 - 256, 256):
        block = np.tile(tone[start : start + 256], (2, 1))
        if start == 256 * 20:
            block[0, 100], block[1, 3] = np.nan, np.inf
        line.apply(block)
        heard.append(block)
    out = np.concatenate(heard, axis=1)
    assert line.faults == 1
    assert np.isfinite(out).all()
    assert np.abs(out[:, -4_800:]).max() == pytest.approx(0.25, abs=1e-3)


@pytest.mark.parametrize("block", [1, 21, 64, 300])
def test_the_size_of_blocks_changes_nothing_while_it_limits(block: int) -> None:
    def played(size: int) -> np.ndarray:
        performance = stage(0.0, saw(9))
        for number in range(8):
            performance.schedule(note(700 * number, None, hertz(110.0 * (number + 2)), number)[0])
        return fill(performance, 9_600, size)

    reference = played(512)
    assert np.abs(reference).max() > 0.5
    assert np.abs(played(block) - reference).max() < 1e-5  # -100 dB: as the notes' own promise


def test_long_silence_leaves_it_ready() -> None:
    """It does nothing then, and what comes next is as if it had."""
    busy, idle = (Line(RATE, 256, playing.in_use.name) for _ in range(2))
    faint = np.full((2, 256), 1e-15, np.float32)
    random = np.random.default_rng(7)
    loud = random.uniform(-3.0, 3.0, (2, 2_560)).astype(np.float32)
    for _ in range(1_000):
        block = faint.copy()
        busy.apply(block)
        block[:] = 0.0
        idle.apply(block)
        assert not block.any()
    for start in range(0, 2_560, 256):
        one, other = loud[:, start : start + 256].copy(), loud[:, start : start + 256].copy()
        busy.apply(one)
        idle.apply(other)
        assert one == pytest.approx(other, abs=1e-6)


def test_both_kernels_end_the_line_alike() -> None:
    random = np.random.default_rng(5)
    sound = random.normal(0.0, 1.0, (2, 48_000)).astype(np.float32)
    made = []
    for kernel in (NUMPY, COMPILED):
        line, out = Line(RATE, 480, kernel), sound.copy()
        for start in range(0, 48_000, 480):
            line.apply(out[:, start : start + 480])
        made.append(out)
        assert line.most_taken_db > 6.0
    assert made[0] == pytest.approx(made[1], abs=1e-5)
