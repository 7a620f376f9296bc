"""Who watches what, until when: leases that end by themselves."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.osc.values import Argument

TICK_S = 0.1
"""The shortest time between two tellings."""
MOST_LEASES = 64
LONGEST_LEASE_S = 3600.0

Telling = Callable[[], tuple[Argument, ...]]


@dataclass(frozen=True, slots=True)
class Topic:
    """What may be watched: what is told, how often, and whether only when it changed."""

    tell: Telling
    every_s: float
    changes: bool = False


@dataclass(slots=True)
class _Lease:
    ends_s: float
    next_s: float
    last: tuple[Argument, ...] | None = None


class Watchers:
    """The leases of all senders. Times are seconds of any steady clock."""

    def __init__(self, topics: Mapping[str, Topic]) -> None:
        self.topics = topics
        self._leases: dict[tuple[Hashable, str], _Lease] = {}

    def __len__(self) -> int:
        return len(self._leases)

    def watch(self, sender: Hashable, topic: str, seconds: float, now_s: float) -> None:
        """Tell `sender` of a topic, at once and then for so long from now.

        Raises InvalidValue if there are too many leases.
        """
        self.check_room(sender, topic, now_s)
        self._leases[sender, topic] = _Lease(now_s + seconds, now_s)

    def check_room(self, sender: Hashable, topic: str, now_s: float) -> None:
        """Raise InvalidValue if there are too many leases for another."""
        self._end_leases(now_s)
        if (sender, topic) not in self._leases and len(self._leases) >= MOST_LEASES:
            raise InvalidValue("watch", topic, f"at most {MOST_LEASES} leases; try again later")

    def unwatch(self, sender: Hashable, topic: str) -> None:
        """Tell `sender` no more of a topic."""
        self._leases.pop((sender, topic), None)

    def forget(self, sender: Hashable) -> None:
        """End all leases of a sender that has gone."""
        for topic in self.topics:
            self.unwatch(sender, topic)

    def due(self, now_s: float) -> Sequence[tuple[Hashable, str, tuple[Argument, ...]]]:
        """Return what is to be told now: to whom, of what topic, and what."""
        self._end_leases(now_s)
        told: dict[str, tuple[Argument, ...]] = {}
        found = []
        for (sender, name), lease in self._leases.items():
            topic = self.topics[name]
            if now_s < lease.next_s:
                continue
            if name not in told:
                told[name] = topic.tell()
            lease.next_s = now_s + topic.every_s
            if not topic.changes or told[name] != lease.last:
                lease.last = told[name]
                found.append((sender, name, told[name]))
        return found

    def _end_leases(self, now_s: float) -> None:
        for key in [key for key, lease in self._leases.items() if lease.ends_s <= now_s]:
            del self._leases[key]


@dataclass(frozen=True, slots=True)
class Caller:
    """Who sent a message, for the addresses that are about the sender."""

    watchers: Watchers
    sender: Hashable
    now_s: float
    later: Callable[[Callable[[], None]], None]
    """Where it is put what is done only if all that came with it is obeyed."""

    def watch(self, topic: str, seconds: float) -> None:
        """Watch a topic for so long; raises InvalidValue if there are too many leases."""
        self.watchers.check_room(self.sender, topic, self.now_s)
        self.later(lambda: self.watchers.watch(self.sender, topic, seconds, self.now_s))

    def unwatch(self, topic: str) -> None:
        """Watch a topic no more."""
        self.later(lambda: self.watchers.unwatch(self.sender, topic))
