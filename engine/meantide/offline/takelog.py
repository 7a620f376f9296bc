"""The log of a take: what was asked to sound, at which sample and at how many Hz.

A renderer builds a `TakeLog` and writes `to_json()` beside its audio; the assay reads it back with
`read()` or `from_json()`. Samples count from the start of the take; floats keep all their digits.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from meantide.document import parse_json
from meantide.errors import InvalidValue
from meantide.reading import Value

HELD = ("follow", "stay")
FORMATS = ("float32", "pcm24", "pcm16")
KERNELS = ("compiled", "numpy")  # written out here: what reads takes loads nothing that makes sound

# What a log may hold is wider than anything that sounds, and narrow enough to reckon with.
_COUNTS = (0, 2**62)
_POSITIVE = (1e-6, 1e9)
_LEVELS_DB = (-1e6, 1e3)


@dataclass(frozen=True, slots=True)
class LoggedPartial:
    """One partial of a voice.

    `ratio` is its frequency over the note's, inharmonicity included; `level_db` its level relative
    to the note's; `decay_s` the seconds in which it falls by 60 dB, or None if it does not.
    """

    ratio: float
    level_db: float
    decay_s: float | None = None

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {"ratio": self.ratio, "level_db": self.level_db, "decay_s": self.decay_s}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one partial; InvalidValue when it is not one."""
        fields = value.fields("ratio", "level_db", "decay_s")
        decay = fields["decay_s"]
        return cls(
            fields.number("ratio", *_POSITIVE),
            fields.number("level_db", *_LEVELS_DB),
            None if decay.data is None else decay.number(*_POSITIVE),
        )


@dataclass(frozen=True, slots=True)
class LoggedPitch:
    """From `sample` on the note moves over `glide_samples`, linear in cents, to `hz`."""

    sample: int
    glide_samples: int
    hz: float

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {"sample": self.sample, "glide_samples": self.glide_samples, "hz": self.hz}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one step of a note's frequency; InvalidValue when it is not one."""
        fields = value.fields("sample", "glide_samples", "hz")
        return cls(
            fields.integer("sample", *_COUNTS),
            fields.integer("glide_samples", *_COUNTS),
            fields.number("hz", *_POSITIVE),
        )


@dataclass(frozen=True, slots=True)
class LoggedNote:
    """One note: who played it, how loud it stands in the mix, when, and its frequencies.

    `level_db` is re full scale, in the louder channel; it sounds from `start`, is let go at
    `release`, falls from there evenly in dB by 60 to 90 dB, and is silent from `end` on (all
    samples). `pitches` begins at `start`, without a glide.
    """

    id: int
    part: str
    voice: str
    pitch: Mapping[str, object]
    velocity: float
    level_db: float
    start: int
    release: int
    end: int
    pitches: tuple[LoggedPitch, ...]

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {
            "id": self.id,
            "part": self.part,
            "voice": self.voice,
            "pitch": dict(self.pitch),
            "velocity": self.velocity,
            "level_db": self.level_db,
            "start": self.start,
            "release": self.release,
            "end": self.end,
            "pitches": [pitch.as_json() for pitch in self.pitches],
        }

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one note; InvalidValue when it is not one, or its samples are out of order."""
        fields = value.fields(
            "id", "part", "voice", "pitch", "velocity", "level_db", "start", "release", "end",
            "pitches",
        )  # fmt: skip
        note = cls(
            fields.integer("id", *_COUNTS),
            fields["part"].verbatim(),
            fields["voice"].verbatim(),
            _mapping(fields["pitch"]),
            fields.number("velocity", 0.0, 1.0),
            fields.number("level_db", *_LEVELS_DB),
            fields.integer("start", *_COUNTS),
            fields.integer("release", *_COUNTS),
            fields.integer("end", *_COUNTS),
            tuple(LoggedPitch.from_value(item) for item in fields.items("pitches")),
        )
        if note.release < note.start:
            raise fields["release"].error(f"start ({note.start}) or later")
        if note.end < note.release:
            raise fields["end"].error(f"release ({note.release}) or later")
        note._check_pitches(fields["pitches"])
        return note

    def _check_pitches(self, value: Value) -> None:
        items = value.items()
        if not items:
            raise value.error("at least one frequency", "an empty list")
        if self.pitches[0].sample != self.start:
            raise _field_error(items[0], "sample", f"start ({self.start})")
        if self.pitches[0].glide_samples:
            raise _field_error(items[0], "glide_samples", "0, as nothing came before it")
        for item, later, earlier in zip(items[1:], self.pitches[1:], self.pitches, strict=False):
            if later.sample < earlier.sample:
                raise _field_error(item, "sample", f"{earlier.sample} or later")


@dataclass(frozen=True, slots=True)
class LoggedTuning:
    """From `sample` on the take is tuned so; the three mappings are as the catalogue writes them.

    Held notes "follow" over `glide_samples`, or "stay" where they were.
    """

    sample: int
    scale: Mapping[str, object]
    anchor: Mapping[str, object]
    layout: Mapping[str, object]
    glide_samples: int = 0
    held: str = "follow"

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {
            "sample": self.sample,
            "scale": dict(self.scale),
            "anchor": dict(self.anchor),
            "layout": dict(self.layout),
            "glide_samples": self.glide_samples,
            "held": self.held,
        }

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one tuning; InvalidValue when it is not one."""
        fields = value.fields("sample", "scale", "anchor", "layout", "glide_samples", "held")
        return cls(
            fields.integer("sample", *_COUNTS),
            _mapping(fields["scale"]),
            _mapping(fields["anchor"]),
            _mapping(fields["layout"]),
            fields.integer("glide_samples", *_COUNTS),
            fields.choice("held", HELD),
        )


