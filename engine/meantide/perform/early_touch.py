"""Touch that comes before its note, as MPE asks of controllers: kept until the note is struck."""

from meantide.perform.event import Kind
from meantide.voice.touch import RESTING_TIMBRE

MOST_IDS = 1024
RESTING = {Kind.BEND: 0.0, Kind.PRESSURE: 0.0, Kind.TIMBRE: RESTING_TIMBRE}
RAMPS = {Kind.BEND: "bend", Kind.PRESSURE: "pressure", Kind.TIMBRE: "timbre"}
"""The ramps of `Bank.touch`, by the kind of event that moves them."""


class EarlyTouch:
    """Bend, pressure and timbre by the id of a note yet to be struck, for the ids named last."""

    def __init__(self) -> None:
        self._by_id: dict[int, dict[Kind, float]] = {}

    def __len__(self) -> int:
        return len(self._by_id)

    def keep(self, note: int, kind: Kind, amount: float) -> None:
        """Keep a touch for the next note of that id; beyond MOST_IDS the oldest is forgotten."""
        kept = self._by_id.pop(note, {})
        kept[kind] = amount
        self._by_id[note] = kept
        if len(self._by_id) > MOST_IDS:
            del self._by_id[next(iter(self._by_id))]

    def take(self, note: int) -> dict[Kind, float]:
        """Return what a note of that id is struck with, and forget it."""
        return RESTING | self._by_id.pop(note, {})

    def forget(self) -> None:
        """Forget everything."""
        self._by_id.clear()
