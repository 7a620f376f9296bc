"""FM notes played from a bank, what they should be, and the lines in what is heard."""

import math
from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from meantide.voice.bank import Strike
from meantide.voice.envelope import Envelope
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernel import Kernel

RATE = 48_000
STEADY = Envelope(attack_s=0.001, decay_s=0.001, sustain_db=0.0, release_s=0.05)
"""At its full level from 1 ms on, but for the end of the cell in which that falls."""
SETTLED = 128
"""Samples after which a steady note is at its full level."""
Floats = NDArray[np.float64]


def operator(ratio: float, heard: bool = False, **others: object) -> Operator:
    """Return a steady operator, heard at full level or not at all."""
    level_db = 0.0 if heard else None
    return Operator(ratio, level_db=level_db, **({"envelope": STEADY} | others))  # type: ignore[arg-type]


def pair(ratio: float, index: float, **others: object) -> FmVoice:
    """Return a carrier at the note's pitch, moved by one operator."""
    operators = (operator(1.0, heard=True), operator(ratio))
    return FmVoice("pair", operators, (Path(2, 1, index),), **others)  # type: ignore[arg-type]


def bank_of(
    voice: FmVoice, kernel: Kernel, strike: Strike, rate: int = RATE, notes: int = 1
) -> FmBank:
    """Return a bank in which as many notes as it holds have begun."""
    prepared = prepare_fm(voice, rate)
    bank = FmBank(notes, rate, kernel)
    for row in range(notes):
        bank.start(row, prepared, strike)
    return bank


def read(
    bank: FmBank,
    samples: int,
    block: int = 256,
    events: Iterable[tuple[int, Callable[[], None]]] = (),
) -> Floats:
    """Return the next samples of the note in row 0; `events` (sample, act) split blocks."""
    rows, gains = np.array([0]), np.ones((1, 1), np.float32)
    waiting = sorted(events, key=lambda event: event[0])
    out = np.zeros((1, samples), np.float32)
    at = 0
    while at < samples:
        while waiting and waiting[0][0] <= at:
            waiting.pop(0)[1]()
        upto = min(at - at % block + block, samples, waiting[0][0] if waiting else samples)
        piece = np.zeros((1, upto - at), np.float32)
        bank.read(rows, gains, piece)
        out[:, at:upto] = piece
        at = upto
    return out[0].astype(np.float64)


def sounded(
    voice: FmVoice, kernel: Kernel, hz: float, samples: int, block: int = 256, rate: int = RATE
) -> Floats:
    """Return the first samples of a note struck in full."""
    return read(bank_of(voice, kernel, Strike(hz, 1.0), rate), samples, block)


def signed_lines(
    sound: Floats, first: int, frequencies_hz: Floats, rate: int = RATE
) -> tuple[Floats, Floats, Floats]:
    """Fit lines to a sound whose first sample has the number `first`: sines, cosines and the rest.

    Least squares; the amplitudes are those of sin and cos of 2π·f·n/rate. 0 Hz is a cosine.
    """
    turns = np.outer(np.arange(first, first + len(sound)), frequencies_hz / rate)
    angles = 2 * math.pi * (turns - np.rint(turns))
    sines, cosines = np.sin(angles), np.cos(angles)
    columns = np.hstack([sines[:, frequencies_hz > 0.0], cosines])
    amplitudes = np.linalg.lstsq(columns, sound, rcond=None)[0]
    of_sines = np.zeros(len(frequencies_hz))
    of_sines[frequencies_hz > 0.0] = amplitudes[: -len(frequencies_hz)]
    return of_sines, amplitudes[-len(frequencies_hz) :], sound - columns @ amplitudes


def loudest_db(sound: Floats) -> float:
    """Return the level of the loudest line in a sound, 0 dB being a sine at full scale."""
    window = np.kaiser(len(sound), 16.0)  # what it spreads is 118 dB down
    spectrum = np.abs(np.fft.rfft(sound * window)) * 2 / window.sum()
    return float(20 * np.log10(spectrum.max() + 1e-20))


def strays_db(voice: FmVoice, kernel: Kernel, hz: float, spacing_hz: float) -> float:
    """Return the level of the loudest line that is no multiple of `spacing_hz`: what has folded."""
    sound = sounded(voice, kernel, hz, 40_000)[8_000:]
    multiples = np.arange(0.0, RATE / 2 - 1.0, spacing_hz)
    return loudest_db(signed_lines(sound, 8_000, multiples)[2])
