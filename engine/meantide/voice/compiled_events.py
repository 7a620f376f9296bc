"""What events do to notes, compiled: the cut, the landing and the letting go of `NoteTable`.

One call for each, of a microsecond or two, where numpy's many small steps take a hundred.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_cells import ZERO
from meantide.voice.compiled_envelope import level_at
from meantide.voice.compiled_laws import CELLTH, Records, move_increments, move_strengths
from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import Single, compiled, inlined
from meantide.voice.kernel import CELL, F32, F64, Rows

Counts = NDArray[np.int64]


@compiled
def cut_notes(
    rows: Rows, increments: F64, next_increments: F64, next_phases: F64, amplitudes: F32,
    next_amplitudes: F32, breaths: F32, next_breaths: F32, next_bounds: F32, next_ages: Counts,
    used: Counts,
) -> None:  # fmt: skip
    """Do as `NoteTable.cut`."""
    for row in rows:
        at = used[row]
        if at < CELL:
            share = np.float32(at) * CELLTH
            next_breaths[row] = breaths[row] + (next_breaths[row] - breaths[row]) * share
            next_bounds[row] = next_breaths[row] + stop(
                amplitudes[row], next_amplitudes[row], share
            )
            turn_back(increments[row], next_increments[row], next_phases[row], float(CELL - at))
            next_ages[row] += at - CELL
            used[row] = CELL


@inlined
def stop(amplitudes: F32, next_amplitudes: F32, share: Single) -> Single:
    """Let amplitudes end a cell after a share of it; return their sum."""
    bound = ZERO
    for k in range(len(amplitudes)):
        standing = amplitudes[k] + (next_amplitudes[k] - amplitudes[k]) * share
        next_amplitudes[k] = standing
        bound += standing
    return bound


@inlined
def turn_back(increments: F64, next_increments: F64, next_phases: F64, left: float) -> None:
    """Take phases and increments back by `left` samples from a cell's end."""
    for k in range(len(increments)):
        ending = next_increments[k]
        standing = ending - (ending - increments[k]) * (left / CELL)
        next_phases[k] = reduced(next_phases[k] - 0.5 * (standing + ending) * left)
        next_increments[k] = standing


@compiled
def move_envelopes(
    rows: Rows, next_ages: Counts, envelopes: Records, silencing: float, stage: float
) -> None:
    """Do as `EnvelopeTable.move`."""
    for row in rows:
        age = next_ages[row]
        envelopes[row].stage_level = level_at(envelopes[row], age, silencing)
        envelopes[row].stage_age = age
        envelopes[row].stage = stage


@compiled
def land_notes(
    rows: Rows, records: Records, courses: Records, answers: F64, ratio_goals: F64,
    ratio_slopes: F64, levels: F32, second_levels: F32, former_levels: F32, drift_rates: F64,
    drift_phases: F64, formants: F64, increments: F64, next_increments: F64, strengths: F32,
    next_ages: Counts, work: F32,
) -> None:  # fmt: skip
    """Do as `NoteTable.land`."""
    for row in rows:
        age = float(next_ages[row])
        move_increments(
            records[row], courses[row], answers[row], age, ratio_goals[row], ratio_slopes[row],
            drift_rates[row], drift_phases[row], increments[row], next_increments[row],
        )  # fmt: skip
        move_strengths(
            records[row], courses[row], answers[row], age, levels[row], second_levels[row],
            former_levels[row], formants[row], drift_rates[row], drift_phases[row],
            next_increments[row], strengths[row], work,
        )  # fmt: skip
