"""Where an FM note stands at the end of its next cell, compiled: the laws of `FmTable`.

One note at one age, all in float64.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_course import colour_at, frequency_at, gain_at, is_restless
from meantide.voice.compiled_envelope import level_at, runs_from
from meantide.voice.compiled_fm_cells import NONE, SEVERAL
from meantide.voice.compiling import inlined
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
    SHARE,
    VELOCITY,
)
from meantide.voice.fm_table import COLOUR_NEPERS
from meantide.voice.kernel import CELL, F64
from meantide.voice.prepared import FADE_FROM, FADE_TO

LEAST_SLOPE = 1e-3
"""Of E - β·sin E; where there is less, single precision does not do at all."""
LEAST_REST = 1e-26
"""Of an envelope's fall; less than that makes no difference to a level in float64."""
Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]


@inlined
def write_full(
    age: int, note: Record, course: Record, answers: F64, rate: float, ratio_goals: F64,
    ratio_slopes: F64, following: F64, shape_goals: F64, shape_slopes: F64, limits: F64,
    factors: F64, full: F64, point: F64, sources: Counts,
) -> None:  # fmt: skip
    """Write the point of a note `age` samples old with all envelopes open, as `FmTable.points_at`.

    Its frequencies go to `point`. Notes whether anything but envelopes moves on from there, and
    how exact the operators must be, and in `sources` what moves each from here on.
    """
    for number in range(len(full)):  # a former note of this row may have had more operators
        full[number] = 0.0
    pitch = frequency_at(course, answers, age)
    gain = gain_at(course, answers, age)
    colour = colour_at(course, answers, age) * COLOUR_NEPERS
    scale = math.exp(min(colour, limit_at(limits, pitch * note.stretch)))
    octaves = max(math.log2(pitch * rate / KEY_CENTRE_HZ), 0.0)
    shape_rest = max(note.shape_arrive - age, 0.0)
    highest = 0.5 * (2.0 * note.factor - 1.0)
    precise = False
    write_frequencies(age, note, pitch, ratio_goals, ratio_slopes, following, point)
    for i in range(note.count):
        nepers = shape_goals[VELOCITY + i] - shape_slopes[VELOCITY + i] * shape_rest
        nepers += (shape_goals[KEY + i] - shape_slopes[KEY + i] * shape_rest) * octaves
        factors[i] = math.exp(nepers)
        level = shape_goals[LEVEL + i] - shape_slopes[LEVEL + i] * shape_rest
        full[HEARD + i] = level * factors[i] * gain * faded(point[FREQUENCY + i] / highest)
        share = shape_goals[SHARE + i] - shape_slopes[SHARE + i] * shape_rest
        full[FEEDBACK + i] = share * factors[i] * scale
    place = 0
    for target in range(note.count):
        for source in range(target):
            index = shape_goals[DEPTH + place] - shape_slopes[DEPTH + place] * shape_rest
            full[INDEX + place] = index * factors[source] * scale
            place += 1
    # as `errors_of`; feedback, itself exact, makes what an operator is moved by count more
    place = 0
    for target in range(note.count):
        moved, movers = 0.0, 0
        sources[target] = NONE
        for source in range(target):
            if full[INDEX + place] != 0.0 or point[INDEX + place] != 0.0:
                movers += 1
                sources[target] = source if movers == 1 else SEVERAL
            moved += full[INDEX + place] * factors[source]
            place += 1
        errors = 1.0 + moved / max(1.0 - abs(full[FEEDBACK + target]), LEAST_SLOPE)
        factors[target] = errors
        precise |= errors > MOST_ERRORS
    # what falls from where single precision would not do is made exactly until it has fallen
    note.precise = 2 if precise else note.precise // 2
    moves = is_restless(course, age) or note.ratio_arrive > age or shape_rest > 0.0
    note.still = 0 if moves else 1


@inlined
def write_frequencies(
    age: float, note: Record, pitch: float, ratio_goals: F64, ratio_slopes: F64, following: F64,
    point: F64,
) -> None:  # fmt: skip
    """Write the frequencies of a note's operators at `age`, when it is at `pitch`, to `point`."""
    rest = max(note.ratio_arrive - age, 0.0)
    for i in range(note.count):
        frequency = ratio_goals[i] * (pitch if following[i] > 0.0 else 1.0)
        if rest > 0.0:
            frequency *= math.exp(-ratio_slopes[i] * rest)
        point[FREQUENCY + i] = frequency


@inlined
def open_up(
    age: int, note: Record, envelopes: Records, silencing: float, run: F64, sources: Counts,
    full: F64, amplitudes: F64, point: F64,
) -> None:  # fmt: skip
    """Write to `point` the full point, less what the envelopes close at `age` samples."""
    if note.runs:
        bases, rests, factors = run[0], run[1], run[2]
        for i in range(MOST_OPERATORS):
            rest = rests[i] * factors[i] if rests[i] > LEAST_REST else 0.0
            rests[i] = rest
            amplitudes[i] = max(bases[i] + rest, 0.0)
    else:
        note.runs = 1
        for i in range(note.count):
            amplitudes[i] = level_at(envelopes[i], age, silencing)
            if not runs_from(envelopes[i], age, silencing, CELL, run[:, i]):
                note.runs = 0
    for i in range(MOST_OPERATORS):  # all, so that they become vectors
        amplitude = amplitudes[i]
        point[HEARD + i] = full[HEARD + i] * amplitude
        point[FEEDBACK + i] = min(max(full[FEEDBACK + i] * amplitude, -1.0), 1.0)
    for target in range(note.count):  # where no path leads, all is nothing and stays so
        place = INDEX + target * (target - 1) // 2
        if sources[target] == SEVERAL:
            for source in range(target):
                point[place + source] = full[place + source] * amplitudes[source]
        elif sources[target] != NONE:
            source = sources[target]
            point[place + source] = full[place + source] * amplitudes[source]


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
