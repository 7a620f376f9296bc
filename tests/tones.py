"""Test tones and their measurement, independent of the package: plain sines, plain least squares.

Make:     note(rate, frames, [(0, 0, 440.0)], [(1.0, 0.0, None)], level_db=-20.0) -> (frames,)
Measure:  measure_hz(samples, rate, near_hz) -> Hz, within 1e-5 cent on a clean steady tone;
          fit_lines(samples, rate, [hz, ...]) -> each line's Hz, level, slope, and what is left.
Levels are of the peak: a sine of amplitude 1 is 0 dB.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Samples = NDArray[np.float64]
Amplitude = Literal["constant", "linear", "exponential"]


def cents(hz: float, reference_hz: float) -> float:
    """Return the interval from `reference_hz` up to `hz` in cents."""
    return float(1200.0 * np.log2(hz / reference_hz))


def gain(level_db: float) -> float:
    """Return the amplitude of a level in dB."""
    return float(10.0 ** (level_db / 20.0))


def level_db(amplitude: float) -> float:
    """Return the level in dB of an amplitude."""
    return float(20.0 * np.log10(max(amplitude, 1e-300)))


def noise(seed: int, frames: int, rms_db: float) -> Samples:
    """Return white Gaussian noise; `rms_db` is its RMS re an RMS of 1."""
    return np.random.default_rng(seed).normal(0.0, gain(rms_db), frames)


def phase_cycles(
    rate: int, frames: int, pitches: Sequence[tuple[int, int, float]], cell: int = 0
) -> Samples:
    """Return the phase in cycles of a note whose frequency moves through `pitches`.

    Each is (sample, glide samples, Hz), as in a take's log: from that sample on the frequency
    moves linearly in cents to Hz. The integral is taken in closed form over each stretch; with
    `cell`, over a frequency that is right every so many samples of a glide and straight between.
    """
    phase = np.zeros(frames)
    now_hz, now_phase = pitches[0][2], 0.0
    for place, (start, glide, target_hz) in enumerate(pitches):
        stop = pitches[place + 1][0] if place + 1 < len(pitches) else frames
        from_hz = now_hz
        rise = float(np.log(target_hz / from_hz)) / glide if glide else 0.0  # per sample
        glide_end = min(start + glide, stop)
        if cell and glide:
            glide_end = min(start + -(-glide // cell) * cell, stop)  # the cell it arrives in
            knots = np.arange(start, glide_end + cell, cell)
            at = np.minimum(knots - start, glide)
            hz = np.interp(np.arange(start, glide_end + 1), knots, from_hz * np.exp(rise * at))
            turned = np.concatenate([[0.0], np.cumsum(hz[1:] + hz[:-1]) / (2 * rate)])
        elif glide_end > start:
            after = np.arange(glide_end - start + 1)
            turned = (
                from_hz / rate * (np.expm1(rise * after) / rise if rise else after.astype(float))
            )
        if glide_end > start:
            phase[start:glide_end] = now_phase + turned[:-1]
            now_phase += turned[-1]
            now_hz = from_hz * float(np.exp(rise * min(glide_end - start, glide)))
        if stop > glide_end:
            now_hz = target_hz
            after = np.arange(stop - glide_end + 1)
            turned = target_hz / rate * after
            phase[glide_end:stop] = now_phase + turned[:-1]
            now_phase += turned[-1]
    return phase


def envelope(
    rate: int, frames: int, start: int, release: int, end: int, *, attack_s: float = 0.005
) -> Samples:
    """Return a gain that rises from `start` (raised cosine) to 1, stands, dies away by `end`.

    From `release` on it falls evenly in dB, by 90 dB in all, bent so as to end at nothing.
    """
    index = np.arange(frames)
    rise = np.clip((index - start) / max(attack_s * rate, 1.0), 0.0, 1.0)
    fall = np.clip((index - release) / max(end - release, 1), 0.0, 1.0)
    floor = gain(-90.0)
    shape: Samples = (0.5 - 0.5 * np.cos(np.pi * rise)) * (floor**fall - floor) / (1.0 - floor)
    shape[:start] = 0.0
    shape[end:] = 0.0
    return shape


def note(
    rate: int,
    frames: int,
    pitches: Sequence[tuple[int, int, float]],
    partials: Sequence[tuple[float, float, float | None]] = ((1.0, 0.0, None),),
    *,
    level_db: float = -20.0,
    start: int = 0,
    release: int | None = None,
    end: int | None = None,
    attack_s: float = 0.005,
    phases: Sequence[float] = (),
    cell: int = 0,
) -> Samples:
    """Return one note, mono: partials are (ratio, level dB, seconds to fall 60 dB or None).

    `start`, `release` and `end` are samples; without the last two it stops dead at `frames`.
    `phases` are the partials' first phases in cycles (0 where not given); `cell` as in
    `phase_cycles`. A partial that would come to half the rate or above is left out: it could only
    fold back.
    """
    stop = frames if end is None else end
    let_go = stop if release is None else release
    shape = (
        envelope(rate, frames, start, let_go, stop, attack_s=attack_s)
        if end is not None or attack_s or start
        else np.ones(frames)
    )
    turned = phase_cycles(rate, frames, pitches, cell)
    sounding_s = (np.arange(frames) - start) / rate
    total = np.zeros(frames)
    highest_hz = max(hz for _, _, hz in pitches)
    for place, (ratio, partial_db, decay_s) in enumerate(partials):
        if ratio * highest_hz >= rate / 2:
            continue
        offset = phases[place] if place < len(phases) else 0.0
        line = gain(level_db + partial_db) * np.sin(2 * np.pi * (ratio * turned + offset))
        if decay_s is not None:
            line *= 10.0 ** (-3.0 * np.maximum(sounding_s, 0.0) / decay_s)
        total += line
    return total * shape


def pan(mono: Samples, position: float) -> Samples:
    """Return (frames, 2) by constant power: position -1 left, 0 middle, 1 right."""
    angle = (position + 1.0) * np.pi / 4.0
    return np.stack([mono * np.cos(angle), mono * np.sin(angle)], axis=1)


@dataclass(frozen=True)
class Fit:
    """The lines fitted: Hz, dB at the middle, dB gained a second; and the RMS left over, dB."""

    hz: tuple[float, ...]
    level_db: tuple[float, ...]
    slope_db: tuple[float, ...]
    residual_db: float


def measure_hz(
    samples: Samples,
    rate: int,
    near_hz: float,
    *,
    others: Sequence[float] = (),
    amplitude: Amplitude = "constant",
    search_cents: float = 100.0,
) -> float:
    """Return the frequency of the strongest line within `search_cents` of `near_hz`.

    `others` are further lines (Hz, each within a third of a bin of its truth) fitted jointly;
    all are taken to change as `amplitude` says. Give samples without attack and release.
    """
    start_hz = _peak_hz(samples, rate, near_hz, search_cents)
    return fit_lines(samples, rate, [start_hz, *others], amplitude=amplitude).hz[0]


def fit_lines(
    samples: Samples,
    rate: int,
    lines_hz: Sequence[float],
    *,
    amplitude: Amplitude = "constant",
) -> Fit:
    """Fit a sum of sinusoids near `lines_hz` to `samples` by nonlinear least squares, float64.

    Time runs from -1 to 1 over the samples. A line is e^(g u) (c cos + s sin)(w u) with frequency
    moved by d and, as `amplitude` says, with g fitted ("exponential"), with terms u cos and u sin
    ("linear"), or neither.
    """
    signal = np.asarray(samples, dtype=np.float64)
    half_s = (len(signal) - 1) / 2.0 / rate
    u = np.linspace(-1.0, 1.0, len(signal))
    turn = 2.0 * np.pi * half_s * np.asarray(lines_hz, dtype=np.float64)
    count = len(turn)
    scale = float(np.sqrt(np.mean(signal**2))) or 1.0
    target = signal / scale

    def basis(d: Samples, g: Samples) -> tuple[Samples, Samples]:
        angle = np.outer(u, turn + d)
        shape = np.exp(np.outer(u, g))
        return np.cos(angle) * shape, np.sin(angle) * shape

    def columns(d: Samples, g: Samples) -> Samples:
        cosine, sine = basis(d, g)
        parts = [cosine, sine]
        if amplitude == "linear":
            parts += [cosine * u[:, None], sine * u[:, None]]
        return np.concatenate(parts, axis=1)

    def split(x: Samples) -> tuple[Samples, Samples, Samples]:
        if amplitude == "exponential":
            return x[:count], x[count : 2 * count], x[2 * count :]
        return x[:count], np.zeros(count), x[count:]

    def residual(x: Samples) -> Samples:
        d, g, linear = split(x)
        return columns(d, g) @ linear - target

    def jacobian(x: Samples) -> Samples:
        d, g, linear = split(x)
        cosine, sine = basis(d, g)
        c, s = linear[:count], linear[count : 2 * count]
        by_d = (sine * -c + cosine * s) * u[:, None]
        if amplitude == "linear":
            c_rise, s_rise = linear[2 * count : 3 * count], linear[3 * count :]
            by_d += (sine * -c_rise + cosine * s_rise) * u[:, None] ** 2
        parts = [by_d]
        if amplitude == "exponential":
            parts.append((cosine * c + sine * s) * u[:, None])
        return np.concatenate([*parts, columns(d, g)], axis=1)

    moving = np.zeros(2 * count if amplitude == "exponential" else count)
    first = np.linalg.lstsq(columns(np.zeros(count), np.zeros(count)), target, rcond=None)[0]
    found = least_squares(
        residual,
        np.concatenate([moving, first]),
        jacobian,
        method="lm",
        x_scale="jac",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
        max_nfev=60,
    )
    d, g, linear = split(found.x)
    return Fit(
        tuple(float(hz) for hz in (turn + d) / (2.0 * np.pi * half_s)),
        tuple(level_db(scale * a) for a in np.hypot(linear[:count], linear[count : 2 * count])),
        tuple(float(slope) for slope in 20.0 / np.log(10.0) * g / half_s),
        level_db(scale * float(np.sqrt(np.mean(found.fun**2)))),
    )


def _peak_hz(samples: Samples, rate: int, near_hz: float, search_cents: float) -> float:
    """Return the highest point of a zero-padded Hann spectrum within `search_cents`, to 1/8 bin."""
    size = 8 * int(2 ** np.ceil(np.log2(len(samples))))
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    low = near_hz * 2.0 ** (-search_cents / 1200.0) * size / rate
    high = near_hz * 2.0 ** (search_cents / 1200.0) * size / rate
    first, last = int(np.ceil(low)), min(int(np.floor(high)), len(spectrum) - 1)
    if last < first:
        return near_hz
    return (first + int(np.argmax(spectrum[first : last + 1]))) * rate / size
