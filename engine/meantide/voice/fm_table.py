"""The state of FM notes: one row of arrays a note, the same for every kernel.

Events change it here (through `fm.py`); a kernel's reader moves it on in time.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.bank import Strike
from meantide.voice.course import COLOUR_DB, NEPERS_PER_DB, CourseTable
from meantide.voice.decimator import FACTORS, REACH
from meantide.voice.envelope import EnvelopeTable, Stage
from meantide.voice.fm_description import KEY_CENTRE_HZ, MOST_OPERATORS
from meantide.voice.fm_limits import PITCHES, limit_at, operator_fade
from meantide.voice.fm_points import (
    DEPTH,
    FEEDBACK,
    FREQUENCY,
    HEARD,
    INDEX,
    KEY,
    LEVEL,
    POINT,
    SHAPE,
    SHARE,
    SOURCES,
    VELOCITY,
)
from meantide.voice.fm_prepared import FM_NOTE, PreparedFm
from meantide.voice.kernel import CELL, F64, Rows

COLOUR_NEPERS = COLOUR_DB * NEPERS_PER_DB

Ages = NDArray[np.int64]


class FmTable:
    """Room for `notes` FM notes, at one sample rate.

    A point is the state at one moment (`fm_points.py`): `points` are those at the start of the
    current cells, `next_points` at their ends, as are `next_phases` (float64 cycles) and
    `next_ages`. `cells` holds the current cell, of which `used` samples are heard.

    A note that is oversampled is heard DELAY samples after it is made: its ages are those of what
    is made. Its first cell loses so many samples, so that its beginning is on its sample, and what
    an event changes is heard so much later. `fine` holds what goes into the decimator, phase by
    phase: REACH samples of the past and the current cell.
    """

    def __init__(self, notes: int, rate: int) -> None:
        self.notes, self.rate = notes, rate
        self.records = np.zeros(notes, FM_NOTE)
        self.records["kept"] = CELL
        operators = (notes, MOST_OPERATORS)
        self.ratio_goals = np.full(operators, 1.0)  # full, not zeros: every page is touched now
        self.ratio_slopes = np.full(operators, 0.0)
        """Nepers a sample."""
        self.following = np.full(operators, 0.0)
        self.shape_goals = np.full((notes, SHAPE), 0.0)
        self.shape_slopes = np.full((notes, SHAPE), 0.0)
        self.limits = np.full((notes, PITCHES), 0.0)
        self.points = np.full((notes, POINT), 0.0)
        self.next_points = np.full((notes, POINT), 0.0)
        self.next_phases = np.full(operators, 0.0)
        self.next_ages = np.zeros(notes, np.int64)
        self.used = np.full(notes, CELL)
        self.cells = np.full((notes, CELL), 0.0, np.float32)
        self.fine = np.full((notes, FACTORS[-1], REACH + CELL), 0.0, np.float32)
        self.envelopes = EnvelopeTable(notes * MOST_OPERATORS, rate)
        """A row an operator: those of note n from n · MOST_OPERATORS."""
        self.course = CourseTable(notes, rate)

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, prepared: PreparedFm, strike: Strike) -> None:
        """Begin a note of `prepared` in `row`; it is to be landed."""
        self.records[row] = prepared.record
        self.next_ages[row] = 0
        self.used[row] = CELL
        if prepared.factor > 1:
            self.fine[row] = 0.0
        first = row * MOST_OPERATORS
        self.envelopes.records[first : first + prepared.count] = prepared.envelopes
        gain = prepared.voice.note_gain(strike.velocity, strike.hz)
        self.course.start(row, prepared.course, strike, gain)
        self.next_phases[row] = prepared.phases
        self.following[row] = prepared.following
        ratios = prepared.ratios_for(strike.hz, strike.grid)
        self.ratio_goals[row], self.ratio_slopes[row] = ratios, 0.0
        if prepared.follows_scale:
            self.records["stretch"][row] = _stretch(ratios, prepared)
        self.shape_goals[row], self.shape_slopes[row] = self._shape(prepared, strike.velocity), 0.0
        self.limits[row] = prepared.limits
        self.points[row] = self.next_points[row] = 0.0  # all envelopes begin at nothing

    def revoice(self, row: int, prepared: PreparedFm, ratios: F64, samples: int) -> None:
        """Let the note in `row` become one of `prepared` within `samples`; it is cut there."""
        rows, ages = np.array([row]), self.next_ages[[row]]
        standing = self._shapes(rows, ages[:, None])[0, 0]
        velocity = float(self.course.records["velocity"][row])
        goals = self._shape(prepared, velocity)
        self.shape_goals[row] = goals
        self.shape_slopes[row] = (goals - standing) / samples if samples else 0.0
        self.records["shape_arrive"][row] = ages[0] + samples
        # an operator that changes between a ratio and a fixed frequency does so at once
        changed = self.following[row] != prepared.following
        self.following[row] = prepared.following
        self.limits[row] = prepared.limits
        self._give(rows, ages, prepared, samples)
        self.move_ratios(row, prepared, ratios, samples)
        self.ratio_slopes[row, changed] = 0.0

    def move_ratios(self, row: int, prepared: PreparedFm, goals: F64, samples: int) -> None:
        """Let the operators of a note come to the ratios `goals` within `samples`."""
        rows, ages = np.array([row]), self.next_ages[[row]]
        standing = self._ratios(rows, ages[:, None])[0, 0]
        used = goals > 0.0
        ways = np.zeros(MOST_OPERATORS)
        ways[used] = np.log(goals[used] / standing[used])
        self.ratio_slopes[row] = ways / samples if samples else 0.0
        self.ratio_goals[row] = goals
        record = self.records[row]
        record["ratio_arrive"] = ages[0] + samples
        record["stretch"] = max(_stretch(goals, prepared), _stretch(standing, prepared))

    def release(self, rows: Rows, stage: Stage) -> None:
        """Let the notes in `rows` go, by their releases or at once."""
        self.cut(rows)
        self.move_envelopes(rows, stage)

    def move_envelopes(self, rows: Rows, stage: Stage) -> None:
        """Bring all envelopes of the notes in `rows`, which are cut there, to `stage`."""
        ages = np.repeat(self.next_ages[rows], MOST_OPERATORS)
        self.envelopes.move(operator_rows(rows).ravel(), ages, stage)

    def land(self, rows: Rows) -> None:
        """Bring the frequencies of the notes in `rows`, at a cell's end, to what is now law."""
        frequencies = slice(FREQUENCY, FREQUENCY + MOST_OPERATORS)
        pitches = self.course.frequencies(rows, self.next_ages[rows, None])
        ends = self._frequencies(rows, self.next_ages[rows, None], pitches)
        self.next_points[rows, frequencies] = ends[:, 0]
        self.records["still"][rows] = 0

    def cut(self, rows: Rows) -> None:
        """End the current cell of the notes in `rows` where it stands."""
        inside = rows[self.used[rows] < CELL]
        if len(inside) == 0:
            return
        at = self.used[inside]
        standing, ending = self.standing_points(inside), self.next_points[inside]
        frequencies = slice(FREQUENCY, FREQUENCY + MOST_OPERATORS)
        left = (CELL - at)[:, None]
        phases = self.next_phases[inside]
        phases -= 0.5 * (standing[:, frequencies] + ending[:, frequencies]) * left
        self.next_phases[inside] = phases - np.rint(phases)
        self.next_points[inside] = standing
        self.next_ages[inside] += at - CELL
        self.records["kept"][inside] = at
        self.used[inside] = CELL

    # -- what stands ------------------------------------------------------------------------

    def standing_points(self, rows: Rows) -> F64:
        """Return the points (rows, POINT) that the notes in `rows` have come to."""
        start, end = self.points[rows], self.next_points[rows]
        standing: F64 = start + (end - start) * (self.used[rows] / CELL)[:, None]
        return standing

    def settled(self, rows: Rows, ages: Ages) -> NDArray[np.bool_]:
        """Tell which notes have no heard operator that is still to come."""
        several = np.repeat(ages, MOST_OPERATORS)
        settled = self.envelopes.settled(operator_rows(rows).ravel(), several)
        unheard = self.shape_goals[rows, LEVEL : LEVEL + MOST_OPERATORS] == 0.0
        all_settled: NDArray[np.bool_] = (settled.reshape(len(rows), -1) | unheard).all(axis=1)
        return all_settled

    # -- laws -------------------------------------------------------------------------------

    def points_at(self, rows: Rows, ages: Ages) -> F64:
        """Return the points (rows, ages, POINT) of notes at `ages` (rows, ages)."""
        points = np.empty((*ages.shape, POINT))
        course, factors = self.course, self.records["factor"][rows, None, None]
        pitches = course.frequencies(rows, ages)
        frequencies = self._frequencies(rows, ages, pitches)
        shapes = self._shapes(rows, ages)
        octaves = np.maximum(np.log2(pitches * (self.rate / KEY_CENTRE_HZ)), 0.0)
        nepers = shapes[..., VELOCITY:KEY] + shapes[..., KEY:] * octaves[..., None]
        amplitudes = self._envelopes(rows, ages) * np.exp(nepers)
        limits = limit_at(self.limits[rows], pitches * self.records["stretch"][rows, None])
        colours = np.minimum(course.colours(rows, ages) * COLOUR_NEPERS, limits)
        scales = np.exp(colours)[..., None]
        gains = course.gains(rows, ages)[..., None]
        fade = operator_fade(frequencies, factors)
        points[..., FREQUENCY:HEARD] = frequencies
        points[..., HEARD:FEEDBACK] = shapes[..., LEVEL:SHARE] * amplitudes * gains * fade
        feedback = shapes[..., SHARE:DEPTH] * amplitudes * scales
        points[..., FEEDBACK:INDEX] = np.clip(feedback, -1.0, 1.0)
        points[..., INDEX:] = shapes[..., DEPTH:VELOCITY] * amplitudes[..., SOURCES] * scales
        return points

    # -- inside -----------------------------------------------------------------------------

    def _envelopes(self, rows: Rows, ages: Ages) -> F64:
        several = np.repeat(ages, MOST_OPERATORS, axis=0)
        levels = self.envelopes.levels(operator_rows(rows).ravel(), several)
        shaped: F64 = levels.reshape(len(rows), MOST_OPERATORS, -1).transpose(0, 2, 1)
        return shaped

    def _ratios(self, rows: Rows, ages: Ages) -> F64:
        rest = np.maximum(self.records["ratio_arrive"][rows, None] - ages, 0.0)[..., None]
        ratios: F64 = self.ratio_goals[rows, None] * np.exp(-self.ratio_slopes[rows, None] * rest)
        return ratios

    def _frequencies(self, rows: Rows, ages: Ages, pitches: F64) -> F64:
        following = self.following[rows, None] > 0.0
        frequencies: F64 = self._ratios(rows, ages) * np.where(following, pitches[..., None], 1.0)
        return frequencies

    def _shapes(self, rows: Rows, ages: Ages) -> F64:
        rest = np.maximum(self.records["shape_arrive"][rows, None] - ages, 0.0)[..., None]
        shapes: F64 = self.shape_goals[rows, None] - self.shape_slopes[rows, None] * rest
        return shapes

    def _shape(self, prepared: PreparedFm, velocity: float) -> F64:
        """Return the shape of a note struck so: its nepers by velocity are those that it loses."""
        shape = prepared.shape.copy()
        shape[VELOCITY:KEY] *= velocity - 1.0
        return shape

    def _give(self, rows: Rows, ages: Ages | F64, prepared: PreparedFm, samples: int) -> None:
        """Give the notes' course what the voice says of it, within `samples`."""
        voice, course = prepared.voice, self.course
        course.give(rows, ages, voice.vibrato, voice.response, samples)
        course.move_to_level_of(voice, rows, ages, samples)


def operator_rows(rows: Rows) -> Rows:
    """Return the rows of envelopes of the notes in `rows`, (rows, MOST_OPERATORS)."""
    return rows[:, None] * MOST_OPERATORS + np.arange(MOST_OPERATORS)


def _stretch(ratios: F64, prepared: PreparedFm) -> float:
    """Return by how much the highest of `ratios` lies above those that the limits are made for."""
    used = prepared.ratios > 0.0
    return max(1.0, float((ratios[used] / prepared.ratios[used]).max()))
