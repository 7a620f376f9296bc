"""The log of a take: what was asked to sound, at which sample and at how many Hz.

A renderer builds a `TakeLog` and writes `to_json()` beside its audio; the assay reads it back with
`read()` or `from_json()`. Samples count from the start of the take; floats keep all their digits.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from meantide.errors import InvalidValue
from meantide.offline.jsonfields import Fields, parse

HELD = ("follow", "stay")
FORMATS = ("float32", "pcm24", "pcm16")


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
    def from_fields(cls, fields: Fields) -> Self:
        """Read one partial; InvalidValue when it is not one."""
        return cls(
            fields.number("ratio", above=0.0),
            fields.number("level_db"),
            fields.number_or_null("decay_s", above=0.0),
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
    def from_fields(cls, fields: Fields) -> Self:
        """Read one step of a note's frequency; InvalidValue when it is not one."""
        return cls(
            fields.whole("sample"), fields.whole("glide_samples"), fields.number("hz", above=0.0)
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
    def from_fields(cls, fields: Fields) -> Self:
        """Read one note; InvalidValue when it is not one, or its samples are out of order."""
        note = cls(
            fields.whole("id"),
            fields.text("part"),
            fields.text("voice"),
            fields.mapping("pitch"),
            fields.number("velocity", above=0.0, including=True, most=1.0),
            fields.number("level_db"),
            fields.whole("start"),
            fields.whole("release"),
            fields.whole("end"),
            fields.items("pitches", LoggedPitch.from_fields),
        )
        if note.release < note.start:
            raise fields.refuse("release", note.release, f"start ({note.start}) or later")
        if note.end < note.release:
            raise fields.refuse("end", note.end, f"release ({note.release}) or later")
        note._check_pitches(fields)
        return note

    def _check_pitches(self, fields: Fields) -> None:
        if not self.pitches:
            raise fields.refuse("pitches", [], "at least one frequency")
        first = self.pitches[0]
        if first.sample != self.start:
            raise fields.refuse("pitches[0].sample", first.sample, f"start ({self.start})")
        if first.glide_samples:
            raise fields.refuse(
                "pitches[0].glide_samples", first.glide_samples, "0, as nothing came before it"
            )
        for place, (earlier, later) in enumerate(zip(self.pitches, self.pitches[1:], strict=False)):
            if later.sample < earlier.sample:
                raise fields.refuse(
                    f"pitches[{place + 1}].sample", later.sample, f"{earlier.sample} or later"
                )


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
    def from_fields(cls, fields: Fields) -> Self:
        """Read one tuning; InvalidValue when it is not one."""
        return cls(
            fields.whole("sample"),
            fields.mapping("scale"),
            fields.mapping("anchor"),
            fields.mapping("layout"),
            fields.whole("glide_samples"),
            fields.choice("held", HELD),
        )


@dataclass(frozen=True, slots=True)
class TakeLog:
    """All that was asked to sound in one take.

    `meantide` is the version that made it; `wav` the file name of the audio, which lies beside the
    log; `ceiling_samples` how many samples the soft ceiling touched.
    """

    meantide: str
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
        fields = Fields(parse(text, where), where)
        fields.choice("kind", ("take",))
        log = cls(
            fields.text("meantide"),
            fields.text("wav"),
            fields.whole("rate", least=1),
            fields.whole("frames"),
            fields.whole("channels", least=1),
            fields.choice("format", FORMATS),
            fields.text("title"),
            fields.text("score"),
            fields.number("level_db"),
            fields.whole("ceiling_samples"),
            fields.items("tunings", LoggedTuning.from_fields),
            fields.named(
                "voices", lambda voice: voice.items("partials", LoggedPartial.from_fields)
            ),
            fields.items("notes", LoggedNote.from_fields),
        )
        fields.done()
        log._check_notes(fields)
        return log

    def _check_notes(self, fields: Fields) -> None:
        """Check what no note knows alone: its voice, the take's length, whether its id is new."""
        seen: set[int] = set()
        for place, note in enumerate(self.notes):
            if note.voice not in self.voices:
                known = ", ".join(sorted(self.voices)) or "none"
                raise fields.refuse(f"notes[{place}].voice", note.voice, f"a voice here: {known}")
            if note.end > self.frames:
                raise fields.refuse(f"notes[{place}].end", note.end, f"at most {self.frames}")
            if note.id in seen:
                raise fields.refuse(f"notes[{place}].id", note.id, "an id no other note has")
            seen.add(note.id)


def read(path: Path) -> TakeLog:
    """Read the log in the file `path`; InvalidValue when it cannot be read or is not a log."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidValue("log", str(path), f"a readable UTF-8 file ({error})") from error
    return TakeLog.from_json(text, str(path))


def _read_voice(fields: Fields) -> tuple[LoggedPartial, ...]:
    return fields.items("partials", LoggedPartial.from_fields)


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _rows(brackets: str, rows: list[str]) -> str:
    return brackets[0] + ",".join(f"\n  {row}" for row in rows) + "\n" + brackets[1]
