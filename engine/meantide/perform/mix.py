"""The sum of the notes of one form of voice, and the last milliseconds of those taken away."""

import math

import numpy as np

from meantide.voice.dc import DcBlocker
from meantide.voice.envelope import SILENCING_S
from meantide.voice.kernel import CELL, F32

FOLDING_FORMS = frozenset({"fm"})
"""Forms whose spectra fold onto 0 Hz: what stands there is taken away from their mix."""
SETTLING_S = 2.0
"""A blocker fades so long after the last sound: by 110 dB a second."""


class Mix:
    """What the banks of one form make together, two channels; safe in the audio callback.

    `add` what each bank makes of the next samples, then `sound` them all.
    """

    def __init__(self, form: str, rate: int, longest: int) -> None:
        self.tail = np.zeros((2, (math.ceil(SILENCING_S * rate / CELL) + 1) * CELL), np.float32)
        """What notes taken away have still to sound, from the next sample on."""
        self._tail_left = 0
        self._sum = np.zeros(2 * longest, np.float32)
        self._added = False
        self._blocker = DcBlocker(rate) if form in FOLDING_FORMS else None
        self._settling = round(SETTLING_S * rate) if self._blocker else 0
        self._still = self._settling
        """Samples since the last sound: from `_settling` on there is nothing to do."""

    def add(self, samples: F32) -> None:
        """Add `samples` (2, samples), the next of one bank."""
        length = samples.shape[1]
        mixed = self._sum[: 2 * length].reshape(2, length)
        if self._added:
            mixed += samples
        else:
            mixed[:] = samples
        self._added = True

    def add_tail(self, last: F32) -> None:
        """Add the last samples of a note taken away; the shape is that of `tail`."""
        self.tail += last
        self._tail_left = self.tail.shape[1]

    def sound(self, out: F32) -> None:
        """Add the sum, and as much of the tail, to `out` (2, samples)."""
        length = out.shape[1]
        if self._added or self._tail_left > 0:
            self._still = 0
        elif self._still >= self._settling:
            return
        else:
            self._still += length
        mixed = self._sum[: 2 * length].reshape(2, length)
        if not self._added:
            mixed[:] = 0.0
        self._added = False
        if self._tail_left > 0:
            self._move_tail(mixed)
        if self._blocker is not None:
            self._blocker.apply(mixed)
        out += mixed

    def _move_tail(self, mixed: F32) -> None:
        length = min(mixed.shape[1], self.tail.shape[1])
        mixed[:, :length] += self.tail[:, :length]
        self.tail[:, :-length] = self.tail[:, length:].copy()
        self.tail[:, -length:] = 0.0
        self._tail_left -= length
