"""The end of the line: what everything passes through on its way out, live and offline."""

import numpy as np

from meantide.perform.high_pass import HighPass
from meantide.perform.limiter import LARGEST, Limiter, tame
from meantide.voice.kernel import F32

SETTLED_S = 2.0
"""After so much silence the high-pass has faded to nothing (by 386 dB a second) and no gain moves:
then there is nothing to do."""


class Line:
    """A high-pass, then the limiter, for blocks of two channels.

    `rate` in Hz, `longest` block in samples, `kernel` by name.
    """

    def __init__(self, rate: int, longest: int, kernel: str) -> None:
        self._high_pass = HighPass(rate, longest, kernel)
        self._limiter = Limiter(rate, longest, kernel)
        self.latency_samples = self._limiter.latency_samples
        """What goes in comes out so many samples later, always."""
        self.faults = 0
        """Blocks so far in which something was not finite, or 72 dB above full scale."""
        self._settled = self._still = round(SETTLED_S * rate)

    @property
    def taken_db(self) -> float:
        """How much the limiter takes off now, in dB; any thread may read it."""
        return self._limiter.taken_db

    @property
    def most_taken_db(self) -> float:
        """The most that the limiter took off so far, in dB; any thread may read it."""
        return self._limiter.most_taken_db

    def apply(self, out: F32) -> None:
        """Pass `out` (2, samples) through, in place. Safe in the audio callback."""
        samples = out.shape[1]
        if not samples:
            return
        energy = float(np.vdot(out, out))
        if energy != 0.0 or self.taken_db > 0.0:  # also of what is not a number
            self._still = 0
        elif self._still >= self._settled:
            self._limiter.pass_silence(samples)
            return
        else:
            self._still += samples
        if not energy <= LARGEST**2:  # one number tells, mostly, that all are in order
            self.faults += tame(out)  # a recursive filter would keep what is not one for ever
        self._high_pass.apply(out)
        self._limiter.apply_tame(out)
