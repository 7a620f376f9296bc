"""JACK's own clock: which frame it is now, and which one the present block began with.

A second client of the same server, without ports and without a process callback, is asked at every
block; measured, that maps wall time to samples to half a sample (sd). It also hears of xruns.
"""

import os
import time
from typing import Any

from meantide.live.block_clock import BlockStart

WRAP = 2**32
"""JACK counts frames in 32 bits."""


class JackClock:
    """Asks the server that JACK_DEFAULT_SERVER names. OSError or ImportError if it cannot."""

    name = "JACK's frame clock"

    def __init__(self, rate: int) -> None:
        import jack  # noqa: PLC0415  loads the JACK library, which not every machine has

        self._sample_s = 1.0 / rate
        server = os.environ.get("JACK_DEFAULT_SERVER")
        try:
            self._client: Any = jack.Client(
                "meantide-clock", no_start_server=True, servername=server
            )
        except jack.JackOpenError as error:
            raise OSError(str(error)) from error
        self.xruns = 0
        self._client.set_xrun_callback(self._xrun)
        self._client.activate()

    def asked(self, sample: int) -> BlockStart:
        """Return when the block began, by how many frames ago that was."""
        frames_ago = frames_between(self._client.last_frame_time, self._client.frame_time)
        return BlockStart(sample, time.time() - frames_ago * self._sample_s, self._sample_s)

    def _xrun(self, _delayed_us: float) -> None:
        self.xruns += 1


def frames_between(first: int, second: int) -> int:
    """Return how many frames `second` is after `first`; below 0 if it is before."""
    return (second - first + WRAP // 2) % WRAP - WRAP // 2
