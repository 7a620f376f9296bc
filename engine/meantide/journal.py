"""Journals: a live set as lines of JSON, from which it can be rendered again bit for bit.

The first line says how the engine ran; another such line, that another engine took over when it, or
its device, was gone. Then come, in order of arrival, values under their numbers (before the event
that takes them), parts with their names (before their events) and events, each with the sample it
acts at and the one it was heard at; and now and then a line with the sample that the set has come
to, of which the last says where it ended.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meantide import __version__
from meantide.document import parse_json
from meantide.errors import InvalidValue
from meantide.layout_files import read_layout
from meantide.perform.balance import MOST_WIDTH
from meantide.perform.event import (
    MOST_BEND_CENTS,
    MOST_THINNED,
    Event,
    Held,
    Kind,
    Pitch,
    PitchKind,
)
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.perform.part_events import MOST_LIMIT
from meantide.pitch import Tuning
from meantide.pitch_files import read_anchor
from meantide.reading import Value
from meantide.scale_files import read_scale
from meantide.voice.kernels import KERNELS, NUMPY
from meantide.voice.voices import Voice
from meantide.voice_files import read_voice, voice_to_mapping

LARGEST = 2**62
MOST_PART = 4096
"""The highest number of a part."""
AMOUNTS = {
    Kind.NOTE_ON: (0.0, 1.0),
    Kind.PAN: (-1.0, 1.0),
    Kind.LEVEL: (QUIETEST_DB, LOUDEST_DB),
    Kind.PART_LEVEL: (QUIETEST_DB, LOUDEST_DB),
    Kind.BEND: (-MOST_BEND_CENTS, MOST_BEND_CENTS),
    Kind.PRESSURE: (0.0, 1.0),
    Kind.TIMBRE: (0.0, 1.0),
    Kind.SUSTAIN: (0.0, 1.0),
    Kind.SOSTENUTO: (0.0, 1.0),
    Kind.WIDTH: (0.0, MOST_WIDTH),
    Kind.MODE: (0.0, 1.0),
    Kind.LIMIT: (0.0, MOST_LIMIT),
    Kind.THIN: (1.0, MOST_THINNED),
}
"""What an event's amount may be, by its kind; others have none."""
NO_AMOUNT = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class JournalHead:
    """How the engine ran: samples a second, frames a block, the most notes at once, its kernel.

    `sample` is the first that it made: one that takes over from another goes on in its time.
    """

    rate: int
    block: int
    notes: int
    kernel: str
    sample: int = 0


@dataclass(frozen=True, slots=True)
class Run:
    """What one engine was given of a set: its events, and with each the sample it was heard at."""

    head: JournalHead
    events: tuple[Event, ...]
    heard: tuple[int, ...]
    ended: int
    """The sample it came to, as far as the journal tells."""


@dataclass(frozen=True, slots=True)
class Journal:
    """A whole journal read back: the engines that played one after the other, in order of time.

    All of them have the rate of the first.
    """

    runs: tuple[Run, ...]
    values: Mapping[int, Tuning | Voice]
    parts: Mapping[int, str]
    """The names of the parts that were made; 0, `main`, is not among them."""

    @property
    def head(self) -> JournalHead:
        """How the first engine ran."""
        return self.runs[0].head

    @property
    def events(self) -> tuple[Event, ...]:
        """All events, in order of arrival."""
        return tuple(event for run in self.runs for event in run.events)

    @property
    def heard(self) -> tuple[int, ...]:
        """The sample each event was heard at."""
        return tuple(sample for run in self.runs for sample in run.heard)

    @property
    def ended(self) -> int:
        """The sample it came to in the end."""
        return self.runs[-1].ended


def head_line(head: JournalHead) -> str:
    """Return the first line of a journal."""
    return _line(
        meantide=__version__, kind="journal", rate=head.rate, block=head.block, notes=head.notes,
        kernel=head.kernel, sample=head.sample,
    )  # fmt: skip


def value_line(number: int, value: Tuning | Voice) -> str:
    """Return the line that gives a value its number."""
    if not isinstance(value, Tuning):
        return _line(value=number, voice=voice_to_mapping(value))
    tuning = {
        "scale": value.scale.to_mapping(),
        "anchor": value.anchor.to_mapping(),
        "layout": value.layout.to_mapping(),
    }
    return _line(value=number, tuning=tuning)


def part_line(number: int, name: str) -> str:
    """Return the line that gives a part its name."""
    return _line(part=number, named=name)


def event_line(heard: int, event: Event) -> str:
    """Return the line of an event heard at `heard`; fields at their defaults go unsaid."""
    said = {
        name: int(value) if isinstance(value, int) else value
        for name, value in event._asdict().items()
        if name not in ("kind", "pitch", "sample") and value != Event._field_defaults[name]
    }
    if event.pitch.kind != PitchKind.NONE:
        said["pitch"] = [event.pitch.kind.name, event.pitch.value, event.pitch.octave]
    return _line(event=event.kind.name, heard=heard, sample=event.sample, **said)


def end_line(sample: int) -> str:
    """Return the last line."""
    return _line(ended=sample)


