"""How the limiter moves its gain: from the peaks it sees to a gain for every sample.

Time is cut into cells. What passes the target in a cell is its need, in nepers of gain to be
taken. The largest need of the last HOLD_S is held, so that a steady tone down to 20 Hz keeps one
gain and is not distorted; then it is let go, quickly after a lone peak, slowly after long work. A
smooth weighting of the coming cells makes the gain at each cell's edges; between them it runs
straight. The numpy form is here, its compiled twin in `voice/compiled_master.py`; they keep the
same state.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from meantide.voice.kernel import F32, F64

HOLD_S = 0.025
QUICK_RELEASE_S = 0.08
"""The time constant of recovery after a lone peak."""
LONG_WORK_S, SLOW_RELEASE_S = 0.4, 1.0
"""How long a need must last to be long work, and the time constant of recovery from it."""
SETTLED = 1e-5
"""Nepers (0.0001 dB): what has recovered to this is over, and the gain is exactly 1."""
QUICK, SLOW = 0, 1
"""The two recoveries by their places, in the speeds and in the state."""
RISING, MOST = 2, 2
"""What stands third: of the speeds, the slow one's rise; of the state, the most taken so far."""


class Places(NamedTuple):
    """Where a block stands among the cells."""

    filled: int
    """Samples of its first cell that came before it."""
    cells: int
    """Cells that it completes."""
    passed: int
    """Samples of the cell of the next sample out that are out."""
    known: int
    """Edges whose gain is known, from that cell's on."""
    gone: int
    """Cells that are out with it."""


class Parts(NamedTuple):
    """What a gain is made with, constants and state; compiled code takes it in this order."""

    target: float
    """The amplitude that needs nothing."""
    settled: float
    """SETTLED."""
    speeds: F64
    """How far, in a cell, the two recoveries go, and the slow one rises."""
    weights: F64
    """Of the cells ahead."""
    fractions: F64
    """Of the way from one edge to the next, at a cell's samples."""
    peaks: F32
    """At the samples of the cell that fills, and of the block."""
    needs: F64
    """Of the cells that are held, and those of the block."""
    state: F64
    """The two recoveries and the most taken so far, in nepers."""
    eased: F64
    """What is taken in the cells that are weighted, and those of the block, in nepers."""
    edges: F64
    """Gains at the edges of cells, from that before the next sample out."""
    gain: F32
    """Gains at samples."""


def cell_samples(rate: int) -> int:
    """Return the samples of a cell: the power of two nearest to a sixth of a millisecond."""
    return max(4, 1 << round(math.log2(max(rate, 6000) / 6000)))


