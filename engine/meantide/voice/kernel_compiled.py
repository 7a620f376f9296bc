"""The compiled kernel: the next samples of all notes of a bank in one call.

One call, so that it holds the interpreter lock from end to end, and nothing of a block is left to
Python. A steady cell is eight runs of eight samples, b = 8v + 7/2 + l with l = ±1/2 .. ±7/2. With
the phase θ and the amplitude g of a partial in the middle of run v, ω and d their change a sample,

    (g + d·l) · sin(θ + ωl) = even + odd,    (g - d·l) · sin(θ - ωl) = even - odd,
    even = g sin θ · cos ωl + d cos θ · l sin ωl,
    odd  = g cos θ · sin ωl + d sin θ · l cos ωl,

so two samples of a note are two sums over its partials, of products of what is true of a run and
what is true of the note (its basis): four multiplications a partial for two samples, with nothing
carried from one sample to the next. The runs' phases are reached from the middle of the cell in
the same way. Every angle is reduced in float64 before it becomes float32, and each cell starts
anew from the float64 phase. The basis is made again in each call, as it costs less than to fetch
it. Loops over the partials are the innermost and touch few arrays: only so they become vectors.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiled_sines import cosine, fallen, reduced, sine
from meantide.voice.compiling import Single, compiled, inlined
from meantide.voice.description import FADE_FROM, FADE_TO, MOST_PARTIALS
from meantide.voice.envelope import RELEASE_FLOOR, SIXTY_DB, Stage
from meantide.voice.kernel import CELL, F32, F64, Rows
from meantide.voice.note_table import NoteTable

Records = NDArray[np.void]
Record = Any
Counts = NDArray[np.int64]
Flags = NDArray[np.bool_]

RUNS, HALF_RUN = 8, 4
"""Runs in a cell; samples in half a run."""
ROW = MOST_PARTIALS + 16
"""Numbers in a row of scratch: a power of two would put all rows on the same lines of the cache."""

# Rows of the basis: what is true of a note as long as its frequency stays.
STEP_COS, STEP_SIN = 0, 1  # of ω
RUN_STEP_COS, RUN_STEP_SIN = 2, 3  # of 8ω
WITHIN = 4  # for each of 4 l: cos ωl, sin ωl, l cos ωl, l sin ωl
ACROSS = (
    WITHIN + 4 * HALF_RUN
)  # for each of 4 distances of a run's middle from the cell's: cos, sin
BASIS_ROWS = ACROSS + 2 * RUNS // 2

# Rows of the work: what is true of a cell.
MIDDLE, GOAL, STEP, SIN, COS = 0, 1, 2, 3, 4
OF_RUN = 5  # for each run: g sin θ, g cos θ, d sin θ, d cos θ
WORK_ROWS = OF_RUN + 4 * RUNS

HELD, SILENCED = int(Stage.HELD), int(Stage.SILENCED)
ZERO, HALF, CELLTH = np.float32(0.0), np.float32(0.5), np.float32(1.0 / CELL)
TO_MIDDLE = (CELL - 1) / 2.0
"""Samples from a cell's first to its middle."""
FULLY_DECAYED = -60.0
"""Nepers below which nothing is added to a sustain level in float64."""


class CompiledKernel:
    """The kernel that needs numba; its tables share one scratch."""

    name = "compiled"

    def __init__(self) -> None:
        self._basis = np.zeros(BASIS_ROWS * ROW, np.float32)
        self._work = np.zeros(WORK_ROWS * ROW, np.float32)
        self._travel = np.zeros(CELL + 1)
        self._warm()

    def reader(self, table: NoteTable) -> "CompiledReader":
        """Make ready to read the notes of `table`."""
        return CompiledReader(table, (self._basis, self._work, self._travel))

    def _warm(self) -> None:
        """Have all compiled, or fetched from the disk, now: reading no notes is enough."""
        reader = self.reader(NoteTable(1, 16, 48_000))
        out = np.zeros((2, 1), np.float32)
        reader.read(np.zeros(0, np.intp), np.zeros((2, 1), np.float32), out)


