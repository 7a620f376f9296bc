"""The meter at the end of the line: peak, true peak and loudness together."""

import math

from meantide.perform.loudness import SHORT_TERM_STEPS, STEPS_A_SECOND, Loudness
from meantide.perform.true_peak import LOWEST_DB, TruePeak, level_db
from meantide.voice.kernel import F32
from meantide.voice.kernels import NUMPY

PEAK_WINDOW_S = 0.5
"""The peaks told are those of this window and the one before it."""


class Meter:
    """What two channels have at the end of the line.

    `rate` in Hz, `longest` block in samples, `kernel` by name. One thread calls `read`; any thread
    may read the numbers, each of which is replaced whole, and call `ask_reset`. None of them tells
    how loud it is in the room: full scale has no sound pressure until a device is calibrated.
    """

    def __init__(self, rate: int, longest: int, kernel: str = NUMPY) -> None:
        self._true_peak = TruePeak(longest, kernel)
        self._loudness = Loudness(rate, longest, kernel)
        self._window = round(PEAK_WINDOW_S * rate)
        # after so much silence all that fades has faded, and there is nothing to be heard
        self._idle_after = (SHORT_TERM_STEPS + 1) * rate // STEPS_A_SECOND
        self.faults = 0
        """Blocks that were not metered, since something in them was not finite."""
        self._asked = False
        self._reset()

    def _reset(self) -> None:
        self._asked = False
        self._loudness.reset()
        self._now: tuple[float, float] = (0.0, 0.0)
        self._before: tuple[float, float] = (0.0, 0.0)
        self._heard, self._silent = 0, 0
        self.peak_dbfs = self.true_peak_dbtp = LOWEST_DB
        """Sample peak and true peak of the last half to whole second."""
        self.highest_true_peak_dbtp = LOWEST_DB
        """The highest true peak since the reset."""

    @property
    def momentary_lufs(self) -> float:
        """Loudness of the last 400 ms, anew every 100 ms; LOWEST_DB for silence."""
        return self._loudness.momentary_lufs

    @property
    def short_term_lufs(self) -> float:
        """Loudness of the last 3 s, anew every 100 ms."""
        return self._loudness.short_term_lufs

    @property
    def integrated_lufs(self) -> float:
        """Gated loudness of all since the reset."""
        return self._loudness.integrated_lufs

    @property
    def range_lu(self) -> float:
        """Loudness range of all since the reset."""
        return self._loudness.range_lu

    def ask_reset(self) -> None:
        """Have all begin anew with the next block."""
        self._asked = True

    def read(self, block: F32) -> None:
        """Meter `block` (2, samples); leave it as it is. Safe in the audio callback."""
        if self._asked:
            self._reset()
        samples = block.shape[1]
        peak, true_peak = self._true_peak.read(block)
        if not math.isfinite(peak):
            self.faults += 1
            return
        self._silent = 0 if true_peak > 0.0 else self._silent + samples
        if self._silent > self._idle_after:
            return
        self._loudness.read(block)
        self._hold(samples, peak, true_peak)

    def _hold(self, samples: int, peak: float, true_peak: float) -> None:
        now, now_true = self._now
        self._now = max(now, peak), max(now_true, true_peak)
        highest, highest_true = (max(a, b) for a, b in zip(self._now, self._before, strict=True))
        self.peak_dbfs, self.true_peak_dbtp = level_db(highest), level_db(highest_true)
        self.highest_true_peak_dbtp = max(self.highest_true_peak_dbtp, self.true_peak_dbtp)
        self._heard += samples
        if self._heard >= self._window:
            self._heard, self._before, self._now = 0, self._now, (0.0, 0.0)
