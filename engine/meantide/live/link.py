"""The seam between control and audio: what crosses it, and nothing else does.

From control to audio go event records of a fixed size; tunings and voices are made ready beforehand
and known by number. One thread writes a queue and one reads it, so there is no lock.
"""

from collections import deque
from collections.abc import Iterator, Sequence

from meantide.perform.event import RECORD, Event

MOST_GROUPS = 16_384
"""Groups on their way to the audio side, which empties the queue every block."""


class RecordQueue:
    """Groups of records from one writer to one reader; a group arrives whole or not at all.

    It rests on `deque.append` and `deque.popleft` being atomic in CPython.
    """

    def __init__(self, most: int = MOST_GROUPS) -> None:
        self._groups: deque[bytes] = deque()
        self._most = most

    @property
    def has_room(self) -> bool:
        """Tell whether the writer may go on; what ends sound it may write all the same."""
        return len(self._groups) < self._most

    def write(self, events: Sequence[Event]) -> None:
        """Append a group."""
        if events:
            self._groups.append(b"".join(event.pack() for event in events))

    def read(self) -> Iterator[Event]:
        """Yield all events there are, oldest first."""
        while self._groups:
            group = self._groups.popleft()
            for start in range(0, len(group), RECORD.size):
                yield Event.unpack(group[start : start + RECORD.size])