class CompiledReader:
    """Reads the notes of `table`."""

    def __init__(self, table: NoteTable, scratch: tuple[F32, F32, F64]) -> None:
        self._state = (
            table.envelopes.records, table.envelopes.silencing_samples, table.glides.records,
            table.used, table.next_ages, table.decaying, table.ratios, table.levels, table.decays,
            table.strengths, table.increments, table.next_phases, table.amplitudes,
            table.next_amplitudes, table.bounds, table.next_bounds, table.cells,
        )  # fmt: skip
        self._scratch = scratch

    def settle(self, rows: Rows) -> None:
        """Do nothing: a note's basis is made when it is read."""

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
        read_notes(rows, gains, out, *self._state, *self._scratch)


@compiled
def read_notes(
    rows: Rows, gains: F32, out: F32,
    envelopes: Records, silencing: float, glides: Records,
    used: Counts, next_ages: Counts, decaying: Flags, ratios: F64, levels: F32, decays: F32,
    strengths: F32, increments: F64, next_phases: F64, amplitudes: F32, next_amplitudes: F32,
    bounds: F32, next_bounds: F32, cells: F32, basis: F32, work: F32, travel: F64,
) -> None:  # fmt: skip
    """Do what `Reader.read` says; the state is that of `NoteTable`, the rest is scratch."""
    channels, length = out.shape
    out[:] = ZERO
    for row in rows:
        basis_is_made = False
        at = 0
        while at < length:
            if used[row] == CELL:
                used[row] = 0
                next_ages[row] += CELL
                moving = glides[row].left > 0.0
                if moving:
                    move_glide(glides[row], travel)
                    settle(glides[row].now, ratios[row], levels[row], increments[row],
                           strengths[row])  # fmt: skip
                else:
                    glides[row].begun_left = 0.0
                level = level_at(envelopes[row], next_ages[row], silencing)
                age = np.float32(next_ages[row] if decaying[row] else 0)
                aim(np.float32(level), age, strengths[row], decays[row], work)
                bounds[row] = next_bounds[row]
                next_bounds[row] = ramp(amplitudes[row], next_amplitudes[row], work)
                if moving:
                    sum_moving(ratios[row], travel, next_phases[row], work, cells[row])
                else:
                    if not basis_is_made:
                        write_basis(increments[row], basis)
                        basis_is_made = True
                    write_runs(increments[row], next_phases[row], basis, work)
                    sum_runs(increments.shape[1], basis, work, cells[row])
            begun = used[row]
            samples = min(CELL - begun, length - at)
            for channel in range(channels):
                mix(gains[channel, row], cells[row, begun:], out[channel, at : at + samples])
            used[row] += samples
            at += samples


@inlined
def mix(gain: Single, samples: F32, out: F32) -> None:
    """Add as many of `samples` as `out` holds to it."""
    for b in range(len(out)):
        out[b] += gain * samples[b]


# -- where a note stands at the end of the next cell ----------------------------------------


@inlined
def move_glide(glide: Record, travel: F64) -> None:
    """Move a glide on by a cell; write the cycles gone after 0 .. CELL samples into `travel`.

    The law of `GlideTable`, one sample from the last; the samples that are left are whole.
    """
    glide.begun, glide.begun_left = glide.now, glide.left
    growth = math.exp(glide.bend)
    first = glide.now * math.expm1(glide.bend) / glide.bend
    gone = 0.0
    travel[0] = 0.0
    for b in range(1, CELL + 1):
        gone = gone * growth + first if b <= glide.left else gone + glide.goal
        travel[b] = gone
    if glide.left > CELL:
        glide.now *= math.exp(glide.bend * CELL)
        glide.left -= CELL
    else:
        glide.now = glide.goal
        glide.left = 0.0


@inlined
def settle(now: float, ratios: F64, levels: F32, increments: F64, strengths: F32) -> None:
    """Bring a note's partials to the frequency `now` (cycles a sample); as `NoteTable.settle`."""
    for k in range(len(ratios)):
        increments[k] = ratios[k] * now
        place = (increments[k] * 2.0 - FADE_FROM) / (FADE_TO - FADE_FROM)
        if place <= 0.0:
            strengths[k] = levels[k]
        elif place >= 1.0:
            strengths[k] = ZERO
        else:
            strengths[k] = levels[k] * np.float32(math.cos(0.5 * math.pi * place) ** 2)


