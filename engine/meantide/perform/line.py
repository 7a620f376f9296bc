"""The end of the line: what everything passes through on its way out, live and offline."""

from meantide.perform.high_pass import HighPass
from meantide.perform.limiter import Limiter, tame
from meantide.voice.kernel import F32


class Line:
    """A high-pass, then the limiter, for blocks of two channels.

    `rate` in Hz, `longest` block in samples, `kernel` by name.
    """

    def __init__(self, rate: int, longest: int, kernel: str) -> None:
        self._high_pass = HighPass(rate, longest, kernel)
        self._limiter = Limiter(rate, longest, kernel)
        self.latency_samples = self._limiter.latency_samples
        """What goes in comes out so many samples later, always."""
        self._faults = 0

    @property
    def taken_db(self) -> float:
        """How much the limiter takes off now, in dB; any thread may read it."""
        return self._limiter.taken_db

    @property
    def most_taken_db(self) -> float:
        """The most that the limiter took off so far, in dB; any thread may read it."""
        return self._limiter.most_taken_db

    @property
    def faults(self) -> int:
        """Blocks so far in which something was not finite, or 72 dB above full scale."""
        return self._faults + self._limiter.faults

    def apply(self, out: F32) -> None:
        """Pass `out` (2, samples) through, in place. Safe in the audio callback."""
        if not out.shape[1]:
            return
        self._faults += tame(out)  # a recursive filter would keep what is not a number for ever
        self._high_pass.apply(out)
        self._limiter.apply(out)
