"""The keys that are down of a part that plays one note at a time, in the order they were struck."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from meantide.perform.event import NO_NOTE, Kind, Pitch
from meantide.perform.note import Note

MOST_KEYS = 128
"""Beyond, the oldest is forgotten: MIDI has as many keys, and no player as many fingers."""


@dataclass(slots=True)
class Key:
    """A key that is down: its note's id and pitch, and what touches the note while it is heard."""

    id: int
    pitch: Pitch
    touch: dict[Kind, float] = field(default_factory=dict)


@dataclass(slots=True)
class Keys:
    """Keys, the latest last: that is the one heard, by `note`, the note that the part sounds."""

    note: Note | None = None
    _down: list[Key] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self._down)

    def __iter__(self) -> Iterator[Key]:
        return iter(list(self._down))

    @property
    def latest(self) -> Key | None:
        """The key struck last of those that are down."""
        return self._down[-1] if self._down else None

    def press(self, key: Key) -> None:
        """Put a key down, as the latest."""
        self._down.append(key)
        del self._down[:-MOST_KEYS]

    def lift(self, key: Key) -> None:
        """Let a key up, if it is down."""
        self._down = [each for each in self._down if each is not key]

    def lift_all(self) -> None:
        """Let every key up."""
        self._down.clear()

    def of_id(self, note: int) -> Key | None:
        """Return the key of that id, or None."""
        return next((key for key in self._down if key.id == note != NO_NOTE), None)

    def of_pitch(self, pitch: Pitch) -> list[Key]:
        """Return the keys struck for that pitch."""
        return [key for key in self._down if key.pitch == pitch]