@inlined
def level_at(envelope: Record, age: int, silencing: float) -> float:
    """Return the level of a note `age` samples old; the laws of `EnvelopeTable`."""
    level: float
    since = age - envelope.stage_age
    if envelope.stage == HELD:
        level = envelope.sustain
        nepers = -SIXTY_DB * max(age - envelope.attack, 0.0) / envelope.decay
        if nepers > FULLY_DECAYED:
            level += (1.0 - level) * math.exp(nepers)
        if age < envelope.attack:
            level *= math.sin(0.5 * math.pi * age / envelope.attack) ** 2
    elif envelope.stage == SILENCED:
        share = min(since / silencing, 1.0)
        level = envelope.stage_level * math.cos(0.5 * math.pi * share) ** 2
        if share >= 1.0:
            level = 0.0
    else:
        left = math.exp(-SIXTY_DB * since / envelope.release) - RELEASE_FLOOR
        level = envelope.stage_level * max(left, 0.0) / (1.0 - RELEASE_FLOOR)
    return level


@inlined
def aim(level: Single, age: Single, strengths: F32, decays: F32, work: F32) -> None:
    """Write the amplitudes that a note's partials have at `age` samples; age 0 if none decays."""
    count = len(strengths)
    if age > ZERO:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k] * fallen(decays[k] * age)
    else:
        for k in range(count):
            work[GOAL * ROW + k] = level * strengths[k]


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


# -- the samples of a cell ------------------------------------------------------------------


@inlined
def sum_moving(ratios: F64, travel: F64, phases: F64, work: F32, cell: F32) -> None:
    """Sum partials whose phases follow the note's `travel`, and move the phases on."""
    cell[:] = ZERO
    for k in range(len(ratios)):
        ratio, phase = ratios[k], phases[k]
        middle, step = work[MIDDLE * ROW + k], work[STEP * ROW + k]
        for b in range(CELL):
            angle = np.float32(reduced(phase + ratio * travel[b]))
            cell[b] += (middle + step * np.float32(b - TO_MIDDLE)) * sine(angle)
        phases[k] = reduced(phase + ratio * travel[CELL])


