"""Where a note stands at the end of its next cell, compiled: the laws of `NoteTable`.

One note at one age. Loops over the partials are the innermost and touch few arrays: only so they
become vectors. What decides a phase is float64, what decides a level float32.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_cells import GOAL, MIDDLE, ROW, STEP, TO_MIDDLE, ZERO
from meantide.voice.compiled_course import colour_at, frequency_at, gain_at
from meantide.voice.compiled_sines import (
    ONE,
    QUARTER_TURN,
    cosine,
    exact_sine,
    fallen,
    grown,
    grown_a_little,
    reduced,
    sine_in_quarters,
)
from meantide.voice.compiling import Single, inlined
from meantide.voice.kernel import CELL, F32, F64
from meantide.voice.prepared import FADE_FROM, FADE_TO

Record = Any
Records = NDArray[np.void]

CELLTH = np.float32(1.0 / CELL)
TO_FADE = 1.0 / (FADE_TO - FADE_FROM)


@inlined
def move_increments(
    record: Record, course: Record, answers: F64, age: float, ratio_goals: F64, ratio_slopes: F64,
    drift_rates: F64, drift_phases: F64, increments: F64, next_increments: F64,
) -> float:  # fmt: skip
    """Move the increments on to `age`, the end of the next cell; return the sum of their changes.

    It is exactly 0 where nothing moves the pitch.
    """
    count = len(increments)
    frequency = frequency_at(course, answers, age)
    rest = max(record.ratio_arrive - age, 0.0)
    for k in range(count):
        increments[k] = next_increments[k]
        next_increments[k] = ratio_goals[k] * frequency
    if rest > 0.0:
        for k in range(count):
            next_increments[k] *= grown(-ratio_slopes[k] * rest)
    share = max(record.former_arrive - age, 0.0) * record.former_slope
    drift = record.drift_nepers + (record.former_drift - record.drift_nepers) * share
    if drift != 0.0:
        for k in range(count):
            turns = reduced(drift_rates[k] * age + drift_phases[k])
            next_increments[k] *= grown_a_little(drift * exact_sine(turns))
    change = 0.0
    for k in range(count):
        change += abs(next_increments[k] - increments[k])
    return change


@inlined
def move_strengths(
    record: Record, course: Record, answers: F64, age: float, levels: F32, second_levels: F32,
    former_levels: F32, formants: F64, drift_rates: F64, drift_phases: F64, increments: F64,
    strengths: F32, work: F32,
) -> None:  # fmt: skip
    """Bring the strengths to `age`, where the partials' increments are `increments`."""
    count = len(strengths)
    colour = np.float32(min(max(colour_at(course, answers, age), 0.0), 1.0))
    gain = gain_at(course, answers, age)
    for k in range(count):
        strengths[k] = levels[k] + (second_levels[k] - levels[k]) * colour
    if record.shaped != 0.0:
        shape(formants, np.float32(record.formant_top), increments, strengths, work)
    rest = record.former_arrive - age
    if rest > 0.0:
        share = np.float32(rest * record.former_slope)
        for k in range(count):
            strengths[k] += (former_levels[k] - strengths[k]) * share
    drift = record.drift_level
    if rest > 0.0:
        drift += (record.former_drift_level - drift) * rest * record.former_slope
    if drift != 0.0:
        level = np.float32(drift)
        gain *= math.exp(drift)  # from the highest point it only falls
        for k in range(count):
            turns = np.float32(reduced(drift_rates[k] * age + drift_phases[k]))
            strengths[k] *= fallen(level - level * cosine(turns))
    factor = np.float32(gain)
    for k in range(count):
        place = np.float32((increments[k] * 2.0 - FADE_FROM) * TO_FADE)
        place = min(max(place, ZERO), ONE)
        fade = sine_in_quarters(QUARTER_TURN - QUARTER_TURN * place)
        strengths[k] *= factor * fade * fade


@inlined
def shape(formants: F64, top: Single, increments: F64, strengths: F32, work: F32) -> None:
    """Let formants shape the strengths; see `formant_nepers`."""
    count = len(strengths)
    for k in range(count):
        work[GOAL * ROW + k] = top
    for formant in range(len(formants)):
        place, by_half_width = formants[formant, 0], formants[formant, 1]
        gain = np.float32(formants[formant, 2])
        if gain != ZERO:
            for k in range(count):
                off = np.float32((increments[k] - place) * by_half_width)
                work[GOAL * ROW + k] -= gain / (ONE + off * off)
    for k in range(count):
        strengths[k] *= fallen(work[GOAL * ROW + k])


@inlined
def aim(
    record: Record, level: Single, age: Single, strengths: F32, decays: F32, rises: F32, work: F32
) -> None:
    """Write the amplitudes of a note's partials at `age` samples, its envelope at `level`."""
    count = len(strengths)
    if record.decaying != 0.0:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k] * fallen(decays[k] * age)
    else:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k]
    if record.rising != 0.0:
        for k in range(count):
            risen = ONE - fallen(rises[k] * age) if rises[k] > ZERO else ONE
            work[GOAL * ROW + k] *= risen * risen


@inlined
def ramp(amplitudes: F32, next_amplitudes: F32, work: F32) -> Single:
    """Begin a cell whose amplitudes run straight from where they stand to what is aimed at.

    Returns the sum of the latter.
    """
    bound = ZERO
    for k in range(len(amplitudes)):
        start, goal = next_amplitudes[k], work[GOAL * ROW + k]
        amplitudes[k] = start
        next_amplitudes[k] = goal
        step = (goal - start) * CELLTH
        work[STEP * ROW + k] = step
        work[MIDDLE * ROW + k] = start + step * np.float32(TO_MIDDLE)
        bound += goal
    return bound
