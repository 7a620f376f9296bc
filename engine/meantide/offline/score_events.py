"""What a part of a score makes happen, as events in the order in which they act."""

from collections.abc import Callable, Iterator
from enum import IntEnum
from typing import NamedTuple

from meantide.offline.score import ScoreNote, ScorePart
from meantide.perform.event import Event, Kind
from meantide.voice.voices import Voice


class Order(IntEnum):
    """At one sample: what notes are made of, ends, pedals, then what begins and what moves it.

    So a pedal that is changed as one chord gives way to the next lets the first go and takes the
    second, and the sostenuto pedal catches the notes that begin as it goes down.
    """

    MAKING = 0
    ENDING = 1
    PEDAL = 2
    EARLY_TOUCH = 3
    BEGINNING = 4
    TOUCH = 5
    CATCHING = 6


class Placed(NamedTuple):
    """An event and when it acts among those of its sample."""

    event: Event
    order: Order

    @property
    def key(self) -> tuple[int, Order]:
        """What events are sorted by."""
        return self.event.sample, self.order


def part_events(
    number: int, part: ScorePart, rate: int, numbered: Callable[[Voice], int]
) -> Iterator[Placed]:
    """Yield what sets up the part `number` and changes it, but for its notes.

    `numbered` gives a voice to be handed over its number.
    """
    glide_samples = round(part.glide_s * rate)
    for event in (
        Event(Kind.VOICE, 0, number, value=numbered(part.voice)),
        Event(Kind.PAN, 0, number, amount=part.pan),
        Event(Kind.PART_LEVEL, 0, number, amount=part.level_db),
        Event(Kind.GLIDE, 0, number, samples=glide_samples),
    ):
        yield Placed(event, Order.MAKING)
    for setting in part.settings:
        kind = Kind.REVOICE if setting.version else Kind.VOICE
        sample, samples = round(setting.at_s * rate), round(setting.over_s * rate)
        value = numbered(setting.voice)
        event = Event(kind, sample, number, samples=samples, value=value)
        yield Placed(event, Order.MAKING)
    for pedal in part.pedals:
        catches = pedal.kind == Kind.SOSTENUTO and pedal.down
        event = Event(pedal.kind, round(pedal.at_s * rate), number, amount=float(pedal.down))
        yield Placed(event, Order.CATCHING if catches else Order.PEDAL)


def note_events(note: ScoreNote, note_id: int, part: int, rate: int) -> Iterator[Placed]:
    """Yield the beginning and the end of a note, and what touches it."""
    start = round(note.start_s * rate)
    end = max(round((note.start_s + note.length_s) * rate), start + 1)
    beginning = Event(Kind.NOTE_ON, start, part, note_id, note.pitch, note.velocity)
    yield Placed(beginning, Order.BEGINNING)
    yield Placed(Event(Kind.NOTE_OFF, end, part, note_id), Order.ENDING)
    for touch in note.touches:
        sample, samples = round(touch.at_s * rate), round(touch.over_s * rate)
        event = Event(touch.kind, sample, part, note_id, amount=touch.amount, samples=samples)
        early = sample == start and samples == 0
        yield Placed(event, Order.EARLY_TOUCH if early else Order.TOUCH)
