"""How loud, and where from left to right, a part's notes stand while it moves: for the log."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from meantide.offline.takelog_note import LoggedNote
from meantide.perform.balance import Balance, sides_of, spread_of
from meantide.perform.event import Event, Kind
from meantide.perform.line import Line
from meantide.perform.master import level_gain

SILENT_DB = -200.0
KINDS = frozenset({Kind.PART_LEVEL, Kind.PAN, Kind.WIDTH})
"""The events that move a balance."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The level (dB) that a note has by its part, in the louder channel, at most.

    At times it is up to `quieter_db` below; `pan` is where it stands as it begins, -1 to 1.
    """

    level_db: float
    quieter_db: float
    pan: float


class LoggedBalance:
    """The balance of one part through a take, from the events that move it."""

    def __init__(self, events: Iterable[Event]) -> None:
        """Take the part's events; those of other kinds are passed over."""
        self._events = sorted(
            (each for each in events if each.kind in KINDS), key=lambda each: each.sample
        )

    def over(self, span: range, hz: float) -> Standing:
        """Return how a note struck at `hz` stands while it sounds."""
        spread = spread_of(hz)
        gains, places = [], []
        for balance, sample in self._points(span):
            gains.append(balance.gain.at(sample))
            places.append(balance.place(spread, sample))
        loud = [max(sides_of(place)) for place in places]
        quiet = min(loud) if min(places) * max(places) > 0.0 else min(*loud, max(sides_of(0.0)))
        if min(places) == max(places):
            quiet = loud[0]
        level_db = _decibels(max(gains) * max(loud))
        return Standing(level_db, level_db - _decibels(min(gains) * quiet), places[0])

    def _points(self, span: range) -> Iterator[tuple[Balance, int]]:
        """Yield the balance at the samples of `span` between which it moves in straight lines."""
        balance = Balance()
        waiting = list(self._events)
        while waiting and waiting[0].sample <= span.start:
            _act(balance, waiting.pop(0))
        now = span.start
        yield balance, now
        while now < span.stop:
            turns = [waiting[0].sample if waiting else span.stop, *_arrivals(balance)]
            now = min(turn for turn in [*turns, span.stop] if turn > now)
            yield balance, now
            while waiting and waiting[0].sample <= now:
                _act(balance, waiting.pop(0))
                yield balance, now


def _act(balance: Balance, event: Event) -> None:
    lines: dict[Kind, Line] = {
        Kind.PART_LEVEL: balance.gain,
        Kind.PAN: balance.pan,
        Kind.WIDTH: balance.width,
    }
    goal = level_gain(event.amount) if event.kind == Kind.PART_LEVEL else event.amount
    lines[event.kind].move(event.sample, goal, event.samples)


def _arrivals(balance: Balance) -> list[int]:
    return [line.arrive for line in (balance.gain, balance.pan, balance.width)]


def _decibels(gain: float) -> float:
    return max(20.0 * math.log10(gain), SILENT_DB) if gain > 0.0 else SILENT_DB


def standing_note(note: LoggedNote, standing: Standing) -> LoggedNote:
    """Return `note`, whose level is without its part's, as it stands by its part."""
    return replace(
        note,
        level_db=note.level_db + standing.level_db,
        quieter_db=note.quieter_db + standing.quieter_db,
        pan=standing.pan,
    )
