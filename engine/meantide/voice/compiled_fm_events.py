"""What events do to FM notes, compiled: the cut, the landing and the letting go of `FmTable`.

One call for each, of a microsecond or two, where numpy's many small steps take a hundred.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_course import frequency_at
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_fm_laws import write_frequencies
from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import compiled, inlined
from meantide.voice.fm_description import MOST_OPERATORS
from meantide.voice.fm_points import FREQUENCY
from meantide.voice.kernel import CELL, F64, Rows

Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]


@compiled
def cut_fm(
    rows: Rows, notes: Records, points: F64, next_points: F64, next_phases: F64,
    next_ages: Counts, used: Counts,
) -> None:  # fmt: skip
    """Do as `FmTable.cut`."""
    for row in rows:
        cut_one(row, notes, points, next_points, next_phases, next_ages, used)


@compiled
def land_fm(
    rows: Rows, notes: Records, courses: Records, answers: F64, ratio_goals: F64,
    ratio_slopes: F64, following: F64, next_points: F64, next_ages: Counts,
) -> None:  # fmt: skip
    """Do as `FmTable.land`."""
    for row in rows:
        age = float(next_ages[row])
        write_frequencies(
            age, notes[row], frequency_at(courses[row], answers[row], age), ratio_goals[row],
            ratio_slopes[row], following[row], next_points[row],
        )  # fmt: skip
        notes[row].still = notes[row].runs = 0


@compiled
def release_fm(
    rows: Rows, notes: Records, points: F64, next_points: F64, next_phases: F64,
    next_ages: Counts, used: Counts, envelopes: Records, silencing: float, stage: float,
) -> None:  # fmt: skip
    """Do as `FmTable.release`."""
    for row in rows:
        cut_one(row, notes, points, next_points, next_phases, next_ages, used)
        notes[row].runs = 0
        age = next_ages[row]
        first = row * MOST_OPERATORS
        for operator in range(first, first + MOST_OPERATORS):
            envelopes[operator].stage_level = level_at(envelopes[operator], age, silencing)
            envelopes[operator].stage_age = age
            envelopes[operator].stage = stage


@inlined
def cut_one(
    row: int, notes: Records, points: F64, next_points: F64, next_phases: F64,
    next_ages: Counts, used: Counts,
) -> None:  # fmt: skip
    """End the current cell of the note in `row` where it stands."""
    at = used[row]
    if at < CELL:
        begun, ending, phases = points[row], next_points[row], next_phases[row]
        share, left = at / CELL, 0.5 * (CELL - at)
        for i in range(MOST_OPERATORS):
            end = ending[FREQUENCY + i]
            start = begun[FREQUENCY + i]
            standing = start + (end - start) * share
            phases[i] = reduced(phases[i] - (standing + end) * left)
        for number in range(len(ending)):
            ending[number] = begun[number] + (ending[number] - begun[number]) * share
        next_ages[row] += at - CELL
        notes[row].kept = at
        used[row] = CELL
