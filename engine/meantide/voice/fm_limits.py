"""How far an FM voice is oversampled, and how far its indices may go: control side.

What lies above half of a raised rate folds. Only what comes down into the band of the rate itself
is heard, the rest the decimator takes away: so at `factor` times the rate a spectrum may reach to
`factor` - 1/2 cycles a sample. Where it would reach further, all indices (and feedbacks) are held
down. By how much is tried at pitches an eighth of an octave apart, and kept as a table of colours.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from meantide.voice.course import COLOUR_DB, NEPERS_PER_DB
from meantide.voice.decimator import FACTORS
from meantide.voice.fm_bandwidth import highest_line
from meantide.voice.fm_description import KEY_CENTRE_HZ
from meantide.voice.fm_points import SOURCES
from meantide.voice.kernel import F64
from meantide.voice.prepared import FADE_TO, nyquist_fade

STEPS = 8
"""Pitches in an octave."""
OCTAVES = 11
"""Below half the rate; what is lower is as the lowest."""
PITCHES = OCTAVES * STEPS + 1
LEAST_DB = -120.0
"""Colour at which indices count for nothing."""


@dataclass(frozen=True, slots=True)
class Arrangement:
    """The numbers of a `PreparedFm` that its spectrum depends on."""

    ratios: F64
    following: F64
    phases: F64
    levels: F64
    feedback: F64
    indices: F64
    key_nepers: F64
    known: dict[tuple[float, ...], float] = field(default_factory=dict)
    """Lines found before, so that nothing is tried twice."""

    def fits(self, pitch: float, rate: int, factor: int, colour_db: float) -> bool:
        """Tell whether nothing that counts folds of a note at `pitch` (cycles a sample)."""
        frequencies = np.where(self.following > 0.0, self.ratios * pitch, self.ratios)
        audible = frequencies < FADE_TO * (factor - 0.5)
        levels = np.where(audible, self.levels, 0.0)
        if not levels.any():
            return True
        moves_with_pitch = bool((self.following * self.ratios != self.ratios).any())
        moves_with_pitch |= bool(self.key_nepers.any())
        key = (pitch if moves_with_pitch else 0.0, colour_db, *levels.tolist())
        if key not in self.known:
            octaves = max(math.log2(pitch * rate / KEY_CENTRE_HZ), 0.0)
            amplitudes = np.exp(self.key_nepers * octaves)
            self.known[key] = self._highest(frequencies / pitch, levels, amplitudes, colour_db)
        return self.known[key] * pitch <= factor - 0.5

    def _highest(self, ratios: F64, levels: F64, amplitudes: F64, colour_db: float) -> float:
        scale = math.exp(colour_db * NEPERS_PER_DB)
        used = ratios > 0.0
        return highest_line(
            ratios[used],
            self.phases[used],
            (levels * amplitudes)[used],
            np.clip(self.feedback * amplitudes * scale, -1.0, 1.0)[used],
            self.indices * amplitudes[list(SOURCES)] * scale,
        )


def fitting(
    arrangement: Arrangement, rate: int, highest_hz: float, fullest: float
) -> tuple[int, F64]:
    """Return the least of `FACTORS` that lets a note at `highest_hz` have its colour `fullest`.

    If none does, the greatest. And the table of the highest colours there, in nepers; `limit_at`
    reads it.
    """
    fullest_db = fullest * COLOUR_DB
    pitches = 0.5 * np.exp2(np.arange(PITCHES) / STEPS - OCTAVES)
    above = int(np.searchsorted(pitches, highest_hz / rate, side="right")) + 1
    needed = float(pitches[min(above, PITCHES - 1)])
    factor = next(
        (f for f in FACTORS if arrangement.fits(needed, rate, f, fullest_db)),
        FACTORS[-1],
    )
    limits = np.empty(PITCHES)
    colour_db = fullest_db
    for place, pitch in enumerate(pitches.tolist()):
        fits = partial(arrangement.fits, pitch, rate, factor)
        colour_db = _highest_colour_db(fits, min(colour_db + 1.0, fullest_db))
        limits[place] = colour_db * NEPERS_PER_DB
    # each stands one step too low, so that between two the straight line is no higher than allowed
    return factor, np.append(limits[1:], limits[-1])


def _highest_colour_db(fits: Callable[[float], bool], first_db: float) -> float:
    """Return the highest colour that fits, `first_db` at most, to 1/16 dB.

    That finely because a feedback near 1 needs it: 0.995 reaches half as high as 1.
    """
    if fits(first_db):
        return first_db
    step_db, colour_db = 1.0, first_db - 1.0
    while colour_db > LEAST_DB and not fits(colour_db):
        colour_db -= step_db
    while step_db > 0.0625:
        step_db /= 2.0
        if fits(colour_db + step_db):
            colour_db += step_db
    return colour_db


def limit_at(limits: F64, pitches: F64) -> F64:
    """Return the highest colour, in nepers, at `pitches` (cycles a sample).

    `limits` (.., PITCHES) has a table for each of `pitches` (.., points).
    """
    places = np.clip((np.log2(2.0 * pitches) + OCTAVES) * STEPS, 0.0, PITCHES - 1.001)
    below = places.astype(np.intp)
    low = np.take_along_axis(limits, below, axis=-1)
    high = np.take_along_axis(limits, below + 1, axis=-1)
    limit: F64 = low + (high - low) * (places - below)
    return limit


def operator_fade(frequencies: F64, factors: F64) -> F64:
    """Return the factor, 1 to 0, on operators that themselves come near to where they would fold.

    `frequencies` in cycles a sample, `factors` how many times the rate they are made at.
    """
    fade: F64 = nyquist_fade(frequencies / (2.0 * factors - 1.0)).astype(np.float64)
    return fade
