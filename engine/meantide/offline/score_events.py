"""What a part of a score makes happen, as events in the order in which they act."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from enum import IntEnum
from typing import NamedTuple

from meantide.offline.score import Change, ScoreNote, ScorePart
from meantide.offline.stories import TuningStep
from meantide.perform.event import Event, Kind
from meantide.pitch import Tuning
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
    number: int,
    part: ScorePart,
    changes: Iterable[Change],
    rate: int,
    numbered: Callable[[Tuning | Voice], int],
) -> Iterator[Placed]:
    """Yield what sets up the part `number` and changes it, but for its notes.

    `changes` are those of the tuning, the first one at the start; `numbered` gives a value to be
    handed over its number.
    """
    for step in part_tunings(part, changes, rate):
        event = Event(
            Kind.LAYOUT, step.sample, number, samples=step.glide_samples,
            value=numbered(step.tuning), held=step.held,
        )  # fmt: skip
        yield Placed(event, Order.MAKING)
    glide_samples = round(part.glide_s * rate)
    for event in (
        Event(Kind.VOICE, 0, number, value=numbered(part.voice)),
        Event(Kind.PAN, 0, number, amount=part.pan),
        Event(Kind.PART_LEVEL, 0, number, amount=part.level_db),
        Event(Kind.GLIDE, 0, number, samples=glide_samples),
    ):
        yield Placed(event, Order.MAKING)
    for kind, amount in (
        (Kind.WIDTH, part.width),
        (Kind.MODE, float(part.mono)),
        (Kind.LIMIT, float(part.limit)),
    ):
        if amount:
            yield Placed(Event(kind, 0, number, amount=amount), Order.MAKING)
    for setting in part.settings:
        kind = Kind.REVOICE if setting.version else Kind.VOICE
        sample, samples = round(setting.at_s * rate), round(setting.over_s * rate)
        value = numbered(setting.voice)
        event = Event(kind, sample, number, samples=samples, value=value)
        yield Placed(event, Order.MAKING)
    for move in part.moves:
        sample, samples = round(move.at_s * rate), round(move.over_s * rate)
        event = Event(move.kind, sample, number, amount=move.amount, samples=samples)
        yield Placed(event, Order.MAKING)
    for pedal in part.pedals:
        catches = pedal.kind == Kind.SOSTENUTO and pedal.down
        event = Event(pedal.kind, round(pedal.at_s * rate), number, amount=float(pedal.down))
        yield Placed(event, Order.CATCHING if catches else Order.PEDAL)


def tuning_steps(changes: Iterable[Change], rate: int) -> list[TuningStep]:
    """Return changes of the tuning by the sample."""
    return [
        TuningStep(round(each.at_s * rate), each.tuning, round(each.glide_s * rate), each.held)
        for each in changes
    ]


def part_tunings(part: ScorePart, changes: Iterable[Change], rate: int) -> list[TuningStep]:
    """Return the tunings of a part that has a layout of its own; none of one that has not.

    A change of the layout alone does not touch it.
    """
    steps: list[TuningStep] = []
    if part.layout is None:
        return steps
    for step in tuning_steps(changes, rate):
        tuning = part.tuned(step.tuning)
        if not steps or tuning != steps[-1].tuning:
            steps.append(replace(step, tuning=tuning))
    return steps


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