@dataclass(frozen=True, slots=True)
class TakeLog:
    """All that was asked to sound in one take.

    `meantide` is the version that made it, `kernel` the kernel; `wav` the file name of the audio,
    which lies beside the log; `ceiling_samples` how many samples the soft ceiling touched.
    """

    meantide: str
    kernel: str
    wav: str
    rate: int
    frames: int
    channels: int
    format: str
    title: str
    score: str
    level_db: float
    ceiling_samples: int
    tunings: tuple[LoggedTuning, ...]
    voices: Mapping[str, tuple[LoggedPartial, ...]]
    notes: tuple[LoggedNote, ...]

    def to_json(self) -> str:
        """Return the log as JSON text, one note, tuning and voice a line; NaN raises ValueError."""
        voices = {
            name: {"partials": [partial.as_json() for partial in partials]}
            for name, partials in self.voices.items()
        }
        members = [
            f'"meantide": {_line(self.meantide)}',
            '"kind": "take"',
            f'"kernel": {_line(self.kernel)}',
            f'"wav": {_line(self.wav)}',
            f'"rate": {_line(self.rate)}',
            f'"frames": {_line(self.frames)}',
            f'"channels": {_line(self.channels)}',
            f'"format": {_line(self.format)}',
            f'"title": {_line(self.title)}',
            f'"score": {_line(self.score)}',
            f'"level_db": {_line(self.level_db)}',
            f'"ceiling_samples": {_line(self.ceiling_samples)}',
            '"tunings": ' + _rows("[]", [_line(each.as_json()) for each in self.tunings]),
            '"voices": '
            + _rows("{}", [f"{_line(name)}: {_line(each)}" for name, each in voices.items()]),
            '"notes": ' + _rows("[]", [_line(each.as_json()) for each in self.notes]),
        ]
        return "{\n" + ",\n".join(members) + "\n}\n"

    @classmethod
    def from_json(cls, text: str, where: str) -> Self:
        """Read a log from `text`; `where` (a file name) stands in the InvalidValue of a bad one."""
        fields = parse_json(text, where).fields(
            "meantide", "kind", "kernel", "wav", "rate", "frames", "channels", "format", "title",
            "score", "level_db", "ceiling_samples", "tunings", "voices", "notes",
        )  # fmt: skip
        fields.choice("kind", ("take",))
        log = cls(
            fields["meantide"].verbatim(),
            fields.choice("kernel", KERNELS, "numpy"),  # older takes do not say it
            fields["wav"].verbatim(),
            fields.integer("rate", 1, 1_000_000),
            fields.integer("frames", *_COUNTS),
            fields.integer("channels", 1, 1024),
            fields.choice("format", FORMATS),
            fields["title"].verbatim(),
            fields["score"].verbatim(),
            fields.number("level_db", *_LEVELS_DB),
            fields.integer("ceiling_samples", *_COUNTS),
            tuple(LoggedTuning.from_value(item) for item in fields.items("tunings")),
            {name: _partials(voice) for name, voice in fields["voices"].entries()},
            tuple(LoggedNote.from_value(item) for item in fields.items("notes")),
        )
        log._check_notes(fields["notes"])
        return log

    def _check_notes(self, value: Value) -> None:
        """Check what no note knows alone: its voice, the take's length, whether its id is new."""
        seen: set[int] = set()
        for note, item in zip(self.notes, value.items(), strict=True):
            if note.voice not in self.voices:
                known = ", ".join(sorted(self.voices)) or "none"
                raise _field_error(item, "voice", f"a voice here: {known}")
            if note.end > self.frames:
                raise _field_error(item, "end", f"at most {self.frames}")
            if note.id in seen:
                raise _field_error(item, "id", "an id no other note has")
            seen.add(note.id)


def read(path: Path) -> TakeLog:
    """Read the log in the file `path`; InvalidValue when it cannot be read or is not a log."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:  # ValueError: no UTF-8, or a zero in the path
        raise InvalidValue("log", str(path), f"a readable UTF-8 file ({error})") from error
    return TakeLog.from_json(text, str(path))


def _partials(voice: Value) -> tuple[LoggedPartial, ...]:
    items = voice.fields("partials").items("partials")
    return tuple(LoggedPartial.from_value(item) for item in items)


def _mapping(value: Value) -> dict[str, object]:
    """Return a mapping whose insides are not ours to judge."""
    return {key: inner.plain() for key, inner in value.entries()}


def _field_error(value: Value, key: str, allowed: str) -> InvalidValue:
    """Return the error for the field `key` of a mapping that has it."""
    return dict(value.entries())[key].error(allowed)


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _rows(brackets: str, rows: list[str]) -> str:
    return brackets[0] + ",".join(f"\n  {row}" for row in rows) + "\n" + brackets[1]
