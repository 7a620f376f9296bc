"""The memory that the control and the audio process share, and how it is laid out."""

import sys
from multiprocessing import resource_tracker
from multiprocessing.shared_memory import SharedMemory

from meantide.live.link import ClockCell, RecordQueue, ReportQueue


class SharedLink:
    """One stretch of memory with the clock and the rings; made by control, found by audio by name.

    Raises OSError if there is no memory to be had.
    """

    def __init__(self, name: str | None = None) -> None:
        if name is None:
            size = ClockCell.BYTES + RecordQueue.BYTES + ReportQueue.BYTES
            self._memory = SharedMemory(create=True, size=size)
        else:
            self._memory = _found(name)
        self._made = name is None
        buffer = self._memory.buf
        assert buffer is not None  # noqa: S101  it is, until it is closed
        self._views = []
        start = 0
        for size in (ClockCell.BYTES, RecordQueue.BYTES, ReportQueue.BYTES):
            self._views.append(buffer[start : start + size])
            start += size
        self.clock = ClockCell(self._views[0])
        self.events = RecordQueue(self._views[1])
        self.reports = ReportQueue(self._views[2])

    @property
    def name(self) -> str:
        """What the other process finds it by."""
        return self._memory.name

    def close(self) -> None:
        """Let go of it; whoever made it takes it away."""
        self.clock.close()
        self.events.ring.close()
        self.reports.ring.close()
        for view in self._views:
            view.release()
        self._memory.close()
        if self._made:
            self._memory.unlink()


def _found(name: str) -> SharedMemory:
    """Attach to memory that the other process made, and takes away.

    Before Python 3.13 attaching registers it as if it were our own, with a process started for
    that, which would take it away when we end.
    """
    if sys.version_info >= (3, 13):
        return SharedMemory(name, track=False)
    register = resource_tracker.register
    resource_tracker.register = lambda *_: None
    try:
        return SharedMemory(name)
    finally:
        resource_tracker.register = register
