"""FM voices made ready for one sample rate: read-only arrays, built on the control side."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from meantide.pitch import Interval
from meantide.voice.course import NEPERS_PER_DB, CourseTemplate
from meantide.voice.decimator import DELAY
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import EnvelopeTable
from meantide.voice.fm_description import MOST_OPERATORS, DegreesUp, FmVoice, Operator
from meantide.voice.fm_limits import Arrangement, fitting
from meantide.voice.fm_points import MOST_PATHS, path_place
from meantide.voice.kernel import CELL, F64
from meantide.voice.touch import Source

FM_NOTE = np.dtype(
    [(name, np.float64) for name in ("ratio_arrive", "shape_arrive", "stretch")]
    + [(name, np.int64) for name in ("count", "factor", "skip", "kept", "still", "runs", "precise")]
)
"""One FM note: the ages at which its ratios and its shape arrive; by how much its ratios may lie
above those that its limits are for; its operators; how many times the rate it is made at; how many
samples of its next cell are before its beginning; how many of its current cell stay behind it. The
compiled kernel notes in the last three whether only envelopes move, whether they only fall evenly
or stay, and how exact it must be."""


@dataclass(frozen=True, slots=True)
class PreparedFm:
    """A voice made ready for one sample rate: arrays of (MOST_OPERATORS,), read only.

    Operators stand in the voice's `order()`; what is beyond `count` is silent.
    """

    voice: FmVoice
    rate: int
    count: int
    ratios: F64
    """Over the note; of operators that do not follow it, cycles a sample. What the scale gives is
    here as in twelve equal parts of an octave."""
    following: F64
    """1 for operators that follow the note's frequency, else 0."""
    degrees: F64
    """How many degrees up operators lie whose ratios the scale gives; NaN for the others."""
    shape: F64
    """See `fm_points`."""
    phases: F64
    envelopes: NDArray[np.void]
    """As each operator's begins, a record of `EnvelopeTable` for as many as there are."""
    factor: int
    """How many times the rate the voice is made at."""
    limits: F64
    """The colour, in nepers, that keeps aliases down, by pitch; see `fm_limits`."""
    record: NDArray[np.void]
    """An `FM_NOTE` record as its notes begin with."""
    course: CourseTemplate

    @property
    def bank(self) -> tuple[str]:
        """Which notes can share a bank."""
        return ("fm",)

    @property
    def follows_scale(self) -> bool:
        """Tell whether the scale gives any operator's ratio."""
        return not bool(np.isnan(self.degrees).all())

    def ratios_for(self, hz: float, grid: DegreeGrid | None) -> F64:
        """Return the operators' ratios over a note at `hz` in the tuning of `grid`."""
        if grid is None or not self.follows_scale:
            return self.ratios
        ratios = self.ratios.copy()
        for place, degrees in enumerate(self.degrees.tolist()):
            if not math.isnan(degrees):
                ratios[place] = grid.step(hz, int(degrees))
        return ratios

    def is_alike(self, other: "PreparedFm") -> bool:
        """Tell whether a note of one can become one of the other: as many operators, in order."""
        return self.voice.order() == other.voice.order()


@lru_cache(maxsize=64)
def prepare_fm(voice: FmVoice, rate: int) -> PreparedFm:
    """Make `voice` ready for `rate` samples a second: control side, not the audio callback.

    It tries the voice at many pitches, which may take some tenths of a second: so what was made
    ready stays so.
    """
    order = voice.order()
    operators = [voice.operators[number - 1] for number in order]
    places = {number: place for place, number in enumerate(order)}

    def padded(values: list[float], rest: float = 0.0) -> F64:
        array = np.full(MOST_OPERATORS, rest)
        array[: len(values)] = values
        return array

    indices = np.zeros(MOST_PATHS)
    for path in voice.paths:
        indices[path_place(places[path.source], places[path.target])] = path.index
    levels = voice.levels()
    arrangement = Arrangement(
        ratios=padded([_ratio(operator, rate) for operator in operators]),
        following=padded([0.0 if operator.ratio is None else 1.0 for operator in operators]),
        phases=padded([operator.phase for operator in operators]),
        levels=padded([levels[number - 1] for number in order]),
        feedback=padded([operator.feedback for operator in operators]),
        indices=indices,
        key_nepers=padded([operator.key_db * NEPERS_PER_DB for operator in operators]),
    )
    colours = [max(voice.response.of(source).colour, 0.0) for source in Source]
    factor, limits = fitting(arrangement, rate, voice.highest_hz, sum(colours))
    velocity = padded([operator.velocity_db * NEPERS_PER_DB for operator in operators])
    envelopes = EnvelopeTable(len(order), rate)
    for place, operator in enumerate(operators):
        envelopes.start(place, operator.envelope)
    record = np.zeros((), FM_NOTE)
    record["stretch"], record["count"], record["factor"] = 1.0, len(order), factor
    record["skip"], record["kept"] = (DELAY if factor > 1 else 0), CELL
    prepared = PreparedFm(
        voice=voice,
        rate=rate,
        count=len(order),
        ratios=arrangement.ratios,
        following=arrangement.following,
        degrees=padded([_degrees(operator) for operator in operators], math.nan),
        shape=np.concatenate(
            [
                arrangement.levels,
                arrangement.feedback,
                arrangement.indices,
                velocity,
                arrangement.key_nepers,
            ]
        ),
        phases=arrangement.phases,
        envelopes=envelopes.records,
        factor=factor,
        limits=limits,
        record=record,
        course=CourseTemplate.of(voice.vibrato, voice.response, 0.0, rate),
    )
    for name in ("ratios", "following", "degrees", "shape", "phases", "envelopes", "limits"):
        getattr(prepared, name).flags.writeable = False
    return prepared


def _ratio(operator: Operator, rate: int) -> float:
    if operator.hz is not None:
        return operator.hz / rate
    if isinstance(operator.ratio, Interval):
        return operator.ratio.ratio_value
    if isinstance(operator.ratio, DegreesUp):
        return float(2.0 ** (operator.ratio.degrees / 12.0))
    return float(operator.ratio or 1.0)


def _degrees(operator: Operator) -> float:
    return float(operator.ratio.degrees) if isinstance(operator.ratio, DegreesUp) else math.nan
