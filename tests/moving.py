"""Notes that move by a law, made from the law alone: vibrato, drift, unison, breath.

Phases are the integral of the law's frequency by the midpoint rule at four times the rate of
samples, whose error is far below what any test here looks at.
"""

from collections.abc import Callable, Sequence

import numpy as np

import tones

Cents = Callable[[tones.Samples], tones.Samples]
"""Cents off the pitch by seconds after the note's start."""
_FINE = 4


def vibrato(
    depth_cents: float, rate_hz: float = 5.5, delay_s: float = 0.0, rise_s: float = 0.0
) -> Cents:
    """Return depth · sin²(π/2 · min((age - delay)/rise, 1)) · sin 2π rate (age - delay)."""

    def cents(age_s: tones.Samples) -> tones.Samples:
        after = np.maximum(age_s - delay_s, 0.0)
        share = np.clip(after / rise_s, 0.0, 1.0) if rise_s else np.ones_like(after)
        return depth_cents * np.sin(np.pi / 2 * share) ** 2 * np.sin(2 * np.pi * rate_hz * after)

    return cents


def drift(cents: float, rate_hz: float, phase_cycles: float) -> Cents:
    """Return the law: cents · sin 2π(rate · age + phase)."""
    return lambda age_s: cents * np.sin(2 * np.pi * (rate_hz * age_s + phase_cycles))


def still(age_s: tones.Samples) -> tones.Samples:
    """Return the law of a note that does not move."""
    return np.zeros_like(age_s)


def line(rate: int, frames: int, hz: float, law: Cents, phase_cycles: float = 0.0) -> tones.Samples:
    """Return a sine of amplitude 1 at `hz`, moved by `law`."""
    age_s = (np.arange(frames * _FINE) + 0.5) / (rate * _FINE)
    cycles = np.concatenate([[0.0], np.cumsum(hz * 2.0 ** (law(age_s) / 1200.0))]) / (rate * _FINE)
    return np.sin(2 * np.pi * (cycles[: frames * _FINE : _FINE] + phase_cycles))


def note(
    rate: int,
    hz: float,
    partials: Sequence[tuple[float, float, Cents]],
    *,
    level_db: float,
    release: int,
    end: int,
    seed: int = 0,
) -> tones.Samples:
    """Return a note of partials (ratio, level dB, law), which start at random phases."""
    random = np.random.default_rng(seed)
    total = sum(
        tones.gain(level_db + db) * line(rate, end, hz * ratio, law, float(random.random()))
        for ratio, db, law in partials
    )
    shaped: tones.Samples = total * tones.envelope(rate, end, 0, release, end)
    return shaped
