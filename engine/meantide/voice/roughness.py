"""Roughness: how rough two notes of a voice sound together, at any interval.

The roughness of two sine tones after Plomp and Levelt, JASA 38 (1965) 548, as fitted by Sethares,
JASA 94 (1993) 1218, with the constants of his published program:

    d = a · (5 · e^(−3.51 x) − 5 · e^(−5.75 x)),   x = 0.24 · Δf / (0.0207 · f + 18.96)

with f the lower of the two frequencies and Δf their distance, in Hz. The amplitude law is that
of the program: a = min(a1, a2), the smaller amplitude (an older one takes the product). A sound's
roughness is the sum over all pairs of its partials. The number has no unit.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from meantide.errors import InvalidValue
from meantide.voice.description import AdditiveVoice
from meantide.voice.envelope import check_range

F64 = NDArray[np.float64]

HIGHEST_HZ = 20_000.0
"""Partials that lie above in the lower note are left out: few people hear them."""
LOWEST_BASE_HZ, HIGHEST_BASE_HZ = 10.0, 10_000.0
_INTERVALS_AT_ONCE = 32  # of a curve, in one pass: a few megabytes even of 256 partials
_NEVER_ROUGH = 11.0  # past this x, d is below 1e-16


def pair_roughness(first_hz: F64, second_hz: F64, amplitudes: F64) -> F64:
    """Return the roughness of pairs of sine tones, element by element.

    Frequencies are in Hz, `amplitudes` the smaller of each pair; the shapes broadcast.
    """
    place = np.abs(second_hz - first_hz) * _scale_of(np.minimum(first_hz, second_hz))
    rough: F64 = amplitudes * 5.0 * (np.exp(-3.51 * place) - np.exp(-5.75 * place))
    return rough


def roughness(frequencies_hz: F64, amplitudes: F64) -> float:
    """Return the roughness of one sound: partials in Hz and their amplitudes, shape (n,)."""
    one, other = np.triu_indices(len(frequencies_hz), 1)
    smaller = np.minimum(amplitudes[one], amplitudes[other])
    return float(pair_roughness(frequencies_hz[one], frequencies_hz[other], smaller).sum())


@dataclass(frozen=True, slots=True)
class RoughnessCurve:
    """The roughness of a spectrum sounding at `base_hz` and again at an interval above (or below).

    `ratios` are the partials over the note's pitch and `amplitudes` theirs, the strongest being 1,
    so that voices can be compared whatever their level. Raises InvalidValue.
    """

    ratios: tuple[float, ...]
    amplitudes: tuple[float, ...]
    base_hz: float

    def __post_init__(self) -> None:
        check_range("base", self.base_hz, LOWEST_BASE_HZ, HIGHEST_BASE_HZ)
        if not 1 <= len(self.ratios) == len(self.amplitudes):
            got = f"{len(self.ratios)} ratios, {len(self.amplitudes)} amplitudes"
            raise InvalidValue("partials", got, "at least one, each with an amplitude")

    @classmethod
    def of_voice(cls, voice: AdditiveVoice, base_hz: float) -> Self:
        """Return the curve of a voice's own spectrum against itself, as it sounds at its start.

        Raises InvalidValue if none of its partials is at or below 20 kHz.
        """
        check_range("base", base_hz, LOWEST_BASE_HZ, HIGHEST_BASE_HZ)
        partials = [p for p in voice.sounding_partials() if p.ratio * base_hz <= HIGHEST_HZ]
        if not partials:
            raise InvalidValue("base", base_hz, f"Hz with a partial at or below {HIGHEST_HZ:g} Hz")
        strongest_db = max(p.level_db for p in partials)
        amplitudes = tuple(10.0 ** ((p.level_db - strongest_db) / 20.0) for p in partials)
        return cls(tuple(p.ratio for p in partials), amplitudes, base_hz)

    def at(self, intervals: F64) -> F64:
        """Return the roughness at each frequency ratio in `intervals`, shape (n,), float64."""
        lower_hz, amplitudes = self.base_hz * np.array(self.ratios), np.array(self.amplitudes)
        between = np.minimum.outer(amplitudes, amplitudes)
        one, other = np.triu_indices(len(lower_hz), 1)
        result = np.full(len(intervals), roughness(lower_hz, amplitudes))
        for start in range(0, len(intervals), _INTERVALS_AT_ONCE):
            part = slice(start, start + _INTERVALS_AT_ONCE)
            low, high = intervals[part].min(), intervals[part].max()
            # Pairs across the two notes, and within the upper one, that are near enough.
            i, j = np.nonzero(_may_be_rough(lower_hz[:, None], low * lower_hz, high * lower_hz))
            near = _may_be_rough(low * lower_hz[one], low * lower_hz[other], low * lower_hz[other])
            k, m = one[near], other[near]
            upper_hz = np.multiply.outer(lower_hz, intervals[part])
            across = pair_roughness(lower_hz[i, None], upper_hz[j], between[i, j, None])
            within = pair_roughness(upper_hz[k], upper_hz[m], between[k, m, None])
            result[part] += across.sum(axis=0) + within.sum(axis=0)
        return result

    def coincidences(self, low: float, high: float) -> F64:
        """Return the ratios from `low` to `high` at which partials of the two notes coincide.

        There, and only there, the curve has a corner. Rising, each once, shape (n,).
        """
        ratios = np.array(self.ratios)
        places = np.divide.outer(ratios, ratios).ravel()
        places = np.sort(places[(places >= low) & (places <= high)])
        # The same ratio from other partials (3/2, 6/4) may differ in its last bits.
        apart = np.diff(places, prepend=-math.inf) > 1e-12 * places
        found: F64 = places[apart]
        return found


def _may_be_rough(fixed_hz: F64, low_hz: F64, high_hz: F64) -> NDArray[np.bool_]:
    """Tell which tones at `fixed_hz` are rough with ones somewhere from `low_hz` to `high_hz`.

    The least gap there is, measured by the widest critical band there is.
    """
    gap_hz = np.maximum(np.maximum(low_hz - fixed_hz, fixed_hz - high_hz), 0.0)
    return gap_hz * _scale_of(np.minimum(fixed_hz, high_hz)) < _NEVER_ROUGH


def _scale_of(lower_hz: F64) -> F64:
    """Return what the critical band makes of a distance: x per Hz above a tone."""
    return 0.24 / (0.0207 * lower_hz + 18.96)
