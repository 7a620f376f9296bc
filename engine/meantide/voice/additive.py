"""A bank of additive notes: what each note's partials are doing now, and their samples.

Each note lives on its own grid of cells, begun at its first sample and begun anew at every
event that touches it. Where a block starts or ends never matters: samples of a cell that a block
does not need yet wait in `_cells`. An event in the middle of a cell cuts it: phases and
amplitudes are taken where they stand at that sample, and a new cell starts there, so nothing
jumps and nothing depends on whether the event was known before.
"""

import numpy as np
from numpy.typing import NDArray

from meantide.voice.description import PreparedVoice, nyquist_fade
from meantide.voice.envelope import EnvelopeTable, Stage
from meantide.voice.glide import GlideTable
from meantide.voice.kernel import (
    BASIS_LIMIT,
    CELL,
    F32,
    F64,
    MOVING_LIMIT,
    STEADY_LIMIT,
    NumpyKernel,
)

LONGEST_READ = 8192
"""Samples in one `read`."""
INAUDIBLE = 1e-6
"""A settled note whose loudest partial is below this (-120 dBFS) is over."""
ROWS_LIMIT = 4096
"""Partials in one pass over the notes, so that what is gathered stays in the cache."""

Rows = NDArray[np.intp]


class AdditiveBank:
    """Up to `notes` notes of `count` partials each (a padded count), at one sample rate.

    Rows are numbered 0 .. notes-1; whoever owns the bank says which are in use. Nothing is
    allocated after construction but small temporaries of a few numbers a note.
    """

    def __init__(self, notes: int, count: int, rate: int, kernel: NumpyKernel) -> None:
        self.notes, self.count, self.rate = notes, count, rate
        self._kernel = kernel
        shape = (notes, count)
        self._ratios = np.ones(shape)
        self._levels = np.zeros(shape, np.float32)
        self._decays = np.zeros(shape, np.float32)
        self._decaying = np.zeros(notes, np.bool_)
        self._fades = np.zeros(shape, np.float32)
        self._increments = np.zeros(shape)
        self._basis = np.ones((notes, 2 * count, CELL), np.float32)  # ones: every page touched
        self._envelopes = EnvelopeTable(notes, rate)
        # The current cell: how it began, and where the next one begins.
        self._cells = np.zeros((notes, CELL), np.float32)
        self._used = np.full(notes, CELL)
        self._phases = np.zeros(shape)
        self._next_phases = np.zeros(shape)
        self._amplitudes = np.zeros(shape, np.float32)
        self._next_amplitudes = np.zeros(shape, np.float32)
        self._next_ages = np.zeros(notes, np.int64)
        self._pitch = GlideTable(notes)
        self._allocate_scratch()

    def _allocate_scratch(self) -> None:
        rows, count = max(1, ROWS_LIMIT // self.count), self.count
        self._gathered_basis = np.ones((rows, 2 * count, CELL), np.float32)
        self._cell_phases = np.zeros(STEADY_LIMIT)
        self._fallen = np.zeros(STEADY_LIMIT, np.float32)
        self._cell_amplitudes = np.zeros(STEADY_LIMIT + ROWS_LIMIT, np.float32)
        self._strips = np.zeros((STEADY_LIMIT + ROWS_LIMIT) // self.count * CELL, np.float32)

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, prepared: PreparedVoice, hz: float, gain: float) -> None:
        """Begin a note of `prepared` at `hz` in `row`, its level times `gain` (0..1)."""
        self._ratios[row] = prepared.ratios
        self._levels[row] = prepared.levels
        self._levels[row] *= np.float32(gain)
        self._decays[row] = prepared.decays
        self._decaying[row] = prepared.decays.any()
        self._next_phases[row] = prepared.phases
        self._next_amplitudes[row] = 0.0
        self._amplitudes[row] = 0.0
        self._used[row] = CELL
        self._next_ages[row] = 0
        self._envelopes.start(row, prepared.voice.envelope)
        rows = np.array([row])
        self._pitch.hold(rows, np.array([hz / self.rate]))
        self._settle_frequencies(rows)

    def release(self, rows: Rows, stage: Stage = Stage.RELEASED) -> None:
        """Let the notes in `rows` go from this sample on, by their release or at once."""
        self._cut(rows)
        self._envelopes.move(rows, self._next_ages[rows], stage)

    def retune(self, rows: Rows, hz: F64, glide_samples: int) -> None:
        """Bring the notes in `rows` to `hz` (one each), linear in cents over `glide_samples`."""
        self._cut(rows)
        if glide_samples > 0:
            self._pitch.glide(rows, hz / self.rate, glide_samples)
        else:
            self._pitch.hold(rows, hz / self.rate)
            self._settle_frequencies(rows)

    def gone(self, rows: Rows) -> NDArray[np.bool_]:
        """Tell which of the notes in `rows` are over and silent."""
        at_end = (self._used[rows] >= CELL)[:, None]
        standing = np.where(at_end, self._next_amplitudes[rows], self._amplitudes[rows])
        ages = self._next_ages[rows] - np.where(at_end[:, 0], 0, CELL)
        silent: NDArray[np.bool_] = standing.max(axis=1) < INAUDIBLE
        return silent & self._envelopes.settled(rows, ages)

    def loudness(self, rows: Rows) -> F32:
        """Return the power that each note in `rows` stands at, or is rising to in its attack."""
        ages = self._next_ages[rows] - CELL + self._used[rows]
        rising = ~self._envelopes.settled(rows, ages)[:, None]
        standing = np.where(rising, self._levels[rows], self._standing_amplitudes(rows))
        power: F32 = np.einsum("rk,rk->r", standing, standing)
        return power

    def hz(self, row: int) -> float:
        """Return the frequency that the note in `row` is at or gliding to."""
        return float(self._pitch.goal[row]) * self.rate

    # -- samples ----------------------------------------------------------------------------

    def read(self, rows: Rows, out: F32) -> None:
        """Write the next samples of the notes in `rows` (ascending) into `out` (rows, samples).

        At most LONGEST_READ samples.
        """
        length, at = out.shape[1], 0
        while at < length:
            moving = self._pitch.left[rows] > 0
            upto = min(at + CELL, length) if moving.any() else length
            self._read_piece(rows, out[:, at:upto])
            at = upto

    def _read_piece(self, rows: Rows, out: F32) -> None:
        """Read samples over which no note changes between moving and steady but at cell ends."""
        length = out.shape[1]
        used = self._used[rows]
        wanted = -(-(used + length - CELL) // CELL)  # cells still to be made, 0 or more
        left = used + length - wanted * CELL
        cells = int(wanted.max())
        rows_at_once = self._pass_size(cells)
        for first in range(0, len(rows), rows_at_once):
            some = slice(first, min(first + rows_at_once, len(rows)))
            strip = self._strip_of(rows[some], wanted[some], cells)
            _shift_rows(strip, used[some], out[some])
        self._used[rows] = left

    def _pass_size(self, cells: int) -> int:
        per_note = self.count * max(1, cells)
        return max(1, min(ROWS_LIMIT // self.count, STEADY_LIMIT // per_note))

    def _strip_of(self, rows: Rows, wanted: NDArray[np.intp], cells: int) -> F32:
        """Return each note's current cell followed by `cells` new ones, (rows, samples).

        A note that wants one cell less than the others keeps its state as of that cell.
        """
        size = len(rows) * CELL * (1 + cells)
        strip = self._strips[:size].reshape(len(rows), CELL * (1 + cells))
        strip[:, :CELL] = self._cells[rows]
        if cells == 0:
            return strip
        moving = self._pitch.left[rows] > 0
        for kind in (False, True):
            chosen = np.flatnonzero((wanted > 0) & (moving == kind))
            if len(chosen) == 0:
                continue
            fresh = strip.reshape(len(rows), 1 + cells, CELL)[:, 1:]
            whole = len(chosen) == len(rows)
            target = fresh if whole else np.empty((len(chosen), cells, CELL), np.float32)
            if kind:
                self._make_moving(rows[chosen], target)
            else:
                self._make_steady(rows[chosen], wanted[chosen], target)
            if not whole:
                fresh[chosen] = target
            self._cells[rows[chosen]] = target[np.arange(len(chosen)), wanted[chosen] - 1]
        return strip

    def _make_steady(self, rows: Rows, wanted: NDArray[np.intp], out: F32) -> None:
        n, cells, count = len(rows), out.shape[1], self.count
        pick = _slice_of(rows)
        steps = np.arange(cells) * float(CELL)
        phases = self._cell_phases[: n * cells * count].reshape(n, cells, count)
        np.multiply(self._increments[pick][:, None], steps[:, None], out=phases)
        np.add(phases, self._next_phases[pick][:, None], out=phases)
        amplitudes = self._amplitude_grid(rows, cells)
        basis = self._basis[pick] if isinstance(pick, slice) else self._gather_basis(rows)
        self._kernel.steady(phases, amplitudes, basis, out)
        nth, last = np.arange(n), wanted - 1
        self._amplitudes[pick] = amplitudes[nth, last]
        self._next_amplitudes[pick] = amplitudes[nth, wanted]
        begun = phases[nth, last]
        self._phases[pick] = begun
        begun += self._increments[pick] * CELL
        begun -= np.rint(begun)
        self._next_phases[pick] = begun
        self._next_ages[rows] += wanted * CELL
        self._pitch.steady_cell(rows)

    def _make_moving(self, rows: Rows, out: F32) -> None:
        """Make one cell of notes that glide; those that arrive in it are steady after it."""
        self._pitch.begin_cell(rows)
        limit = max(1, MOVING_LIMIT // self.count)
        for first in range(0, len(rows), limit):
            some = rows[first : first + limit]
            phases, ratios = self._next_phases[some], self._ratios[some]
            travel = self._pitch.travel(some)
            ends = self._pitch.frequency_after(some, float(CELL))
            self._fades[some] = nyquist_fade(ratios * ends[:, None])
            amplitudes = self._amplitude_grid(some, 1)
            into = out[first : first + limit, 0]
            self._kernel.moving(phases, ratios, travel[:, :-1], amplitudes, into)
            self._amplitudes[some] = amplitudes[:, 0]
            self._next_amplitudes[some] = amplitudes[:, 1]
            self._phases[some] = phases
            self._next_phases[some] = _reduced(phases + ratios * travel[:, -1:])
        self._next_ages[rows] += CELL
        arrived = self._pitch.end_cell(rows)
        if len(arrived):
            self._settle_frequencies(arrived)

    def _amplitude_grid(self, rows: Rows, cells: int) -> F32:
        """Return amplitudes at the ends of the next cells, (rows, cells + 1, partials).

        The first are those that stand; the rest are what the envelope and the partials' own
        decays say of the note's age.
        """
        n, count = len(rows), self.count
        pick = _slice_of(rows)
        grid = self._cell_amplitudes[: n * (cells + 1) * count].reshape(n, cells + 1, count)
        ages = self._next_ages[rows][:, None] + np.arange(1, cells + 1) * CELL
        envelope = self._envelopes.levels(rows, ages).astype(np.float32)
        law = grid[:, 1:]
        strengths = (self._levels[pick] * self._fades[pick])[:, None]
        np.multiply(strengths, envelope[:, :, None], out=law)
        if self._decaying[rows].any():
            fallen = self._fallen[: law.size].reshape(law.shape)
            since = (-ages).astype(np.float32)[:, :, None]
            np.multiply(self._decays[pick][:, None], since, out=fallen)
            np.exp(fallen, out=fallen)
            np.multiply(law, fallen, out=law)
        grid[:, 0] = self._next_amplitudes[pick]
        return grid

    def _gather_basis(self, rows: Rows) -> F32:
        gathered = self._gathered_basis[: len(rows)]
        np.take(self._basis, rows, axis=0, out=gathered, mode="clip")
        return gathered

    def _settle_frequencies(self, rows: Rows) -> None:
        """Make notes in `rows` steady at their pitch."""
        limit = max(1, BASIS_LIMIT // self.count)
        for first in range(0, len(rows), limit):
            some = rows[first : first + limit]
            increments = self._ratios[some] * self._pitch.now[some][:, None]
            self._increments[some] = increments
            self._fades[some] = nyquist_fade(increments)
            basis = self._gathered_basis[: len(some)]
            self._kernel.write_basis(increments, basis)
            self._basis[some] = basis

    def _standing_amplitudes(self, rows: Rows) -> F32:
        share = (self._used[rows] / CELL).astype(np.float32)[:, None]
        start, end = self._amplitudes[rows], self._next_amplitudes[rows]
        standing: F32 = start + (end - start) * share
        return standing

    def _cut(self, rows: Rows) -> None:
        """End the current cell of the notes in `rows` where it stands."""
        used = self._used[rows]
        inside = rows[used < CELL]
        if len(inside) == 0:
            return
        at = self._used[inside]
        self._next_amplitudes[inside] = self._standing_amplitudes(inside)
        cycles = self._pitch.cut(inside, at)
        ratios = self._ratios[inside]
        self._next_phases[inside] = _reduced(self._phases[inside] + ratios * cycles[:, None])
        self._next_ages[inside] += at - CELL
        self._used[inside] = CELL


def _reduced(phases: F64) -> F64:
    """Return phases less their whole turns."""
    return phases - np.rint(phases)


def _slice_of(rows: Rows) -> slice | Rows:
    """Return ascending `rows` as a slice where they are neighbours, so that nothing is copied."""
    first, last = int(rows[0]), int(rows[-1])
    return slice(first, last + 1) if last - first + 1 == len(rows) else rows


def _shift_rows(strip: F32, shifts: NDArray[np.intp], out: F32) -> None:
    """Copy each row of `strip` into `out`, leaving out its first `shifts` samples."""
    length = out.shape[1]
    first = int(shifts[0])
    if (shifts == first).all():
        out[:] = strip[:, first : first + length]
        return
    for row, shift in enumerate(shifts.tolist()):
        out[row] = strip[row, shift : shift + length]
