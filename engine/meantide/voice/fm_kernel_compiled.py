"""FM notes compiled: the next samples of all notes of a bank in one call.

Here are the laws of `FmTable`; the samples of a cell are made in `compiled_fm_cells.py`.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_course import colour_at, frequency_at, gain_at
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_fm_cells import decimate, sum_operators
from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import compiled, inlined
from meantide.voice.decimator import FACTORS, REACH, phase_taps
from meantide.voice.envelope import Stage
from meantide.voice.fm_description import KEY_CENTRE_HZ, MOST_OPERATORS
from meantide.voice.fm_limits import OCTAVES, PITCHES, STEPS
from meantide.voice.fm_points import (
    DEPTH,
    FEEDBACK,
    FREQUENCY,
    HEARD,
    INDEX,
    KEY,
    LEVEL,
    POINT,
    SHARE,
    VELOCITY,
)
from meantide.voice.fm_table import COLOUR_NEPERS, FmTable
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.prepared import FADE_FROM, FADE_TO

Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]


class CompiledFmReader:
    """Reads the notes of `table`."""

    def __init__(self, table: FmTable) -> None:
        self._table = table
        factors, wide = FACTORS[-1], REACH + 1
        taps = np.zeros((factors + 1, factors, wide), np.float32)
        for factor in FACTORS[1:]:
            taps[factor, :factor] = phase_taps(factor)
        self._laws = (
            table.records, table.course.records, table.course.answers, table.envelopes.records,
            table.envelopes.silencing_samples, float(table.rate), table.ratio_goals,
            table.ratio_slopes, table.following, table.shape_goals, table.shape_slopes,
            table.limits,
        )  # fmt: skip
        self._state = (
            table.points, table.next_points, table.next_phases, table.next_ages, table.used,
            table.cells, table.fine,
        )  # fmt: skip
        self._scratch = (
            taps, np.zeros(MOST_OPERATORS), np.zeros(POINT), np.zeros((MOST_OPERATORS, CELL)),
            np.zeros(CELL), np.zeros(CELL),
        )  # fmt: skip

    def cut(self, rows: Rows) -> None:
        """Do as `FmTable.cut`."""
        self._table.cut(rows)

    def land(self, rows: Rows) -> None:
        """Do as `FmTable.land`."""
        self._table.land(rows)

    def release(self, rows: Rows, stage: Stage) -> None:
        """Do as `FmTable.release`."""
        self._table.release(rows, stage)

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        read_fm(rows, gains, out, *self._laws, *self._state, *self._scratch)


def warm() -> None:
    """Have all compiled, or fetched from the disk, now: reading no notes is enough."""
    reader = CompiledFmReader(FmTable(1, 48_000))
    out = np.zeros((2, 1), np.float32)
    reader.read(np.zeros(0, np.intp), np.zeros((2, 1), np.float32), out)


@compiled
def read_fm(
    rows: Rows, gains: F32, out: F32,
    notes: Records, courses: Records, answers: F64, envelopes: Records, silencing: float,
    rate: float, ratio_goals: F64, ratio_slopes: F64, following: F64, shape_goals: F64,
    shape_slopes: F64, limits: F64,
    points: F64, next_points: F64, next_phases: F64, next_ages: Counts, used: Counts, cells: F32,
    fine: F32, taps: F32, amplitudes: F64, steps: F64, sounds: F64, angles: F64, cell: F64,
) -> None:  # fmt: skip
    """Do what `Reader.read` says; laws and state are those of `FmTable`, the rest is scratch."""
    channels, length = out.shape
    out[:] = np.float32(0.0)
    for row in rows:
        at = 0
        while at < length:
            if used[row] == CELL:
                note = notes[row]
                used[row], note.skip = note.skip, 0
                next_ages[row] += CELL
                for place in range(points.shape[1]):
                    points[row, place] = next_points[row, place]
                aim(
                    next_ages[row], note, courses[row], answers[row],
                    envelopes[row * MOST_OPERATORS : (row + 1) * MOST_OPERATORS], silencing, rate,
                    ratio_goals[row], ratio_slopes[row], following[row], shape_goals[row],
                    shape_slopes[row], limits[row], amplitudes, next_points[row],
                )  # fmt: skip
                begun = points[row]
                for number in range(POINT):
                    steps[number] = (next_points[row, number] - begun[number]) / CELL
                phases, samples = next_phases[row], cells[row]
                if note.factor == 1:
                    sum_operators(note.count, begun, steps, phases, 0.0, sounds, angles, cell)
                    for b in range(CELL):
                        samples[b] = cell[b]
                else:
                    make_fine(note, begun, steps, phases, fine[row], sounds, angles, cell)
                    decimate(fine[row, : note.factor], taps[note.factor, : note.factor], samples)
                for i in range(note.count):
                    mean = 0.5 * (begun[FREQUENCY + i] + next_points[row, FREQUENCY + i])
                    phases[i] = reduced(phases[i] + mean * CELL)
            first = used[row]
            taken = min(CELL - first, length - at)
            ready = cells[row, first:]
            for channel in range(channels):
                gain, mixed = gains[channel, row], out[channel, at : at + taken]
                for b in range(len(mixed)):
                    mixed[b] += gain * ready[b]
            used[row] += taken
            at += taken


@inlined
def make_fine(
    note: Record, begun: F64, steps: F64, phases: F64, fine: F32, sounds: F64, angles: F64,
    cell: F64,
) -> None:  # fmt: skip
    """Write what goes into the decimator: what is kept of the past, and a cell in phases."""
    for phase in range(note.factor):
        late = phase / note.factor
        sum_operators(note.count, begun, steps, phases, late, sounds, angles, cell)
        line, past = fine[phase], fine[phase, note.kept :]
        for b in range(REACH):
            line[b] = past[b]
        for b in range(CELL):
            line[REACH + b] = cell[b]
    note.kept = CELL


# -- where a note stands at the end of the next cell ----------------------------------------


@inlined
def aim(
    age: int, note: Record, course: Record, answers: F64, envelopes: Records, silencing: float,
    rate: float, ratio_goals: F64, ratio_slopes: F64, following: F64, shape_goals: F64,
    shape_slopes: F64, limits: F64, amplitudes: F64, point: F64,
) -> None:  # fmt: skip
    """Write the point of a note `age` samples old; as `FmTable.points_at`."""
    pitch = frequency_at(course, answers, age)
    gain = gain_at(course, answers, age)
    colour = colour_at(course, answers, age) * COLOUR_NEPERS
    colour = min(colour, limit_at(limits, pitch * note.stretch))
    scale = math.exp(colour) if colour != 0.0 else 1.0
    octaves = max(math.log2(pitch * rate / KEY_CENTRE_HZ), 0.0)
    ratio_rest = max(note.ratio_arrive - age, 0.0)
    shape_rest = max(note.shape_arrive - age, 0.0)
    highest = 0.5 * (2.0 * note.factor - 1.0)
    for i in range(note.count):
        frequency = ratio_goals[i] * (pitch if following[i] > 0.0 else 1.0)
        if ratio_rest > 0.0:
            frequency *= math.exp(-ratio_slopes[i] * ratio_rest)
        point[FREQUENCY + i] = frequency
        nepers = shape_goals[VELOCITY + i] - shape_slopes[VELOCITY + i] * shape_rest
        nepers += (shape_goals[KEY + i] - shape_slopes[KEY + i] * shape_rest) * octaves
        amplitude = level_at(envelopes[i], age, silencing)
        if nepers != 0.0:
            amplitude *= math.exp(nepers)
        amplitudes[i] = amplitude
        level = shape_goals[LEVEL + i] - shape_slopes[LEVEL + i] * shape_rest
        point[HEARD + i] = level * amplitude * gain * faded(frequency / highest)
        share = shape_goals[SHARE + i] - shape_slopes[SHARE + i] * shape_rest
        point[FEEDBACK + i] = min(max(share * amplitude * scale, -1.0), 1.0)
    place = 0
    for target in range(note.count):
        for source in range(target):
            index = shape_goals[DEPTH + place] - shape_slopes[DEPTH + place] * shape_rest
            point[INDEX + place] = index * amplitudes[source] * scale
            place += 1


@inlined
def limit_at(limits: F64, pitch: float) -> float:
    """Return the highest colour, in nepers, at `pitch` (cycles a sample); as `fm_limits`."""
    place = (math.log2(2.0 * pitch) + OCTAVES) * STEPS
    place = min(max(place, 0.0), PITCHES - 1.001)
    below = int(place)
    low, high = limits[below], limits[below + 1]
    return float(low + (high - low) * (place - below))


@inlined
def faded(share: float) -> float:
    """Return the factor on an operator at this share of where it would fold; as `nyquist_fade`."""
    place = (share - FADE_FROM) / (FADE_TO - FADE_FROM)
    if place <= 0.0:
        return 1.0
    return math.cos(0.5 * math.pi * place) ** 2 if place < 1.0 else 0.0