class Gain:
    """A gain that falls within `ahead` cells, before the peak that calls for it.

    The gain made at a sample is for the sound `delay_samples` before; it is no more than what any
    peak in that sound's cell and in both neighbours allows. `target` is an amplitude, `longest` the
    longest block in samples.
    """

    def __init__(self, rate: int, longest: int, ahead: int, target: float) -> None:
        cell = cell_samples(rate)
        # the cell itself, the next one, whose need shapes the edge between them, and those ahead
        self.delay_samples = (ahead + 2) * cell - 1
        held = max(ahead + 3, math.ceil(HOLD_S * rate / cell))
        most = longest // cell + 1
        shape = np.sin(np.pi * (np.arange(ahead) + 0.5) / ahead) ** 2
        times_s = (QUICK_RELEASE_S, SLOW_RELEASE_S, LONG_WORK_S)
        self._cell = cell
        self.parts = Parts(
            target=target,
            settled=SETTLED,
            speeds=np.array([1.0 - math.exp(-cell / (rate * each)) for each in times_s]),
            weights=shape / shape.sum(),
            fractions=np.arange(cell) / cell,
            peaks=np.zeros((most + 1) * cell, np.float32),
            needs=np.zeros(held - 1 + most),
            state=np.zeros(3),
            eased=np.zeros(ahead - 1 + most),
            edges=np.ones(2 + most + 1),
            gain=np.ones((most + 2) * cell, np.float32),
        )
        self._filled, self._passed, self._known = 0, 1, 2
        self._busy_cells = 0
        self._idle_after = ahead + 4  # cells in which the gain comes to be 1 at all edges

    @property
    def taken_nepers(self) -> float:
        """The gain that is taken at the latest cell, in nepers; any thread may read it."""
        return float(self.parts.state[QUICK])

    @property
    def most_taken_nepers(self) -> float:
        """The most that was taken so far, in nepers."""
        return float(self.parts.state[MOST])

    def over(self, found: F32) -> F32 | None:
        """Return the gain for each sample of a block, a view; None if it is 1 throughout.

        `found` (2, samples), not empty, has what each channel's wave reaches at each sample; what
        does not pass the target may be 0.
        """
        samples = found.shape[1]
        places = self.advance(samples)
        if not self._is_busy(found, places.cells):
            self.parts.peaks[: self._filled] = 0.0
            return None
        move_gain(found, places, self.parts)
        return self.parts.gain[places.passed : places.passed + samples]

    def advance(self, samples: int) -> Places:
        """Return where a block of so many samples stands among the cells, and go on to the next."""
        cell = self._cell
        cells, gone = (self._filled + samples) // cell, (self._passed + samples) // cell
        places = Places(self._filled, cells, self._passed, self._known, gone)
        self._filled += samples - cells * cell
        self._passed += samples - gone * cell
        self._known += cells - gone
        return places

    def _is_busy(self, found: F32, cells: int) -> bool:
        """Tell whether any gain of the block may differ from 1."""
        if self.parts.state[QUICK] > 0.0 or float(found.max()) > self.parts.target:
            self._busy_cells = self._idle_after
            return True
        busy = self._busy_cells > 0
        self._busy_cells = max(0, self._busy_cells - cells)
        return busy


def move_gain(found: F32, places: Places, parts: Parts) -> None:
    """Take a block's `found` in and write its gains from `gain[passed]` on."""
    filled, cells, passed, known, gone = places
    target, _, speeds, weights, fractions, peaks, needs, state, eased, edges, gain = parts
    cell, samples = len(fractions), found.shape[1]
    np.maximum(found[0], found[1], out=peaks[filled : filled + samples])
    if cells:
        tops = peaks[: cells * cell].reshape(cells, cell).max(axis=1)
        rest = filled + samples - cells * cell
        peaks[:rest] = peaks[cells * cell : filled + samples]
        before = len(needs) - (len(edges) - 3)
        needs[before : before + cells] = np.log(np.maximum(tops / target, 1.0))
        held = sliding_window_view(needs[: before + cells], before + 1).max(axis=1)
        needs[:before] = needs[cells : cells + before]
        before = len(weights) - 1
        for place, need in enumerate(held.tolist(), before):
            eased[place] = recover(need, state, speeds)
        smooth = sliding_window_view(eased[: before + cells], before + 1) @ weights
        eased[:before] = eased[cells : cells + before]
        np.exp(-smooth, out=edges[known : known + cells])
    count = -(-(passed + samples) // cell)
    left = edges[:count, np.newaxis]
    right = edges[1 : count + 1, np.newaxis]
    gain[: count * cell].reshape(count, cell)[:] = left + (right - left) * fractions
    left_over = known + cells - gone
    edges[:left_over] = edges[gone : gone + left_over]


def recover(need: float, state: F64, speeds: F64) -> float:
    """Return the nepers that are taken in a cell which needs `need`, and move the state on.

    The slow recovery follows the need in long work; the quick one falls to where that stands.
    """
    quick, slow = float(state[QUICK]), float(state[SLOW])
    slow += (need - slow) * float(speeds[RISING if need > slow else SLOW])
    goal = max(need, slow)
    quick = need if need >= quick else goal + (quick - goal) * (1.0 - float(speeds[QUICK]))
    if quick < SETTLED:
        quick = slow = 0.0
    state[QUICK], state[SLOW], state[MOST] = quick, slow, max(state[MOST], quick)
    return quick
