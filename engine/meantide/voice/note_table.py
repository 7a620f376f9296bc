"""The state of additive notes: one row of arrays a note, the same for every kernel.

Events change it here (through `additive.py`); a kernel's reader moves it on in time.
"""

import math

import numpy as np
from numpy.typing import NDArray

from meantide.voice.bank import Strike
from meantide.voice.breath_noise import BANDS, LENGTH, place_of
from meantide.voice.course import NEPERS_PER_DB, CourseTable
from meantide.voice.description import MOST_FORMANTS
from meantide.voice.envelope import EnvelopeTable
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.prepared import ADDITIVE, PreparedVoice, formant_nepers, nyquist_fade


class NoteTable:
    """Room for `notes` notes of `count` partials each (a padded count), at one sample rate.

    Phases are float64 cycles, increments float64 cycles a sample, amplitudes float32. Each note
    lives on its own grid of cells: `cells` holds its current one, of which `used` samples are
    heard; what is named `next_...` is at that cell's end. Within a cell amplitudes and
    increments run straight from its start to its end.

    A partial's increment and strength at any age follow from laws that only events change
    (`increments_at`, `strengths_at`); its amplitude is its strength times the envelope's level and
    what has become of it by itself (`presences_at`).
    """

    def __init__(self, notes: int, count: int, rate: int) -> None:
        self.notes, self.count, self.rate = notes, count, rate
        shape = (notes, count)
        self.ratio_goals = np.full(shape, 1.0)  # full, not zeros: every page is touched now
        self.ratio_slopes = np.full(shape, 0.0)
        """Nepers a sample, on the way to the goals, which arrive at `ratio_arrive`."""
        self.levels = np.full(shape, 0.0, np.float32)
        self.second_levels = np.full(shape, 0.0, np.float32)
        self.former_levels = np.full(shape, 0.0, np.float32)
        """Levels, shaped by formants, from which a changed voice comes until `former_arrive`."""
        self.decays = np.full(shape, 0.0, np.float32)
        self.rises = np.full(shape, 0.0, np.float32)
        self.drift_rates = np.full(shape, 0.0)
        self.drift_phases = np.full(shape, 0.0)
        self.formants = np.zeros((notes, MOST_FORMANTS, 3))
        self.breath_gains = np.zeros((notes, BANDS), np.float32)
        self.records = np.zeros(notes, ADDITIVE)

        self.increments = np.full(shape, 0.0)
        self.next_increments = np.full(shape, 0.0)
        self.strengths = np.full(shape, 0.0, np.float32)
        """Amplitudes but for the envelope; at the current cell's end."""
        self.next_phases = np.full(shape, 0.0)
        self.amplitudes = np.full(shape, 0.0, np.float32)
        self.next_amplitudes = np.full(shape, 0.0, np.float32)
        self.breaths = np.zeros(notes, np.float32)
        """Amplitudes of the breath; at the current cell's start."""
        self.next_breaths = np.zeros(notes, np.float32)
        self.noise_places = np.zeros(notes, np.int64)
        """Where in the noise the note was at its age 0."""
        self.bounds = np.zeros(notes, np.float32)
        """Sums of a note's amplitudes, which it cannot pass; at the current cell's start."""
        self.next_bounds = np.zeros(notes, np.float32)
        self.next_ages = np.zeros(notes, np.int64)
        self.cells = np.full((notes, CELL), 0.0, np.float32)
        self.used = np.full(notes, CELL)
        self.envelopes = EnvelopeTable(notes, rate)
        self.course = CourseTable(notes, rate)

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, prepared: PreparedVoice, strike: Strike) -> None:
        """Begin a note of `prepared` in `row`; it is to be landed."""
        voice = prepared.voice
        self.next_ages[row] = 0
        self.used[row] = CELL
        self.envelopes.start(row, voice.envelope)
        gain = voice.note_gain(strike.velocity, strike.hz)
        self.course.start(row, prepared.course, strike, gain)
        self._take(row, prepared)
        self.ratio_goals[row] = prepared.ratios_for(strike.hz, strike.grid)
        self.ratio_slopes[row] = 0.0
        self.decays[row] = prepared.decays
        self.rises[row] = prepared.rises
        if prepared.drifts:
            self.drift_phases[row] = prepared.drift_phases_for(strike.seed)
        self.noise_places[row] = place_of(strike.seed)
        self.next_phases[row] = prepared.phases
        self.next_amplitudes[row] = self.amplitudes[row] = 0.0
        self.next_breaths[row] = self.breaths[row] = 0.0
        self.bounds[row] = self.next_bounds[row] = 0.0

    def revoice(self, row: int, prepared: PreparedVoice, ratios: F64, samples: int) -> None:
        """Let the note in `row` become one of `prepared` within `samples`; it is cut there."""
        rows, ages = np.array([row]), self.next_ages[[row]]
        self.former_levels[row] = self._shapes(rows, ages, self.increments_at(rows, ages))[0]
        former = self.records[row].copy()
        drift_rates = self.drift_rates[row].copy()
        self._take(row, prepared)
        record = self.records[row]
        for name in ("ratio_arrive", "decaying", "rising"):
            record[name] = former[name]
        record["former_drift"], record["former_drift_level"] = self._drifts(former, ages[0])
        for name in ("drifting", "breathing"):  # what it was it still is for a while
            record[name] = max(record[name], former[name])
        # each drift goes on where it stands
        self.drift_phases[row] += (drift_rates - self.drift_rates[row]) * ages[0]
        self._give(rows, ages, prepared, samples)
        self.records["former_slope"][row] = 1.0 / max(samples, 1)
        self.records["former_arrive"][row] = ages[0] + samples
        self.move_ratios(row, ratios, samples)

    def move_ratios(self, row: int, goals: F64, samples: int) -> None:
        """Let the partials of a note come to the ratios `goals` within `samples`."""
        rows, ages = np.array([row]), self.next_ages[[row]]
        standing = self._ratios_at(rows, ages)[0]
        self.ratio_slopes[row] = np.log(goals / standing) / samples if samples else 0.0
        self.ratio_goals[row] = goals
        self.records["ratio_arrive"][row] = ages[0] + samples
        self._unsettle(row, ages[0] + samples)

    def land(self, rows: Rows) -> None:
        """Bring the notes in `rows`, which stand at a cell's end, to what their laws say there."""
        ages = self.next_ages[rows]
        self.next_increments[rows] = self.increments_at(rows, ages)
        self.strengths[rows] = self.strengths_at(rows, ages, self.next_increments[rows])

    def cut(self, rows: Rows) -> None:
        """End the current cell of the notes in `rows` where it stands."""
        inside = rows[self.used[rows] < CELL]
        if len(inside) == 0:
            return
        at = self.used[inside]
        self.next_amplitudes[inside] = self.standing_amplitudes(inside)
        self.next_breaths[inside] = self._standing(self.breaths, self.next_breaths, inside)
        self.next_bounds[inside] = self.next_amplitudes[inside].sum(axis=1)
        self.next_bounds[inside] += self.next_breaths[inside]
        begun, ending = self.increments[inside], self.next_increments[inside]
        left = (CELL - at)[:, None]
        standing = ending - (ending - begun) * (left / CELL)
        phases = self.next_phases[inside] - 0.5 * (standing + ending) * left
        self.next_phases[inside] = phases - np.rint(phases)
        self.next_increments[inside] = standing
        self.next_ages[inside] += at - CELL
        self.used[inside] = CELL

    # -- laws -------------------------------------------------------------------------------

    def restless(self, rows: Rows) -> NDArray[np.bool_]:
        """Tell which notes' increments or strengths change after the current cell's end."""
        moving = self.course.restless(rows, self.next_ages[rows])
        restless: NDArray[np.bool_] = moving | (self.records["drifting"][rows] != 0.0)
        return restless

    def increments_at(self, rows: Rows, ages: NDArray[np.int64]) -> F64:
        """Return the increments (rows, partials) at `ages` (rows,)."""
        frequencies = self.course.frequencies(rows, ages[:, None])
        increments = self._ratios_at(rows, ages) * frequencies
        if self.records["drifting"][rows].any():
            drift = self._drifts(self.records[rows], ages)[0][:, None]
            increments *= np.exp(drift * np.sin(self._drift_angles(rows, ages)))
        return increments

    def strengths_at(self, rows: Rows, ages: NDArray[np.int64], increments: F64) -> F32:
        """Return the strengths (rows, partials) at `ages` (rows,), where the increments are so."""
        shapes = self._shapes(rows, ages, increments)
        shapes *= self.course.gains(rows, ages[:, None])
        if self.records["drifting"][rows].any():
            level = self._drifts(self.records[rows], ages)[1][:, None]
            shapes *= np.exp(level * np.cos(self._drift_angles(rows, ages)))
        strengths: F32 = shapes.astype(np.float32) * nyquist_fade(increments)
        return strengths

    def presences_at(self, rows: Rows, ages: NDArray[np.int64]) -> F32 | None:
        """Return how far partials have come and gone by themselves, (rows, points, partials).

        `ages` (rows, points); None if that is all of all.
        """
        records = self.records
        since = ages.astype(np.float32)[:, :, None]
        presences: F32 | None = None
        if records["decaying"][rows].any():
            presences = np.exp(self.decays[rows][:, None] * -since)
        if records["rising"][rows].any():
            rises = self.rises[rows][:, None]
            risen = (1.0 - np.exp(rises * -since)) ** 2
            risen = np.where(rises > 0.0, risen, np.float32(1.0))
            presences = risen if presences is None else presences * risen
        return presences

    def breaths_at(self, rows: Rows, ages: NDArray[np.int64]) -> F64:
        """Return the amplitudes of the breath, but for the envelope, at `ages` (rows, points)."""
        breaths = self.course.gains(rows, ages) * self.course.breaths(rows, ages)
        breaths *= self.records["breathing"][rows, None]
        return breaths

    def noise_at(self, rows: Rows) -> NDArray[np.int64]:
        """Return where in the noise the notes' next cells begin."""
        return (self.noise_places[rows] + self.next_ages[rows]) % LENGTH

    def standing_amplitudes(self, rows: Rows) -> F32:
        """Return the amplitudes at the samples that the notes in `rows` have come to."""
        return self._standing(self.amplitudes, self.next_amplitudes, rows)

    # -- inside -----------------------------------------------------------------------------

    def _standing(self, begun: F32, ending: F32, rows: Rows) -> F32:
        share = (self.used[rows] / CELL).astype(np.float32)
        start, end = begun[rows], ending[rows]
        standing: F32 = start + (end - start) * share.reshape(-1, *[1] * (start.ndim - 1))
        return standing

    def _take(self, row: int, prepared: PreparedVoice) -> None:
        """Take from `prepared` what is of the voice and may change with it."""
        self.levels[row] = prepared.levels
        self.second_levels[row] = prepared.second_levels
        self.formants[row] = prepared.formants
        self.drift_rates[row] = prepared.drift_rates
        self.breath_gains[row] = prepared.breath
        self.records[row] = prepared.record

    def _give(
        self, rows: Rows, ages: NDArray[np.int64] | F64, prepared: PreparedVoice, samples: int
    ) -> None:
        """Give the notes' course what the voice says of it, within `samples`."""
        voice, course = prepared.voice, self.course
        course.give(rows, ages, voice.vibrato, voice.response, samples)
        course.move_to_level_of(voice, rows, ages, samples)
        course.move("colour", rows, ages, voice.colour, samples)
        course.move("breath", rows, ages, voice.breath.level_db * NEPERS_PER_DB, samples)

    def _unsettle(self, row: int, arrive: float) -> None:
        settled = self.course.records["settled"]
        settled[row] = max(settled[row], arrive)

    def _ratios_at(self, rows: Rows, ages: NDArray[np.int64]) -> F64:
        rest = np.maximum(self.records["ratio_arrive"][rows] - ages, 0.0)[:, None]
        ratios: F64 = self.ratio_goals[rows]
        return ratios * np.exp(-self.ratio_slopes[rows] * rest) if rest.any() else ratios

    def _shapes(self, rows: Rows, ages: NDArray[np.int64], increments: F64) -> F64:
        """Return the levels by colour and formants, on the way from those of a former voice."""
        records = self.records
        colours = np.clip(self.course.colours(rows, ages[:, None]), 0.0, 1.0)
        first = self.levels[rows].astype(np.float64)
        shapes: F64 = first + (self.second_levels[rows] - first) * colours
        if records["shaped"][rows].any():
            gains = formant_nepers(self.formants[rows], increments)
            shapes *= np.exp(gains - records["formant_top"][rows, None])
        rest = np.maximum(records["former_arrive"][rows] - ages, 0.0)
        if rest.any():
            share = (rest * records["former_slope"][rows])[:, None]
            shapes += (self.former_levels[rows] - shapes) * share
        return shapes

    def _drifts(
        self, records: NDArray[np.void], ages: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return how far pitch and level drift at `ages`, on the way from a former voice's."""
        share = np.maximum(records["former_arrive"] - ages, 0.0) * records["former_slope"]
        drift, level = records["drift_nepers"], records["drift_level"]
        return (
            drift + (records["former_drift"] - drift) * share,
            level + (records["former_drift_level"] - level) * share,
        )

    def _drift_angles(self, rows: Rows, ages: NDArray[np.int64]) -> F64:
        turns = self.drift_rates[rows] * ages[:, None] + self.drift_phases[rows]
        angles: F64 = (turns - np.floor(turns)) * (2.0 * math.pi)
        return angles
