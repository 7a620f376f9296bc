"""A ring of records in memory: one writer, one reader, no lock; also between two processes.

The writer alone moves `written`, after the records it tells of; the reader alone moves `read`,
after it has taken them. It rests on stores being seen in the order in which they were made, as x86
processors have it, and on a store of eight aligned bytes being one.
"""

from collections.abc import Sequence

HEAD_BYTES = 128
"""Two counters, each on a cache line of its own."""
_WRITTEN, _READ = 0, 8


class Ring:
    """Records of `record_bytes` in `memory`, which must begin as zeros; both ends make one.

    Records that are written together arrive together.
    """

    def __init__(self, memory: memoryview, record_bytes: int) -> None:
        self.capacity = (len(memory) - HEAD_BYTES) // record_bytes
        self._bytes = record_bytes
        self._counts = memory[:HEAD_BYTES].cast("Q")
        self._records = memory[HEAD_BYTES : HEAD_BYTES + self.capacity * record_bytes]

    @staticmethod
    def size(records: int, record_bytes: int) -> int:
        """Return the bytes of memory that so many records need, a whole number of cache lines."""
        return -(-(HEAD_BYTES + records * record_bytes) // 64) * 64

    def __len__(self) -> int:
        return self._counts[_WRITTEN] - self._counts[_READ]

    def write(self, records: Sequence[bytes]) -> bool:
        """Append `records`, all or none; tell whether there was room."""
        written = self._counts[_WRITTEN]
        if len(records) > self.capacity - (written - self._counts[_READ]):
            return False
        for number, record in enumerate(records, start=written):
            start = number % self.capacity * self._bytes
            self._records[start : start + self._bytes] = record
        self._counts[_WRITTEN] = written + len(records)
        return True

    def read(self) -> list[bytes]:
        """Take all records there are, oldest first."""
        written, read = self._counts[_WRITTEN], self._counts[_READ]
        found = []
        for number in range(read, written):
            start = number % self.capacity * self._bytes
            found.append(bytes(self._records[start : start + self._bytes]))
        if found:
            self._counts[_READ] = written
        return found

    def close(self) -> None:
        """Let go of the memory."""
        self._counts.release()
        self._records.release()
