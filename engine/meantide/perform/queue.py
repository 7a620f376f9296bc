"""Events waiting for their sample, in order of sample and then of arrival."""

import heapq

from meantide.perform.event import Event, Kind

MOST_WAITING = 65_536
"""Above this an event is refused, but for those that end sound: a flood must not stick notes."""


class EventQueue:
    """A bounded heap; safe in the audio callback."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, Event]] = []
        self._arrivals = 0
        self.refused = 0

    def __len__(self) -> int:
        return len(self._heap)

    def put(self, event: Event) -> bool:
        """Add `event`; return False, and count it, if there is no room."""
        if len(self._heap) >= MOST_WAITING and not event.ends_sound:
            self.refused += 1
            return False
        heapq.heappush(self._heap, (event.sample, self._arrivals, event))
        self._arrivals += 1
        return True

    def next_sample(self) -> int | None:
        """Return the sample of the first event, or None."""
        return self._heap[0][0] if self._heap else None

    def take(self, sample: int) -> Event | None:
        """Return the first event if it is due by `sample`, else None."""
        if self._heap and self._heap[0][0] <= sample:
            return heapq.heappop(self._heap)[2]
        return None

    def forget_notes(self) -> None:
        """Drop the note ons that wait."""
        self._heap = [entry for entry in self._heap if entry[2].kind != Kind.NOTE_ON]
        heapq.heapify(self._heap)
