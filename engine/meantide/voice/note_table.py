"""The state of additive notes: one row of arrays a note, the same for every kernel.

Events change it here (through `additive.py`); a kernel's reader moves it on in time.
"""

import numpy as np

from meantide.voice.description import PreparedVoice, nyquist_fade
from meantide.voice.envelope import EnvelopeTable
from meantide.voice.glide import GlideTable
from meantide.voice.kernel import CELL, F32, Rows


class NoteTable:
    """Room for `notes` notes of `count` partials each (a padded count), at one sample rate.

    Phases are float64 cycles, increments float64 cycles a sample, amplitudes float32. Each note
    lives on its own grid of cells: `cells` holds its current one, of which `used` samples are
    heard; `next_phases`, `next_amplitudes` and `next_ages` are those at that cell's end.
    """

    def __init__(self, notes: int, count: int, rate: int) -> None:
        self.notes, self.count, self.rate = notes, count, rate
        shape = (notes, count)
        self.ratios = np.full(shape, 1.0)  # full, not zeros: every page is touched now
        self.levels = np.full(shape, 0.0, np.float32)
        self.decays = np.full(shape, 0.0, np.float32)
        self.decaying = np.zeros(notes, np.bool_)
        self.increments = np.full(shape, 0.0)
        self.strengths = np.full(shape, 0.0, np.float32)
        """Levels, less what fades near the Nyquist frequency."""
        self.next_phases = np.full(shape, 0.0)
        self.amplitudes = np.full(shape, 0.0, np.float32)
        """Those at the current cell's start."""
        self.next_amplitudes = np.full(shape, 0.0, np.float32)
        self.bounds = np.zeros(notes, np.float32)
        """Sums of a note's amplitudes, which it cannot pass; at the current cell's start."""
        self.next_bounds = np.zeros(notes, np.float32)
        self.next_ages = np.zeros(notes, np.int64)
        self.cells = np.full((notes, CELL), 0.0, np.float32)
        self.used = np.full(notes, CELL)
        self.envelopes = EnvelopeTable(notes, rate)
        self.glides = GlideTable(notes)

    def start(self, row: int, prepared: PreparedVoice, hz: float, gain: float) -> None:
        """Begin a note of `prepared` at `hz` in `row`, its level times `gain` (0..1)."""
        self.ratios[row] = prepared.ratios
        self.levels[row] = prepared.levels
        self.levels[row] *= np.float32(gain)
        self.decays[row] = prepared.decays
        self.decaying[row] = prepared.decays.any()
        self.next_phases[row] = prepared.phases
        self.next_amplitudes[row] = 0.0
        self.amplitudes[row] = 0.0
        self.bounds[row] = self.next_bounds[row] = 0.0
        self.used[row] = CELL
        self.next_ages[row] = 0
        self.envelopes.start(row, prepared.voice.envelope)
        rows = np.array([row])
        self.glides.hold(rows, np.array([hz / self.rate]))
        self.settle(rows)

    def settle(self, rows: Rows) -> None:
        """Make the notes in `rows` steady at the pitch they stand at."""
        increments = self.ratios[rows] * self.glides.now[rows][:, None]
        self.increments[rows] = increments
        self.strengths[rows] = self.levels[rows] * nyquist_fade(increments)

    def standing_amplitudes(self, rows: Rows) -> F32:
        """Return the amplitudes at the samples that the notes in `rows` have come to."""
        share = (self.used[rows] / CELL).astype(np.float32)[:, None]
        start, end = self.amplitudes[rows], self.next_amplitudes[rows]
        standing: F32 = start + (end - start) * share
        return standing

    def cut(self, rows: Rows) -> None:
        """End the current cell of the notes in `rows` where it stands."""
        used = self.used[rows]
        inside = rows[used < CELL]
        if len(inside) == 0:
            return
        at = self.used[inside]
        self.next_amplitudes[inside] = self.standing_amplitudes(inside)
        self.next_bounds[inside] = self.next_amplitudes[inside].sum(axis=1)
        ahead = self.glides.cut(inside, at)
        phases = self.next_phases[inside] - self.ratios[inside] * ahead[:, None]
        self.next_phases[inside] = phases - np.rint(phases)
        self.next_ages[inside] += at - CELL
        self.used[inside] = CELL
