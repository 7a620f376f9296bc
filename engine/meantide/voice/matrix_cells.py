"""Cells of sine partials in plain numpy: the arithmetic of the numpy kernel, nothing else.

Within a cell every partial's amplitude runs linearly between its values at the two ends. Two forms:

*Steady* partials: with the phase θ of partial k at the start of its cell,

    sin(θ + ωb) = sin θ · cos ωb + cos θ · sin ωb,     b = 0 .. CELL-1,

so a note's cell is the product of a row (cos θ · g, sin θ · g) of 2K numbers and a matrix (the
basis) of 2K × CELL numbers that stays the same while the frequencies do. Two rows, one with the
amplitudes of either end, crossfaded over the cell, make the linear run exact. The cost is one
sine and one cosine a partial a cell; the rest is a matrix product.

*Moving* partials: the increment runs straight from its value at the cell's start to that at its
end, so the phase is a parabola; it is computed for each sample in float64.
"""

import math

import numpy as np

from meantide.voice.kernel import CELL, F32, F64

STEADY_LIMIT = 65536
"""Partials times cells in one call of `steady`, so that the scratch stays in the cache."""
MOVING_LIMIT = 2048
"""Partials in one call of `moving`, likewise."""
BASIS_LIMIT = 2048
"""Partials in one call of `write_basis`, likewise."""

TURN = 2.0 * math.pi


class MatrixCells:
    """Cells of partials in numpy, the scratch allocated once.

    Phases are float64 cycles, increments float64 cycles a sample, amplitudes float32. n notes of
    K partials, C cells. All methods are safe in the audio callback.
    """

    def __init__(self) -> None:
        self._phase = np.zeros(max(STEADY_LIMIT, MOVING_LIMIT * CELL))
        self._whole = np.zeros_like(self._phase)
        self._angle = np.zeros(self._phase.shape, np.float32)
        self._sine = np.zeros(STEADY_LIMIT, np.float32)
        self._rows = np.zeros(4 * STEADY_LIMIT, np.float32)
        self._product = np.zeros(2 * CELL * STEADY_LIMIT // 16, np.float32)
        self._corner = np.zeros((4, BASIS_LIMIT, 8), np.float32)
        self._part = np.zeros(BASIS_LIMIT * CELL, np.float32)
        self._sample = np.arange(CELL) * 1.0
        self._bending = self._sample**2 / (2.0 * CELL)
        self._fall = (1.0 - np.arange(CELL) / CELL).astype(np.float32)
        self._rise = (np.arange(CELL) / CELL).astype(np.float32)

    def write_basis(self, increments: F64, basis: F32) -> None:
        """Fill `basis` (n, 2K, CELL) with sin ωb, then cos ωb, for `increments` (n, K).

        b = 8h + l, and the angle sum puts the 64 columns together from 8 + 8 of each.
        """
        n, k = increments.shape
        whole, angle = self._whole[: n * k * 8], self._angle[: n * k * 8]
        phase = self._phase[: n * k * 8].reshape(n, k, 8)
        sin_high, cos_high, sin_low, cos_low = (
            corner.reshape(-1)[: n * k * 8].reshape(n, k, 8) for corner in self._corner
        )
        for step, sine, cosine in ((8.0, sin_high, cos_high), (1.0, sin_low, cos_low)):
            np.multiply(increments[:, :, None], self._sample[:8] * step, out=phase)
            _to_angle(phase.reshape(-1), whole, angle)
            np.sin(angle.reshape(n, k, 8), out=sine)
            np.cos(angle.reshape(n, k, 8), out=cosine)
        part = self._part[: n * k * CELL].reshape(n, k, 8, 8)
        sines = basis[:, :k].reshape(n, k, 8, 8)
        cosines = basis[:, k:].reshape(n, k, 8, 8)
        np.multiply(sin_high[..., None], cos_low[:, :, None], out=sines)
        np.multiply(cos_high[..., None], sin_low[:, :, None], out=part)
        np.add(sines, part, out=sines)
        np.multiply(cos_high[..., None], cos_low[:, :, None], out=cosines)
        np.multiply(sin_high[..., None], sin_low[:, :, None], out=part)
        np.subtract(cosines, part, out=cosines)

    def steady(self, phases: F64, amplitudes: F32, basis: F32, out: F32) -> None:
        """Sum steady partials into `out` (n, C, CELL).

        `phases` (n, C, K) are those at the start of each cell, any number of whole turns on;
        `amplitudes` (n, C + 1, K) those at the ends of the cells; n·C·K <= STEADY_LIMIT.
        """
        n, c, k = phases.shape
        size = n * c * k
        angle = self._angle[:size]
        _to_angle(phases.reshape(-1), self._whole[:size], angle, self._phase[:size])
        angle = angle.reshape(n, c, k)
        turned = self._sine[:size].reshape(n, c, k)
        rows = self._rows[: 4 * size].reshape(n, c, 2, 2, k)
        for half, function in ((0, np.cos), (1, np.sin)):
            function(angle, out=turned)
            np.multiply(turned, amplitudes[:, :-1], out=rows[:, :, 0, half])
            np.multiply(turned, amplitudes[:, 1:], out=rows[:, :, 1, half])
        product = self._product[: n * c * 2 * CELL]
        np.matmul(rows.reshape(n, c * 2, 2 * k), basis, out=product.reshape(n, c * 2, CELL))
        self._crossfade(product.reshape(n, c, 2, CELL), out)

    def moving(self, phases: F64, begun: F64, ending: F64, amplitudes: F32, out: F32) -> None:
        """Sum moving partials into `out` (n, CELL), one cell.

        `phases` (n, K) at the cell's start; the increments run from `begun` to `ending` (n, K);
        `amplitudes` (n, 2, K); n·K <= MOVING_LIMIT.
        """
        n, k = phases.shape
        size = n * k * CELL
        phase = self._phase[:size].reshape(n, k, CELL)
        np.multiply((ending - begun)[:, :, None], self._bending, out=phase)
        whole = self._whole[:size].reshape(n, k, CELL)
        np.multiply(begun[:, :, None], self._sample, out=whole)
        np.add(phase, whole, out=phase)
        np.add(phase, phases[:, :, None], out=phase)
        angle = self._angle[:size]
        _to_angle(phase.reshape(-1), self._whole[:size], angle)
        np.sin(angle, out=angle)
        product = self._product[: n * 2 * CELL].reshape(n, 2, CELL)
        np.matmul(amplitudes, angle.reshape(n, k, CELL), out=product)
        self._crossfade(product[:, None], out[:, None])

    def _crossfade(self, ends: F32, out: F32) -> None:
        """Run from the cell made with its first amplitudes to the one with its last."""
        np.multiply(ends[:, :, 0], self._fall, out=out)
        np.multiply(ends[:, :, 1], self._rise, out=ends[:, :, 1])
        np.add(out, ends[:, :, 1], out=out)


def _to_angle(phase: F64, whole: F64, angle: F32, reduced: F64 | None = None) -> None:
    """Turn `phase` (cycles) into radians within ±π as float32; only here precision is given up.

    `phase` itself is overwritten with its reduced value unless `reduced` is given.
    """
    target = phase if reduced is None else reduced
    np.rint(phase, out=whole)
    np.subtract(phase, whole, out=target)
    np.multiply(target, TURN, out=angle, casting="same_kind")
