"""The state that a journal ends in, for a set that goes on where it was cut off."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from meantide.errors import InvalidValue
from meantide.journal import Journal, JournalHead
from meantide.live.state import MAIN, PartState, State
from meantide.perform.event import Event, Kind
from meantide.perform.master import QUIETEST_DB
from meantide.pitch import Tuning

AMOUNTS: dict[Kind, tuple[str, Callable[[float], Any]]] = {
    Kind.PART_LEVEL: ("level_db", float),
    Kind.PAN: ("pan", float),
    Kind.WIDTH: ("width", float),
    Kind.MODE: ("mono", lambda amount: amount >= 0.5),
    Kind.LIMIT: ("limit", int),
    Kind.SUSTAIN: ("sustain", lambda amount: amount >= 0.5),
    Kind.SOSTENUTO: ("sostenuto", lambda amount: amount >= 0.5),
}
"""What of a part an event's amount sets, and how it is read."""


def state_of(journal: Journal, where: str) -> State:
    """Return what was set when the journal `where` ended; InvalidValue if that is not enough.

    The silence that a set fades to at its end is not what was set.
    """
    tuning: Tuning | None = None
    level_db: float | None = None
    parts: dict[int, PartState] = {}
    events = sorted(journal.events, key=lambda event: event.sample)  # stable: by arrival then
    if events and events[-1].kind == Kind.LEVEL and events[-1].amount == QUIETEST_DB:
        events.pop()
    for event in events:
        value = journal.values.get(event.value)
        if event.kind == Kind.TUNING and isinstance(value, Tuning):
            tuning = value
        elif event.kind == Kind.LEVEL:
            level_db = event.amount
        elif event.kind == Kind.VOICE and value is not None and not isinstance(value, Tuning):
            part = parts.get(event.part)
            part = PartState(event.part, value) if part is None else replace(part, voice=value)
            parts[event.part] = part
        elif event.part in parts:
            parts[event.part] = _after(parts[event.part], event, journal)
    if tuning is None or level_db is None or 0 not in parts:
        raise InvalidValue(
            "journal", "no tuning, level or voice", "a set that had begun to play", where
        )
    names = {0: MAIN, **journal.parts}
    opening = State.opening(tuning, parts[0].voice, level_db)
    for number, part in sorted(parts.items()):
        opening = opening.with_part(names.get(number, str(number)), part)
    return opening


def _after(part: PartState, event: Event, journal: Journal) -> PartState:
    """Return a part after an event of its own."""
    value = journal.values.get(event.value)
    if event.kind == Kind.REVOICE and value is not None and not isinstance(value, Tuning):
        return replace(part, voice=value)
    if event.kind == Kind.LAYOUT and isinstance(value, Tuning):
        return replace(part, layout=value.layout)
    if event.kind == Kind.GLIDE:
        return replace(part, glide_s=event.samples / journal.head.rate)
    if event.kind in AMOUNTS:
        name, read = AMOUNTS[event.kind]
        return replace(part, **{name: read(event.amount)})
    return part


def check_goes_on(journal: Journal, head: JournalHead, where: str) -> None:
    """Raise InvalidValue if an engine such as `head` cannot go on with the journal `where`."""
    if head.rate != journal.head.rate:
        allowed = f"{journal.head.rate} Hz, the rate of the set; or another journal"
        raise InvalidValue("rate", head.rate, allowed, where)