@inlined
def write_basis(increments: F64, basis: F32) -> None:
    """Write what is true of a note of these frequencies: the turns within a run and to a run."""
    count = len(increments)
    within, across = WITHIN * ROW, ACROSS * ROW
    for k in range(count):
        w = increments[k]
        basis[within + k] = np.float32(0.5 * w)
        basis[across + k] = np.float32(reduced(HALF_RUN * w))
        basis[STEP_COS * ROW + k] = np.float32(reduced(w))
        basis[RUN_STEP_COS * ROW + k] = np.float32(reduced(2 * HALF_RUN * w))
    for first in (within, across, STEP_COS * ROW, RUN_STEP_COS * ROW):
        for k in range(count):
            angle = basis[first + k]
            basis[first + k] = cosine(angle)
            basis[first + ROW + k] = sine(angle)
    for step in range(HALF_RUN - 1):
        turn(basis, within + 4 * step * ROW, 4 * ROW, STEP_COS * ROW, count)
    for step in range(RUNS // 2 - 1):
        turn(basis, across + 2 * step * ROW, 2 * ROW, RUN_STEP_COS * ROW, count)
    for step in range(HALF_RUN):
        distance = np.float32(step + 0.5)
        first = within + 4 * step * ROW
        for k in range(count):
            basis[first + 2 * ROW + k] = distance * basis[first + k]
            basis[first + 3 * ROW + k] = distance * basis[first + ROW + k]


@inlined
def turn(basis: F32, start: int, ahead: int, by: int, count: int) -> None:
    """Write `ahead` of the rows at `start`, which are cos and sin, those of the angle turned."""
    for k in range(count):
        cos, sin = basis[start + k], basis[start + ROW + k]
        cos_by, sin_by = basis[by + k], basis[by + ROW + k]
        basis[start + ahead + k] = cos * cos_by - sin * sin_by
        basis[start + ahead + ROW + k] = sin * cos_by + cos * sin_by


@inlined
def write_runs(increments: F64, phases: F64, basis: F32, work: F32) -> None:
    """Write what is true of each run of a steady cell, and move the phases on."""
    count = len(increments)
    for k in range(count):
        phase, w = phases[k], increments[k]
        work[COS * ROW + k] = np.float32(reduced(phase + w * TO_MIDDLE))
        phases[k] = reduced(phase + w * CELL)
    for k in range(count):
        angle = work[COS * ROW + k]
        work[COS * ROW + k] = cosine(angle)
        work[SIN * ROW + k] = sine(angle)
    for pair in range(RUNS // 2):  # of runs as far after the middle as before it
        distance = np.float32((2 * pair + 1) * HALF_RUN)
        across = (ACROSS + 2 * pair) * ROW
        after = (OF_RUN + 4 * (RUNS // 2 + pair)) * ROW
        before = (OF_RUN + 4 * (RUNS // 2 - 1 - pair)) * ROW
        for k in range(count):
            sin, cos = work[SIN * ROW + k], work[COS * ROW + k]
            middle, step = work[MIDDLE * ROW + k], work[STEP * ROW + k]
            cos_by, sin_by = basis[across + k], basis[across + ROW + k]
            gain = middle + distance * step
            turned_sin, turned_cos = sin * cos_by + cos * sin_by, cos * cos_by - sin * sin_by
            work[after + k] = gain * turned_sin
            work[after + ROW + k] = gain * turned_cos
            work[after + 2 * ROW + k] = step * turned_sin
            work[after + 3 * ROW + k] = step * turned_cos
            gain = middle - distance * step
            turned_sin, turned_cos = sin * cos_by - cos * sin_by, cos * cos_by + sin * sin_by
            work[before + k] = gain * turned_sin
            work[before + ROW + k] = gain * turned_cos
            work[before + 2 * ROW + k] = step * turned_sin
            work[before + 3 * ROW + k] = step * turned_cos


@inlined
def sum_runs(count: int, basis: F32, work: F32, cell: F32) -> None:
    """Sum the partials of a steady cell, two samples of a run at a time: here the time goes.

    The eight sums of a run stay in vector registers while its partials pass.
    """
    within = WITHIN * ROW
    for run in range(RUNS):
        of_run = (OF_RUN + 4 * run) * ROW
        even_0 = even_1 = even_2 = even_3 = ZERO
        odd_0 = odd_1 = odd_2 = odd_3 = ZERO
        for k in range(count):
            g_sin, g_cos = work[of_run + k], work[of_run + ROW + k]
            d_sin, d_cos = work[of_run + 2 * ROW + k], work[of_run + 3 * ROW + k]
            i = within + k
            even_0 += g_sin * basis[i] + d_cos * basis[i + 3 * ROW]
            odd_0 += g_cos * basis[i + ROW] + d_sin * basis[i + 2 * ROW]
            even_1 += g_sin * basis[i + 4 * ROW] + d_cos * basis[i + 7 * ROW]
            odd_1 += g_cos * basis[i + 5 * ROW] + d_sin * basis[i + 6 * ROW]
            even_2 += g_sin * basis[i + 8 * ROW] + d_cos * basis[i + 11 * ROW]
            odd_2 += g_cos * basis[i + 9 * ROW] + d_sin * basis[i + 10 * ROW]
            even_3 += g_sin * basis[i + 12 * ROW] + d_cos * basis[i + 15 * ROW]
            odd_3 += g_cos * basis[i + 13 * ROW] + d_sin * basis[i + 14 * ROW]
        first = 2 * HALF_RUN * run
        cell[first], cell[first + 7] = even_3 - odd_3, even_3 + odd_3
        cell[first + 1], cell[first + 6] = even_2 - odd_2, even_2 + odd_2
        cell[first + 2], cell[first + 5] = even_1 - odd_1, even_1 + odd_1
        cell[first + 3], cell[first + 4] = even_0 - odd_0, even_0 + odd_0
