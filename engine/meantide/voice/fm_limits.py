"""How far an FM voice is oversampled, and how far its indices may go: control side.

What lies above half of a raised rate folds. Only what comes down into the band of the rate itself
is heard, the rest the decimator takes away: so at `factor` times the rate a spectrum may reach to
`factor` - 1/2 cycles a sample. Where it would reach further, all indices (and feedbacks) are held
down. By how much is tried at pitches a quarter of an octave apart, and kept as a table of colours.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from meantide.voice.course import COLOUR_DB, NEPERS_PER_DB
from meantide.voice.decimator import FACTORS
from meantide.voice.fm_bandwidth import reaches
from meantide.voice.fm_description import KEY_CENTRE_HZ
from meantide.voice.fm_points import SOURCES
from meantide.voice.kernel import F64
from meantide.voice.prepared import FADE_TO, nyquist_fade

STEPS = 4
"""Pitches in an octave."""
OCTAVES = 8
"""Below half the rate (94 Hz at 48 kHz); what is lower is as the lowest."""
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

    def fits(self, pitch: float, rate: int, factor: int, colour_db: float) -> bool:
        """Tell whether nothing that counts folds of a note at `pitch` (cycles a sample)."""
        used = self.ratios > 0.0
        frequencies = np.where(self.following > 0.0, self.ratios * pitch, self.ratios)[used]
        highest = factor - 0.5
        octaves = max(math.log2(pitch * rate / KEY_CENTRE_HZ), 0.0)
        amplitudes = np.exp(self.key_nepers * octaves)
        heard = np.where(frequencies < FADE_TO * highest, (self.levels * amplitudes)[used], 0.0)
        if not heard.any():
            return False  # so that the way to where something is leads up
        scale = math.exp(colour_db * NEPERS_PER_DB)
        return not reaches(
            highest / pitch,
            frequencies / pitch,
            self.phases[used],
            heard,
            np.clip(self.feedback * amplitudes * scale, -1.0, 1.0)[used],
            self.indices * amplitudes[list(SOURCES)] * scale,
        )

    def all_sound_below(self, factor: int) -> float:
        """Return the pitch under which no operator that follows it is too high to be heard."""
        ratios = np.where((self.levels > 0.0) & (self.following > 0.0), self.ratios, 0.0)
        return FADE_TO * (factor - 0.5) / max(float(ratios.max()), 1e-9)


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
    limits = np.full(PITCHES, fullest_db * NEPERS_PER_DB)
    colour_db = LEAST_DB
    for place in range(PITCHES - 1, -1, -1):
        fits = partial(arrangement.fits, float(pitches[place]), rate, factor)
        colour_db = _highest_colour_db(fits, colour_db, fullest_db)
        limits[place] = colour_db * NEPERS_PER_DB
        if colour_db == fullest_db and pitches[place] < arrangement.all_sound_below(factor):
            break  # and so at all that are lower
    # each stands one step too low, so that between two the straight line is no higher than allowed
    return factor, np.append(limits[1:], limits[-1])


def _highest_colour_db(fits: Callable[[float], bool], low_db: float, high_db: float) -> float:
    """Return the highest colour up to `high_db` that fits, looked for from `low_db` on.

    To 1/8 dB: that finely because a feedback near 1 needs it, of which 0.99 reaches half as high.
    """
    if fits(high_db):
        return high_db
    if not fits(low_db):  # an operator that is silent higher up is heard here
        low_db = LEAST_DB
    step_db = 1.0
    while low_db + step_db < high_db and fits(low_db + step_db):
        low_db += step_db
        step_db *= 2.0
    while step_db > 0.125:
        step_db /= 2.0
        if low_db + step_db < high_db and fits(low_db + step_db):
            low_db += step_db
    return low_db


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