def read_journal(path: Path) -> Journal:
    """Read the journal in the file `path`; InvalidValue naming file and line if it is none.

    A last line cut short, as by a crash, is left out; without an end the last event is the end.
    """
    try:
        lines = path.read_text(encoding="utf-8").split("\n")
    except (OSError, ValueError) as error:  # ValueError: no UTF-8, or a zero in the path
        raise InvalidValue("journal", str(path), f"a readable file ({error})") from error
    whole = lines[:-1]  # what follows the last line's end is empty, or was cut
    records = [parse_json(line, f"{path}:{number}") for number, line in enumerate(whole, start=1)]
    if not records:
        raise InvalidValue("journal", "no line", "a first line of kind journal", str(path))
    runs = [_Running(_read_head(records[0]))]
    values: dict[int, Tuning | Voice] = {}
    parts: dict[int, str] = {}
    for record in records[1:]:
        form = record.fields("value", "tuning", "voice", "event", "heard", "sample", "part", "note",
                             "pitch", "amount", "samples", "held", "named", "ended", "meantide",
                             "kind", "rate", "block", "notes", "kernel").only_one_of(
            "tuning", "voice", "event", "named", "ended", "meantide"
        )  # fmt: skip
        if form == "event":
            runs[-1].add(*_read_event(record))
        elif form == "ended":
            runs[-1].ended = record.fields("ended").integer("ended", 0, LARGEST)
        elif form == "meantide":
            runs.append(_Running(_read_next_head(record, runs[-1])))
        elif form == "named":
            named = record.fields("part", "named")
            parts[named.integer("part", 1, MOST_PART)] = named.text("named")
        else:
            number, value = _read_value(record)
            values[number] = value
    until = [*(run.head.sample for run in runs[1:]), None]
    done = tuple(run.done(upto) for run, upto in zip(runs, until, strict=True))
    return Journal(done, values, parts)


class _Running:
    """A run of which more is read."""

    def __init__(self, head: JournalHead) -> None:
        self.head, self.ended, self.came_to = head, head.sample, head.sample
        self._events: list[Event] = []
        self._heard: list[int] = []

    def add(self, heard: int, event: Event) -> None:
        """Take in an event."""
        self._events.append(event)
        self._heard.append(heard)
        self.came_to = heard
        self.ended = max(self.ended, event.sample)

    def done(self, until: int | None) -> Run:
        """Return the run, without what was dated from `until` on: the engine was gone by then."""
        acted = [
            (heard, event)
            for heard, event in zip(self._heard, self._events, strict=True)
            if until is None or event.sample < until
        ]
        ended = self.ended if until is None else min(self.ended, until)
        return Run(
            self.head, tuple(event for _, event in acted), tuple(heard for heard, _ in acted), ended
        )


def _read_next_head(record: Value, before: _Running) -> JournalHead:
    """Read the head of an engine that took over."""
    head = _read_head(record)
    if head.rate != before.head.rate:
        raise record.error(f"the rate of the set, {before.head.rate}", str(head.rate))
    if head.sample < before.came_to:
        allowed = f"a sample from {before.came_to} on, where the engine before it was"
        raise record.error(allowed, str(head.sample))
    return head


def _read_head(record: Value) -> JournalHead:
    fields = record.fields("meantide", "kind", "rate", "block", "notes", "kernel", "sample")
    fields.text("meantide")
    fields.choice("kind", ("journal",))
    return JournalHead(
        fields.integer("rate", 8_000, 192_000),
        fields.integer("block", 1, 8192),
        fields.integer("notes", 1, 4096),
        fields.choice("kernel", KERNELS, NUMPY),  # older journals do not say it
        fields.integer("sample", 0, LARGEST, 0),  # nor this
    )


def _read_value(record: Value) -> tuple[int, Tuning | Voice]:
    fields = record.fields("value", "tuning", "voice")
    number = fields.integer("value", 1, LARGEST)
    if "voice" in fields:
        return number, read_voice(fields["voice"])
    tuning = fields.fields("tuning", "scale", "anchor", "layout")
    return number, Tuning(
        read_scale(tuning["scale"]), read_anchor(tuning["anchor"]), read_layout(tuning["layout"])
    )


def _read_event(record: Value) -> tuple[int, Event]:
    fields = record.fields(
        "event", "heard", "sample", "part", "note", "pitch", "amount", "samples", "value", "held"
    )
    pitch = Pitch(PitchKind.NONE, 0.0)
    if "pitch" in fields:
        items = fields["pitch"].items(3)
        if len(items) < 3:
            raise fields["pitch"].error("[kind, value, octave]", f"{len(items)} items")
        kind, value, octave = items
        pitch = Pitch(
            PitchKind[kind.choice([each.name for each in PitchKind])],
            value.number(-1e12, 1e12),
            octave.integer(-1000, 1000),
        )
    defaults = Event._field_defaults
    what = Kind[fields.choice("event", [each.name for each in Kind])]
    low, high = AMOUNTS.get(what, NO_AMOUNT)
    event = Event(
        what,
        fields.integer("sample", 0, LARGEST),
        fields.integer("part", -1, MOST_PART, defaults["part"]),
        fields.integer("note", -LARGEST, LARGEST, defaults["note"]),
        pitch,
        fields.number("amount", low, high, defaults["amount"]),
        fields.integer("samples", 0, LARGEST, defaults["samples"]),
        fields.integer("value", 0, LARGEST, defaults["value"]),
        Held(fields.integer("held", 0, 1, defaults["held"])),
    )
    return fields.integer("heard", 0, LARGEST), event


def _line(**said: Any) -> str:
    return json.dumps(said, allow_nan=False) + "\n"
