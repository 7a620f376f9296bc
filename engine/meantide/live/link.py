"""The seam between control and audio: what crosses it, and nothing else does.

From control to audio go event records of a fixed size; tunings and voices are made ready beforehand
and known by number. Back come the events as they were dated, and what became of notes. The same
rings serve within one process (tests, in simulated time) and between two.
"""

import struct
from collections import deque
from collections.abc import Iterator, Sequence

from meantide.live.ring import Ring
from meantide.perform.event import (
    ALL_PARTS,
    RECORD,
    Event,
    Kind,
    Outcome,
    OutcomeKind,
)

EVENTS = 32_768
"""Records on their way to the audio side, which empties the ring every block."""
ROOM = EVENTS // 2
"""Above so many only what ends sound should be sent."""
MOST_BACKLOG = 65_536
"""Groups kept back while the ring is full. Beyond it everything is silenced: no note sticks."""
REPORTS = 65_536
"""Dated events and outcomes on their way back, which are fetched twenty times a second."""
REPORT = struct.Struct(f"<bq{RECORD.size}s")
_OUTCOME = struct.Struct("<hqqdqq")
_DATED, _TOLD = 1, 2


class RecordQueue:
    """Groups of events from one writer to one reader; a group arrives whole or not at all.

    `memory` is shared with the other side; without it the queue has its own, within one process.
    """

    BYTES = Ring.size(EVENTS, RECORD.size)

    def __init__(self, memory: memoryview | None = None) -> None:
        self.ring = Ring(memory or memoryview(bytearray(self.BYTES)), RECORD.size)
        self._backlog: deque[list[bytes]] = deque()

    @property
    def has_room(self) -> bool:
        """Tell whether the writer may go on; what ends sound it may write all the same."""
        return len(self.ring) < ROOM and not self._backlog

    def write(self, events: Sequence[Event]) -> None:
        """Append a group, which waits on this side while there is no room; none: try again."""
        if events:
            self._backlog.append([event.pack() for event in events])
        if len(self._backlog) > MOST_BACKLOG:
            self._backlog.clear()
            self._backlog.append([Event(Kind.SOUND_OFF, part=ALL_PARTS).pack()])
        while self._backlog and self.ring.write(self._backlog[0]):
            self._backlog.popleft()

    def read(self) -> Iterator[Event]:
        """Yield all events there are, oldest first."""
        for record in self.ring.read():
            yield Event.unpack(record)


class ReportQueue:
    """The way back: events as dated, each with the sample it was heard at, and outcomes."""

    BYTES = Ring.size(REPORTS, REPORT.size)

    def __init__(self, memory: memoryview) -> None:
        self.ring = Ring(memory, REPORT.size)
        self.lost = 0
        """Reports for which there was no room: the journal is not whole then."""

    def write(self, dated: Sequence[tuple[int, Event]], outcomes: Sequence[Outcome]) -> None:
        """Append reports; those for which there is no room are counted. Safe in the callback."""
        records = [REPORT.pack(_DATED, heard, event.pack()) for heard, event in dated]
        records += [REPORT.pack(_TOLD, 0, _OUTCOME.pack(*outcome)) for outcome in outcomes]
        if records and not self.ring.write(records):
            self.lost += len(records)

    def read(self) -> tuple[list[tuple[int, Event]], list[Outcome]]:
        """Take all reports there are, oldest first."""
        dated, outcomes = [], []
        for record in self.ring.read():
            what, heard, body = REPORT.unpack(record)
            if what == _DATED:
                dated.append((heard, Event.unpack(body)))
            else:
                kind, *numbers = _OUTCOME.unpack_from(body)
                outcomes.append(Outcome(OutcomeKind(kind), *numbers))
        return dated, outcomes


class ClockCell:
    """Where the audio side has got to, written once a block and read at any time.

    There are two places, written in turn, and a counter of what is written says which is the newer.
    So a writer that is killed while it writes leaves what it wrote before.
    """

    BYTES = 192
    _CLOCK = struct.Struct("<qddqqq")

    def __init__(self, memory: memoryview) -> None:
        self._memory = memory[: self.BYTES]
        self._count = memory[: self.BYTES].cast("Q")

    def write(
        self, sample: int, began_s: float, sample_s: float, blocks: int, sounding: int, made: int
    ) -> None:
        """Say that the block from `sample` on begins at a wall time; `made` samples are done."""
        count = self._count[0] + 1
        place = self._place(count)
        self._CLOCK.pack_into(
            self._memory, place, sample, began_s, sample_s, blocks, sounding, made
        )
        self._count[0] = count

    def read(self) -> tuple[int, float, float, int, int, int]:
        """Return what was written last, whole."""
        while True:
            count = self._count[0]
            clock: tuple[int, float, float, int, int, int]
            clock = self._CLOCK.unpack_from(self._memory, self._place(count))
            if self._count[0] == count:  # else it may have been written over meanwhile
                return clock

    @staticmethod
    def _place(count: int) -> int:
        """Return where that writing stands: on a cache line of its own."""
        return 64 * (1 + count % 2)

    def close(self) -> None:
        """Let go of the memory."""
        self._count.release()
        self._memory.release()
