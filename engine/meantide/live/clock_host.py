"""A host without a device: the same engine paced by the machine's clock."""

import threading
import time
from collections.abc import Callable

import numpy as np

from meantide.live.block_clock import EnvelopeClock
from meantide.voice.kernel import F32


class ClockHost:
    """Asks for a block whenever one's time has passed; what is made goes nowhere.

    After a stall it catches up at once, so that the sample count stays that of the clock.
    """

    name = "none (no device, paced by the clock)"

    def __init__(self, rate: int, block: int) -> None:
        self.rate, self.block = rate, block
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, fill: Callable[[F32], None]) -> None:
        """Begin to ask `fill` for blocks of shape (2, block)."""
        self._thread = threading.Thread(
            target=self._run, args=(fill,), name="meantide-clock", daemon=True
        )
        self._thread.start()

    def alive(self) -> bool:
        """Tell whether blocks are being asked for."""
        return self._thread is not None and self._thread.is_alive()

    def stop(self) -> None:
        """Stop asking, and wait until the last block is done."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def entries(self) -> EnvelopeClock:
        """Return what maps wall time to samples."""
        return EnvelopeClock(self.rate, self.block)

    def xruns(self) -> int:
        """Return -1: there is no device that could count."""
        return -1

    def _run(self, fill: Callable[[F32], None]) -> None:
        out = np.zeros((2, self.block), np.float32)
        began, blocks = time.monotonic(), 0
        while not self._stop.is_set():
            fill(out)
            blocks += 1
            ahead = began + blocks * self.block / self.rate - time.monotonic()
            if ahead > 0:
                self._stop.wait(ahead)
