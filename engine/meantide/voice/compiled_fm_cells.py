"""The samples of a cell of an FM note, compiled: its operators, and the decimator.

Phases are float64 until they are reduced. Sines are float32 where that is enough, and float64 where
an operator is moved so far that it is not, and where one is fed back. Loops over the samples are
the innermost; each takes rows of its own, so that its indices are plainly not negative and it
becomes vectors.
"""

import math

import numpy as np

from meantide.voice.compiled_kepler import fed_back_sine, precise_sine
from meantide.voice.compiled_sines import reduced, sine
from meantide.voice.compiling import inlined
from meantide.voice.decimator import REACH
from meantide.voice.fm_points import FEEDBACK, FREQUENCY, HEARD, INDEX
from meantide.voice.kernel import CELL, F32, F64

PER_TURN = 1.0 / (2.0 * math.pi)
TAPS_AT_ONCE = 7  # of the decimator's 49
ZERO = np.float32(0.0)


@inlined
def sum_operators(
    count: int, begun: F64, steps: F64, phases: F64, late: float, sounds: F64, angles: F64,
    cell: F64,
) -> None:  # fmt: skip
    """Write the sum of a note's operators, at `late` (0 to below 1) after each sample, to `cell`.

    `begun` and `steps`: the point at the cell's start and its change a sample; `phases` those at
    the cell's start; `sounds` (MOST_OPERATORS, CELL) and `angles` (CELL,) are scratch.
    """
    for b in range(CELL):
        cell[b] = 0.0
    for target in range(count):
        rate, bend = begun[FREQUENCY + target], 0.5 * steps[FREQUENCY + target]
        phase = phases[target]
        for b in range(CELL):
            t = b + late
            angles[b] = phase + t * (rate + t * bend)
        for source in range(target):
            place = INDEX + target * (target - 1) // 2 + source
            move(begun[place] * PER_TURN, steps[place] * PER_TURN, late, sounds[source], angles)
        share, share_step = begun[FEEDBACK + target], steps[FEEDBACK + target]
        sound = sounds[target]
        if share == 0.0 and share_step == 0.0:
            for b in range(CELL):
                sound[b] = precise_sine(reduced(angles[b]))
        else:
            for b in range(CELL):
                sound[b] = fed_back_sine(angles[b], share + share_step * (b + late))
        move(begun[HEARD + target], steps[HEARD + target], late, sound, cell)


@inlined
def move(gain: float, step: float, late: float, sound: F64, sums: F64) -> None:
    """Add to `sums` a sound whose gain runs straight; nothing if there is none."""
    if gain != 0.0 or step != 0.0:
        for b in range(CELL):
            sums[b] += (gain + step * (b + late)) * sound[b]


@inlined
def sum_single(
    count: int, begun: F64, steps: F64, phases: F64, late: float, sounds: F32, moves: F32,
    cell: F32,
) -> None:  # fmt: skip
    """Do as `sum_operators`, without feedback, in float32; `moves` (CELL,) is scratch."""
    for b in range(CELL):
        cell[b] = ZERO
    for target in range(count):
        rate, bend = begun[FREQUENCY + target], 0.5 * steps[FREQUENCY + target]
        phase = phases[target]
        moved = False
        for source in range(target):
            place = INDEX + target * (target - 1) // 2 + source
            gain, step = begun[place] * PER_TURN, steps[place] * PER_TURN
            if gain != 0.0 or step != 0.0:
                if not moved:
                    for b in range(CELL):
                        moves[b] = ZERO
                moved = True
                move_single(gain, step, late, sounds[source], moves)
        sound = sounds[target]
        if moved:
            for b in range(CELL):
                t = b + late
                angle = phase + t * (rate + t * bend) + moves[b]
                sound[b] = sine(np.float32(reduced(angle)))
        else:
            for b in range(CELL):
                t = b + late
                sound[b] = sine(np.float32(reduced(phase + t * (rate + t * bend))))
        gain, step = begun[HEARD + target], steps[HEARD + target]
        if gain != 0.0 or step != 0.0:
            move_single(gain, step, late, sound, cell)


@inlined
def move_single(gain: float, step: float, late: float, sound: F32, sums: F32) -> None:
    """Add to `sums` a sound whose gain runs straight."""
    first, rise = np.float32(gain + step * late), np.float32(step)
    for b in range(CELL):
        sums[b] += (first + rise * np.float32(b)) * sound[b]


@inlined
def decimate(fine: F32, taps: F32, cell: F32) -> None:
    """Write a cell from its samples in phases, (factor, REACH + CELL); as `decimator.decimated`."""
    for b in range(CELL):
        cell[b] = ZERO
    for phase in range(len(taps)):
        for group in range((REACH + 1) // TAPS_AT_ONCE):
            last = TAPS_AT_ONCE * group + TAPS_AT_ONCE - 1
            c = taps[phase, TAPS_AT_ONCE * group : last + 1]
            c0, c1, c2, c3, c4, c5, c6 = c[0], c[1], c[2], c[3], c[4], c[5], c[6]
            x = fine[phase, REACH - last :]
            for b in range(CELL):
                cell[b] += (
                    c0 * x[b + 6] + c1 * x[b + 5] + c2 * x[b + 4] + c3 * x[b + 3]
                    + c4 * x[b + 2] + c5 * x[b + 1] + c6 * x[b]
                )  # fmt: skip
