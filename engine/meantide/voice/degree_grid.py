"""The degrees of a tuning as plain numbers, for voices whose partials or operators follow them."""

from dataclasses import dataclass

import numpy as np

from meantide.pitch import Tuning
from meantide.voice.kernel import F64


@dataclass(frozen=True, slots=True)
class DegreeGrid:
    """Where a tuning's degrees lie, in octaves above degree 0.

    `zero_hz` is the frequency of degree 0; `octaves` (degrees of a period,), ascending from 0;
    `period` octaves. Methods are safe in the audio callback: a few numbers a partial.
    """

    zero_hz: float
    octaves: F64
    period: float

    @classmethod
    def of(cls, tuning: Tuning) -> "DegreeGrid":
        """Return the grid of `tuning`: control side."""
        scale = tuning.scale
        octaves = np.array([scale.octaves(degree) for degree in range(scale.size)])
        octaves.flags.writeable = False
        return cls(tuning.hz_of_degree(0), octaves, scale.period.octaves)

    def nearest(self, hz: F64) -> F64:
        """Return the degrees nearest to frequencies in `hz`, as whole float64 numbers."""
        above = np.log2(hz / self.zero_hz)
        periods = np.floor(above / self.period)
        within = above - periods * self.period
        size = len(self.octaves)
        after = np.searchsorted(self.octaves, within)  # 0 .. size
        upper = np.where(after < size, self.octaves[np.minimum(after, size - 1)], self.period)
        lower = self.octaves[np.maximum(after - 1, 0)]
        chosen = np.where((after == 0) | (upper - within < within - lower), after, after - 1)
        nearest: F64 = periods * size + chosen
        return nearest

    def hz_of(self, degrees: F64) -> F64:
        """Return the frequencies of whole `degrees`."""
        size = len(self.octaves)
        periods = np.floor(degrees / size)
        within = (degrees - periods * size).astype(np.intp)
        hz: F64 = self.zero_hz * np.exp2(self.octaves[within] + periods * self.period)
        return hz

    def drawn(self, hz: float, ratios: F64, share: float) -> F64:
        """Return `ratios` over a note at `hz`, moved towards the degrees nearest to them.

        `share` (0..1) is how much of that way, in cents; what lies on a degree stays.
        """
        own = hz * ratios
        on_degrees: F64 = self.hz_of(self.nearest(own))
        drawn: F64 = ratios * (on_degrees / own) ** share
        return drawn

    def step(self, hz: float, degrees: int) -> float:
        """Return the ratio by which the degree `degrees` above that nearest to `hz` is higher."""
        here = self.nearest(np.array([hz]))
        ends = self.hz_of(np.append(here, here + degrees))
        return float(ends[1] / ends[0])
