"""Recursive filters of second-order sections, by numpy alone and as a compiled loop.

Over a block, a linear recursion is a matrix: the samples that come out and the state that is left
are products of those that went in and the state that was there. So numpy needs no loop over
samples. The compiled twin is that loop, in `voice/compiled_master.py`; both keep the same state.
"""

from collections.abc import Callable

import numpy as np

from meantide.voice.kernel import F64
from meantide.voice.kernels import COMPILED

CHUNK = 64
"""Samples that one product is made for."""
NOTHING = 1e-30
"""State below this becomes 0: it is -600 dB, and numbers that fade out for ever cost much time."""

Run = Callable[[F64, int, F64, float, F64], None]


class RecursiveFilter:
    """A cascade of second-order sections over two channels, in float64.

    `sections` (sections, 5): b0, b1, b2, a1, a2 of each, with a0 = 1, in the transposed direct
    form II. `kernel` is the name of the kernel.
    """

    def __init__(self, sections: F64, kernel: str) -> None:
        self._sections = np.ascontiguousarray(sections, np.float64)
        self._state = np.zeros((2, 2 * len(sections)))
        self._run = self._compiled() if kernel == COMPILED else self._numpy()

    def apply(self, block: F64, samples: int) -> None:
        """Filter the first `samples` of `block` (2, samples), contiguous, in place."""
        self._run(block, samples, self._sections, NOTHING, self._state)

    def _numpy(self) -> Run:
        order = self._state.shape[1]
        from_state, from_input, powers = _matrices(self._sections)
        made = np.zeros((2, CHUNK))
        carried = np.zeros((2, order))
        product = np.zeros((2, order))

        def run(block: F64, samples: int, _: F64, nothing: float, state: F64) -> None:
            for start in range(0, samples, CHUNK):
                size = min(CHUNK, samples - start)
                piece, out = block[:, start : start + size], made[:, :size]
                np.matmul(piece, from_input[CHUNK - size :, CHUNK - size : CHUNK], out=out)
                out += state @ from_state[:, :size]
                np.matmul(state, powers[size], out=carried)
                np.matmul(piece, from_input[CHUNK - size :, CHUNK:], out=product)
                np.add(carried, product, out=state)
                piece[:] = out
            if np.abs(state).max() < nothing:
                state[:] = 0.0

        return run

    def _compiled(self) -> Run:
        from meantide.voice.compiled_master import run_sections  # noqa: PLC0415  # loads numba

        run: Run = run_sections
        run(np.zeros((2, 1)), 0, self._sections, NOTHING, self._state)  # compiled now, not later
        return run


def _matrices(sections: F64) -> tuple[F64, F64, F64]:
    """Return what a chunk is made from, for row vectors.

    State to output (order, CHUNK); input to output and, beyond column CHUNK, to the state left
    (CHUNK, CHUNK + order), of which a shorter chunk takes the last rows; and the powers of the
    step from state to state (CHUNK + 1, order, order).
    """
    order = 2 * len(sections)
    step = np.zeros((order + 1, order + 1))  # (state, input) to (state, output)
    for place in range(order + 1):
        step[place] = _step(sections, np.eye(order + 1)[place])
    across, out_of, into, direct = step[:-1, :-1], step[:-1, -1], step[-1, :-1], step[-1, -1]
    powers = np.zeros((CHUNK + 1, order, order))
    powers[0] = np.eye(order)
    for place in range(CHUNK):
        powers[place + 1] = powers[place] @ across
    from_state = (powers[:CHUNK] @ out_of).T
    response = np.concatenate([[direct], into @ from_state])[:CHUNK]
    from_input = np.zeros((CHUNK, CHUNK + order))
    for place in range(CHUNK):
        from_input[place, place:CHUNK] = response[: CHUNK - place]
        from_input[place, CHUNK:] = into @ powers[CHUNK - 1 - place]
    return np.ascontiguousarray(from_state), from_input, powers


def _step(sections: F64, state_and_input: F64) -> F64:
    """Return (state, output) one sample after (state, input)."""
    after = np.zeros_like(state_and_input)
    sample = state_and_input[-1]
    for place, (b0, b1, b2, a1, a2) in enumerate(sections):
        first, second = state_and_input[2 * place : 2 * place + 2]
        made = b0 * sample + first
        after[2 * place] = b1 * sample - a1 * made + second
        after[2 * place + 1] = b2 * sample - a2 * made
        sample = made
    after[-1] = sample
    return after
