"""The log of a take: what was asked to sound, at which sample and at how many Hz.

A renderer builds a `TakeLog` and writes `to_json()` beside its audio; the assay reads it back with
`read()` or `from_json()`. Samples count from the start of the take; floats keep all their digits.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from meantide.document import parse_json
from meantide.errors import InvalidValue
from meantide.offline.takelog_note import LoggedNote, field_error, mapping_of
from meantide.offline.takelog_voice import (
    COUNTS,
    LEVELS_DB,
    LoggedPartial,
    LoggedVoice,
    partials_of,
)
from meantide.reading import Value

HELD = ("follow", "stay")
FORMATS = ("float32", "pcm24", "pcm16")
MOST_LIMITED_DB = 1000.0
METERED_DB = (-1000.0, 1000.0)
KERNELS = ("compiled", "numpy")  # written out here: what reads takes loads nothing that makes sound


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
            fields.integer("sample", *COUNTS),
            mapping_of(fields["scale"]),
            mapping_of(fields["anchor"]),
            mapping_of(fields["layout"]),
            fields.integer("glide_samples", *COUNTS),
            fields.choice("held", HELD),
        )


@dataclass(frozen=True, slots=True)
class TakeLog:
    """All that was asked to sound in one take.

    `meantide` is the version that made it, `kernel` the kernel; `wav` the file name of the audio,
    which lies beside the log; `limited_db` the most that the limiter took off; `loudness_lufs` and
    `true_peak_dbtp` those of the whole take; `spectra` partials that notes have in place of their
    voice's, each as many.
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
    limited_db: float
    loudness_lufs: float
    true_peak_dbtp: float
    tunings: tuple[LoggedTuning, ...]
    voices: Mapping[str, LoggedVoice]
    notes: tuple[LoggedNote, ...]
    spectra: Mapping[str, tuple[LoggedPartial, ...]] = field(default_factory=dict)

    def to_json(self) -> str:
        """Return the log as JSON text, one note, tuning and voice a line; NaN raises ValueError."""
        voices = {name: voice.as_json() for name, voice in self.voices.items()}
        spectra = {
            name: [partial.as_json() for partial in partials]
            for name, partials in self.spectra.items()
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
            f'"limited_db": {_line(self.limited_db)}',
            f'"loudness_lufs": {_line(self.loudness_lufs)}',
            f'"true_peak_dbtp": {_line(self.true_peak_dbtp)}',
            '"tunings": ' + _rows("[]", [_line(each.as_json()) for each in self.tunings]),
            '"voices": ' + _named_rows(voices),
            *(['"spectra": ' + _named_rows(spectra)] if spectra else []),
            '"notes": ' + _rows("[]", [_line(each.as_json()) for each in self.notes]),
        ]
        return "{\n" + ",\n".join(members) + "\n}\n"

    @classmethod
    def from_json(cls, text: str, where: str) -> Self:
        """Read a log from `text`; `where` (a file name) stands in the InvalidValue of a bad one."""
        fields = parse_json(text, where).fields(
            "meantide", "kind", "kernel", "wav", "rate", "frames", "channels", "format", "title",
            "score", "level_db", "limited_db", "loudness_lufs", "true_peak_dbtp", "tunings",
            "voices", "spectra", "notes",
        )  # fmt: skip
        fields.choice("kind", ("take",))
        log = cls(
            fields["meantide"].verbatim(),
            fields.choice("kernel", KERNELS, "numpy"),  # older takes do not say it
            fields["wav"].verbatim(),
            fields.integer("rate", 1, 1_000_000),
            fields.integer("frames", *COUNTS),
            fields.integer("channels", 1, 1024),
            fields.choice("format", FORMATS),
            fields["title"].verbatim(),
            fields["score"].verbatim(),
            fields.number("level_db", *LEVELS_DB),
            fields.number("limited_db", 0.0, MOST_LIMITED_DB),
            fields.number("loudness_lufs", *METERED_DB),
            fields.number("true_peak_dbtp", *METERED_DB),
            tuple(LoggedTuning.from_value(item) for item in fields.items("tunings")),
            {name: LoggedVoice.from_value(voice) for name, voice in fields["voices"].entries()},
            tuple(LoggedNote.from_value(item) for item in fields.items("notes")),
            _spectra(fields.get("spectra")),
        )
        log._check_notes(fields["notes"])
        return log

    def _check_notes(self, value: Value) -> None:
        """Check what no note knows alone: its voice, the take's length, whether its id is new."""
        seen: set[int] = set()
        for note, item in zip(self.notes, value.items(), strict=True):
            if note.voice not in self.voices:
                known = ", ".join(sorted(self.voices)) or "none"
                raise field_error(item, "voice", f"a voice here: {known}")
            if note.end > self.frames:
                raise field_error(item, "end", f"at most {self.frames}")
            if note.id in seen:
                raise field_error(item, "id", "an id no other note has")
            seen.add(note.id)
            self._check_partials(note, item)

    def _check_partials(self, note: LoggedNote, item: Value) -> None:
        """Check that what a note says of its partials fits those of its voice."""
        count = len(self.voices[note.voice].partials)
        inner = dict(item.entries())
        if len(note.drift_phases) not in (0, count):
            got = f"{len(note.drift_phases)} phases"
            raise inner["drift_phases"].error(f"{count}, one for each partial", got)
        for pitch, step in zip(note.pitches, inner["pitches"].items(), strict=True):
            if pitch.spectrum is None:
                continue
            if len(self.spectra.get(pitch.spectrum, ())) != count:
                raise field_error(step, "spectrum", f"a spectrum here, of {count} partials")


def read(path: Path) -> TakeLog:
    """Read the log in the file `path`; InvalidValue when it cannot be read or is not a log."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:  # ValueError: no UTF-8, or a zero in the path
        raise InvalidValue("log", str(path), f"a readable UTF-8 file ({error})") from error
    return TakeLog.from_json(text, str(path))


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _rows(brackets: str, rows: list[str]) -> str:
    return brackets[0] + ",".join(f"\n  {row}" for row in rows) + "\n" + brackets[1]


def _named_rows(members: Mapping[str, object]) -> str:
    return _rows("{}", [f"{_line(name)}: {_line(each)}" for name, each in members.items()])


def _spectra(value: Value | None) -> dict[str, tuple[LoggedPartial, ...]]:
    return {name: partials_of(each) for name, each in value.entries()} if value else {}
