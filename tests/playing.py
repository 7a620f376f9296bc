"""Short ways for tests to play notes on the real performance, and to look at what came out."""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from meantide.perform.event import Event, Kind, Pitch, PitchKind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.kernel import Kernel
from meantide.voice.kernel_numpy import NumpyKernel

RATE = 48_000
ROOT_HALF = np.sqrt(0.5)
"""What each channel has of a note in the middle."""
Samples = NDArray[np.float64]
in_use: Kernel = NumpyKernel()
"""The kernel that is played with unless another is given; the fixture `kernel` sets it."""

STEADY = Envelope(attack_s=0.005, decay_s=0.01, sustain_db=0.0, release_s=0.005)
SINE = AdditiveVoice("one-sine", (Partial(1.0),), STEADY, velocity_exponent=1.0)


def saw(count: int, envelope: Envelope = STEADY, **more: float) -> AdditiveVoice:
    """Return a voice of `count` harmonics falling 6 dB an octave."""
    partials = tuple(Partial(float(n), -20.0 * float(np.log10(n))) for n in range(1, count + 1))
    return AdditiveVoice("saw", partials, envelope, **more)


def tuned(scale: Scale | int, anchor: str = "A4=440") -> Tuning:
    """Return a tuning of a scale, or of so many equal parts of the octave."""
    return Tuning(Scale.equal(scale) if isinstance(scale, int) else scale, Anchor.parse(anchor))


def hertz(value: float) -> Pitch:
    """Return the pitch of a frequency."""
    return Pitch(PitchKind.HERTZ, value)


def key(number: int) -> Pitch:
    """Return the pitch of a key."""
    return Pitch(PitchKind.KEY, float(number))


def degree(number: int) -> Pitch:
    """Return the pitch of a degree."""
    return Pitch(PitchKind.DEGREE, float(number))


def note(
    start: int, end: int | None, pitch: Pitch, number: int = 0, velocity: float = 1.0
) -> list[Event]:
    """Return a note's on, and its off if `end` is given (samples)."""
    on = Event(Kind.NOTE_ON, start, note=number, pitch=pitch, amount=velocity)
    return [on] if end is None else [on, Event(Kind.NOTE_OFF, end, note=number)]


def play(
    events: Iterable[Event],
    samples: int,
    *,
    voice: AdditiveVoice = SINE,
    tunings: Sequence[Tuning] = (),
    values: Mapping[int, AdditiveVoice] = MappingProxyType({}),
    block: int = 1024,
    notes: int = 16,
    level_db: float = -6.0,
    rate: int = RATE,
    kernel: Kernel | None = None,
) -> tuple[Samples, Performance]:
    """Play `events` in `tunings` (handed over as 1, 2, ..; the first is in force) on `voice`.

    `values` are further voices, by their numbers.
    It is the sound before the end of the line: neither high-passed, limited nor late.
    Returns the left channel, scaled so that a note at velocity 1 has the amplitude that its voice
    and the level say, shape (samples,), float64; and the performance.
    """
    performance = Performance(rate, block, notes, level_db, kernel=kernel or in_use)
    for number, tuning in enumerate(tunings, start=1):
        performance.hand_over(number, tuning)
    for number, value in values.items():
        performance.hand_over(number, value)
    performance.hand_over(1000, voice)
    performance.schedule(Event(Kind.VOICE, 0, value=1000))
    if tunings:
        performance.schedule(Event(Kind.TUNING, 0, value=1))
    for event in sorted(events, key=lambda each: each.sample):
        performance.schedule(event)
    out = np.zeros((2, samples), np.float32)
    for start in range(0, samples, block):
        performance.make(out[:, start : start + block])
    return out[0].astype(np.float64) / ROOT_HALF, performance


def decibels(amplitude: float) -> float:
    """Return an amplitude in dB re full scale."""
    return float(20.0 * np.log10(max(amplitude, 1e-30)))


def spectrum_db(samples: Samples, rate: int = RATE) -> tuple[Samples, Samples]:
    """Return Hz and dB of a windowed spectrum: a sine of amplitude 1 peaks at 0 dB.

    Kaiser window, beta 24: sidelobes are 180 dB down and the main lobe is 8 bins either way.
    """
    window = np.kaiser(len(samples), 24.0)
    magnitude = np.abs(np.fft.rfft(samples * window)) * 2.0 / window.sum()
    return np.fft.rfftfreq(len(samples), 1.0 / rate), 20.0 * np.log10(magnitude + 1e-30)


def outside(hz: Samples, bands: Iterable[tuple[float, float]]) -> NDArray[np.bool_]:
    """Return which of the frequencies `hz` lie in none of `bands`."""
    clear = np.ones(len(hz), bool)
    for low, high in bands:
        clear &= (hz < low) | (hz > high)
    return clear


def still_water_db(hz: float) -> float:
    """Return the level of that voice at full velocity: its file's, and its trims between octaves.

    The trims lie evenly over its range, C2 to C7 (65.41 to 2093 Hz), on a scale of octaves.
    """
    return -5.8 + float(
        np.interp(np.log2(hz / 65.406), [0, 5 / 3, 10 / 3, 5], [2.3, 0.2, 0.3, -2.8])
    )
