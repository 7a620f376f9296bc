"""The seam between control and audio: what crosses it, and nothing else does.

From control to audio: event records of a fixed size through a bounded queue, and values (tunings,
voices) made ready beforehand and known by number. From audio to control: the events as they were
dated, and what became of notes. One thread writes each queue and one reads it, so there is no lock.
"""

from collections import deque

from meantide.perform.event import Event

MOST_RECORDS = 16_384
"""Records on their way to the audio side; it empties the queue every block."""


class RecordQueue:
    """Records from one writer to one reader; appending and popping are atomic in CPython."""

    def __init__(self, most: int = MOST_RECORDS) -> None:
        self._records: deque[bytes] = deque()
        self._most = most

    def write(self, event: Event, keep: bool = False) -> bool:
        """Append an event; return False if the queue is full, unless it must be kept."""
        if len(self._records) >= self._most and not keep:
            return False
        self._records.append(event.pack())
        return True

    def read(self) -> Event | None:
        """Return the oldest event, or None."""
        try:
            record = self._records.popleft()
        except IndexError:
            return None
        return Event.unpack(record)
