"""The samples of a cell of an FM note, compiled: its operators, and the decimator.

Phases are float64 until they are reduced. Sines are float32 where that is enough, and float64 where
an operator is moved so far that it is not, and where one is fed back. Loops over the samples are
the innermost; each takes rows of its own, so that its indices are plainly not negative and it
becomes vectors.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_kepler import fed_back_sine, precise_sine
from meantide.voice.compiled_sines import reduced, sine_of_32_bits
from meantide.voice.compiling import inlined
from meantide.voice.decimator import REACH
from meantide.voice.fm_description import MOST_OPERATORS
from meantide.voice.fm_points import FEEDBACK, FREQUENCY, HEARD, INDEX
from meantide.voice.kernel import CELL, F32, F64

Counts = NDArray[np.int64]
NONE, SEVERAL = -1, MOST_OPERATORS
PER_TURN = 1.0 / (2.0 * math.pi)
TAPS_AT_ONCE = 7  # of the decimator's 49
ZERO = np.float32(0.0)
CELLTH, HALF_CELLTH = 1.0 / CELL, 0.5 / CELL
PER_HALF_TURN = 1.0 / math.pi
TO_HALF_TURNS = CELLTH * PER_HALF_TURN
TURN_OF_32_BITS = 2.0**32
MOVE_SHIFT = np.int32(5)
MOVE = 2.0 ** (31 - 5)
"""A half turn as what moves a phase is counted: no more than 32 of them are to be."""
SAMPLES = np.float32(CELL)
PLACES = np.arange(CELL, dtype=np.int32)


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
                sound[b] = fed_back_sine(angles[b], share + share_step * (b + late), True)
        move(begun[HEARD + target], steps[HEARD + target], late, sound, cell)


@inlined
def move(gain: float, step: float, late: float, sound: F64, sums: F64) -> None:
    """Add to `sums` a sound whose gain runs straight; nothing if there is none."""
    if gain != 0.0 or step != 0.0:
        for b in range(CELL):
            sums[b] += (gain + step * (b + late)) * sound[b]


@inlined
def sum_single(
    count: int, sources: Counts, begun: F64, ending: F64, phases: F64, late: float, sounds: F32,
    moves: F32, cell: F32,
) -> None:  # fmt: skip
    """Do as `sum_operators`, in float32 but for what is fed back.

    `sources`: which operator moves each, or NONE or SEVERAL; `moves` (CELL,) is scratch.
    """
    for b in range(CELL):
        cell[b] = ZERO
    for target in range(count):
        rate = begun[FREQUENCY + target]
        bend = (ending[FREQUENCY + target] - rate) * HALF_CELLTH
        # p + t·(r + t·b), t = n + late, is q + n·m + b·n·(n - CELL) in whole samples n
        phase = phases[target] + late * (rate + late * bend)
        first, turn = fixed(phase), fixed(rate + (2.0 * late + CELL) * bend)
        sound, source = sounds[target], sources[target]
        share, share_end = begun[FEEDBACK + target], ending[FEEDBACK + target]
        if share != 0.0 or share_end != 0.0:
            gather(target, begun, ending, late, sounds, moves)
            step = (share_end - share) * CELLTH
            feed_back(
                phase, rate + 2.0 * late * bend, bend, share + step * late, step, moves, sound
            )
        elif source == SEVERAL:
            gather(target, begun, ending, late, sounds, moves)
            move_sines(first, turn, bend, 1.0, 0.0, moves, sound)
        elif source != NONE:
            place = INDEX + target * (target - 1) // 2 + source
            step = (ending[place] - begun[place]) * TO_HALF_TURNS
            gain = begun[place] * PER_HALF_TURN + step * late
            move_sines(first, turn, bend, gain, step, sounds[source], sound)
        elif bend != 0.0:
            move_sines(first, turn, bend, 0.0, 0.0, cell, sound)
        else:
            still_sines(first, turn, sound)
        gain = begun[HEARD + target]
        if gain != 0.0 or ending[HEARD + target] != 0.0:
            step = (ending[HEARD + target] - gain) * CELLTH
            move_single(gain + step * late, step, sound, cell)


@inlined
def fixed(cycles: float) -> Any:
    """Return a phase or its change in 32-bit fixed point, where whole turns fall away unasked."""
    return np.int32(np.int64(cycles * TURN_OF_32_BITS))


@inlined
def still_sines(first: Any, turn: Any, sound: F32) -> None:
    """Write sines that nothing moves."""
    for b in range(CELL):
        sound[b] = sine_of_32_bits(np.int32(first + np.int32(PLACES[b] * turn)))


@inlined
def move_sines(
    first: Any, turn: Any, bend: float, gain: float, step: float, mover: F32, sound: F32
) -> None:
    """Write sines moved by a sound, `gain` and its `step` a sample in half turns."""
    bent, full, rise = (
        np.float32(2.0 * bend * MOVE),
        np.float32(gain * MOVE),
        np.float32(step * MOVE),
    )
    for b in range(CELL):
        t = np.float32(b)
        move = np.int32(bent * (t * (t - SAMPLES)) + (full + rise * t) * mover[b])
        phase = np.int32(first + np.int32(PLACES[b] * turn))
        sound[b] = sine_of_32_bits(np.int32(phase + np.int32(move << MOVE_SHIFT)))


@inlined
def feed_back(
    phase: float, rate: float, bend: float, share: float, step: float, moves: F32, sound: F32
) -> None:
    """Write sines that are fed back and moved, by half turns; what decides them is float64."""
    for b in range(CELL):
        angle = phase + b * (rate + b * bend) + 0.5 * moves[b]
        sound[b] = np.float32(fed_back_sine(angle, share + step * b, False))


@inlined
def gather(target: int, begun: F64, ending: F64, late: float, sounds: F32, moves: F32) -> None:
    """Write the sum of all that moves an operator, in half turns."""
    for b in range(CELL):
        moves[b] = ZERO
    for source in range(target):
        place = INDEX + target * (target - 1) // 2 + source
        if begun[place] != 0.0 or ending[place] != 0.0:
            step = (ending[place] - begun[place]) * TO_HALF_TURNS
            gain = begun[place] * PER_HALF_TURN + step * late
            move_single(gain, step, sounds[source], moves)


@inlined
def move_single(gain: float, step: float, sound: F32, sums: F32) -> None:
    """Add to `sums` a sound whose gain runs straight."""
    first, rise = np.float32(gain), np.float32(step)
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
