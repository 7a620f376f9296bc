"""FM notes compiled: the next samples of all notes of a bank in one call.

Here are the laws of `FmTable`; the samples of a cell are made in `compiled_fm_cells.py`.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_course import colour_at, frequency_at, gain_at, is_restless
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_fm_cells import decimate, sum_operators, sum_single
from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import compiled, inlined
from meantide.voice.decimator import FACTORS, REACH, phase_taps
from meantide.voice.envelope import Stage
from meantide.voice.fm_description import KEY_CENTRE_HZ, MOST_OPERATORS
from meantide.voice.fm_limits import OCTAVES, PITCHES, STEPS
from meantide.voice.fm_operators import MOST_ERRORS
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
            table.points, table.next_points, np.zeros((table.notes, POINT)), table.next_phases,
            table.next_ages, table.used, table.cells, table.fine,
        )  # fmt: skip
        self._taps = taps
        operators = (MOST_OPERATORS, CELL)
        self._wide = (
            np.zeros(MOST_OPERATORS), np.zeros(POINT), np.zeros(operators), np.zeros(CELL),
            np.zeros(CELL),
        )  # fmt: skip
        self._single = (
            np.zeros(operators, np.float32), np.zeros(CELL, np.float32), np.zeros(CELL, np.float32),
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
        read_fm(rows, gains, out, *self._laws, *self._state, self._taps, *self._wide, *self._single)


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
    points: F64, next_points: F64, full_points: F64, next_phases: F64, next_ages: Counts,
    used: Counts, cells: F32, fine: F32,
    taps: F32, numbers: F64, steps: F64, sounds: F64, angles: F64, cell: F64, sounds_32: F32,
    angles_32: F32, cell_32: F32,
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
                begun, ending = points[row], next_points[row]
                for number in range(POINT):
                    begun[number] = ending[number]
                if note.still == 0:
                    write_full(
                        next_ages[row], note, courses[row], answers[row], rate, ratio_goals[row],
                        ratio_slopes[row], following[row], shape_goals[row], shape_slopes[row],
                        limits[row], numbers, full_points[row], ending,
                    )  # fmt: skip
                open_up(
                    next_ages[row], note,
                    envelopes[row * MOST_OPERATORS : (row + 1) * MOST_OPERATORS], silencing,
                    full_points[row], numbers, ending,
                )  # fmt: skip
                for number in range(POINT):
                    steps[number] = (ending[number] - begun[number]) * (1.0 / CELL)
                make_cell(
                    note, begun, steps, next_phases[row], cells[row], fine[row], taps, sounds,
                    angles, cell, sounds_32, angles_32, cell_32,
                )  # fmt: skip
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
def make_cell(
    note: Record, begun: F64, steps: F64, phases: F64, samples: F32, fine: F32, taps: F32,
    sounds: F64, angles: F64, cell: F64, sounds_32: F32, angles_32: F32, cell_32: F32,
) -> None:  # fmt: skip
    """Write the samples of a note's next cell, and move its phases on."""
    for phase in range(note.factor):
        late = phase / note.factor
        if note.precise:
            sum_operators(note.count, begun, steps, phases, late, sounds, angles, cell)
            for b in range(CELL):
                cell_32[b] = cell[b]
        else:
            sum_single(note.count, begun, steps, phases, late, sounds_32, angles_32, cell_32)
        if note.factor > 1:
            keep(note.kept, cell_32, fine[phase])
    if note.factor > 1:
        note.kept = CELL
        decimate(fine[: note.factor], taps[note.factor, : note.factor], cell_32)
    for b in range(CELL):
        samples[b] = cell_32[b]
    for i in range(note.count):
        mean = begun[FREQUENCY + i] + 0.5 * CELL * steps[FREQUENCY + i]
        phases[i] = reduced(phases[i] + mean * CELL)


@inlined
def keep(kept: int, samples: F32, line: F32) -> None:
    """Put new samples of one phase into the decimator, behind what is kept of the past."""
    past = line[kept:]
    for b in range(REACH):
        line[b] = past[b]
    fresh = line[REACH:]
    for b in range(CELL):
        fresh[b] = samples[b]


# -- where a note stands at the end of the next cell ----------------------------------------


@inlined
def write_full(
    age: int, note: Record, course: Record, answers: F64, rate: float, ratio_goals: F64,
    ratio_slopes: F64, following: F64, shape_goals: F64, shape_slopes: F64, limits: F64,
    factors: F64, full: F64, point: F64,
) -> None:  # fmt: skip
    """Write the point of a note `age` samples old with all envelopes open, as `FmTable.points_at`.

    Its frequencies go to `point`. Notes whether anything but envelopes moves on from there, and
    how exact the operators must be.
    """
    pitch = frequency_at(course, answers, age)
    gain = gain_at(course, answers, age)
    colour = colour_at(course, answers, age) * COLOUR_NEPERS
    scale = math.exp(min(colour, limit_at(limits, pitch * note.stretch)))
    octaves = max(math.log2(pitch * rate / KEY_CENTRE_HZ), 0.0)
    ratio_rest = max(note.ratio_arrive - age, 0.0)
    shape_rest = max(note.shape_arrive - age, 0.0)
    highest = 0.5 * (2.0 * note.factor - 1.0)
    precise = False
    for i in range(note.count):
        frequency = ratio_goals[i] * (pitch if following[i] > 0.0 else 1.0)
        if ratio_rest > 0.0:
            frequency *= math.exp(-ratio_slopes[i] * ratio_rest)
        point[FREQUENCY + i] = frequency
        nepers = shape_goals[VELOCITY + i] - shape_slopes[VELOCITY + i] * shape_rest
        nepers += (shape_goals[KEY + i] - shape_slopes[KEY + i] * shape_rest) * octaves
        factors[i] = math.exp(nepers)
        level = shape_goals[LEVEL + i] - shape_slopes[LEVEL + i] * shape_rest
        full[HEARD + i] = level * factors[i] * gain * faded(frequency / highest)
        share = shape_goals[SHARE + i] - shape_slopes[SHARE + i] * shape_rest
        full[FEEDBACK + i] = share * factors[i] * scale
        precise |= share != 0.0 or shape_slopes[SHARE + i] * shape_rest != 0.0
    place = 0
    for target in range(note.count):
        for source in range(target):
            index = shape_goals[DEPTH + place] - shape_slopes[DEPTH + place] * shape_rest
            full[INDEX + place] = index * factors[source] * scale
            place += 1
    # as `errors_of`
    place = 0
    for target in range(note.count):
        errors = 1.0
        for source in range(target):
            errors += full[INDEX + place] * factors[source]
            place += 1
        factors[target] = errors
        precise |= errors > MOST_ERRORS
    note.precise = 1 if precise else 0
    moves = is_restless(course, age) or ratio_rest > 0.0 or shape_rest > 0.0
    note.still = 0 if moves else 1


@inlined
def open_up(
    age: int, note: Record, envelopes: Records, silencing: float, full: F64, amplitudes: F64,
    point: F64,
) -> None:  # fmt: skip
    """Write to `point` the full point, less what the envelopes close at `age` samples."""
    for i in range(note.count):
        amplitude = level_at(envelopes[i], age, silencing)
        amplitudes[i] = amplitude
        point[HEARD + i] = full[HEARD + i] * amplitude
        point[FEEDBACK + i] = min(max(full[FEEDBACK + i] * amplitude, -1.0), 1.0)
    place = 0
    for target in range(note.count):
        for source in range(target):
            point[INDEX + place] = full[INDEX + place] * amplitudes[source]
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
