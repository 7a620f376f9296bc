"""What a take's log says of a note: who played it, when, how loud, and at which frequencies."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from meantide.errors import InvalidValue
from meantide.offline.takelog_voice import CENTS, COUNTS, LESS_DB, LEVELS_DB, POSITIVE
from meantide.reading import Value


@dataclass(frozen=True, slots=True)
class LoggedPitch:
    """From `sample` on the note moves over `glide_samples`, linear in cents, to `hz`.

    With a `spectrum` its partials move, each from where it was, to those of that name in the log;
    without one they stay those that they were, at first the voice's own.
    """

    sample: int
    glide_samples: int
    hz: float
    spectrum: str | None = None

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        found: dict[str, object] = {
            "sample": self.sample,
            "glide_samples": self.glide_samples,
            "hz": self.hz,
        }
        return found if self.spectrum is None else found | {"spectrum": self.spectrum}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one step of a note's frequency; InvalidValue when it is not one."""
        fields = value.fields("sample", "glide_samples", "hz", "spectrum")
        spectrum = fields.get("spectrum")
        return cls(
            fields.integer("sample", *COUNTS),
            fields.integer("glide_samples", *COUNTS),
            fields.number("hz", *POSITIVE),
            None if spectrum is None else spectrum.verbatim(),
        )


@dataclass(frozen=True, slots=True)
class LoggedDepth:
    """From `sample` on the vibrato's depth moves over `ramp_samples`, linearly, to `cents`."""

    sample: int
    ramp_samples: int
    cents: float

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {"sample": self.sample, "ramp_samples": self.ramp_samples, "cents": self.cents}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one step of a vibrato's depth; InvalidValue when it is not one."""
        fields = value.fields("sample", "ramp_samples", "cents")
        return cls(
            fields.integer("sample", *COUNTS),
            fields.integer("ramp_samples", *COUNTS),
            fields.number("cents", *CENTS),
        )


@dataclass(frozen=True, slots=True)
class LoggedTurn:
    """From `sample` on the note goes on for another key, which was asked for so."""

    sample: int
    pitch: Mapping[str, object]

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {"sample": self.sample, "pitch": dict(self.pitch)}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one turn of a note; InvalidValue when it is not one."""
        fields = value.fields("sample", "pitch")
        return cls(fields.integer("sample", *COUNTS), mapping_of(fields["pitch"]))


@dataclass(frozen=True, slots=True)
class LoggedNote:
    """One note: who played it, how loud it stands in the mix, when, and its frequencies.

    `level_db` is re full scale, in the louder channel, the most it comes to; touch, and a part
    that moves, may leave it up to `quieter_db` below that. It sounds from `start`, is let go at
    `release`, falls from there evenly in dB by 60 to 90 dB, and is silent from `end` on (all
    samples). `pitches` begins at `start`, without a glide. `depths`, if any, are its vibrato's,
    beginning at `start` without a ramp; `drift_phases`, if any, are cycles, one a partial. From
    the sample `told_until` on it moves in ways that the log does not tell, by touch or a change of
    its voice; None: it never does. `pan` is where it begins, -1 (left) to 1; `legato` are the keys
    that it goes on for, of a part that plays one note at a time.
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
    quieter_db: float = 0.0
    depths: tuple[LoggedDepth, ...] = ()
    drift_phases: tuple[float, ...] = ()
    told_until: int | None = None
    pan: float = 0.0
    legato: tuple[LoggedTurn, ...] = ()

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log; what is usual is left out."""
        found: dict[str, object] = {
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
        if self.quieter_db:
            found["quieter_db"] = self.quieter_db
        if self.depths:
            found["depths"] = [depth.as_json() for depth in self.depths]
        if self.drift_phases:
            found["drift_phases"] = list(self.drift_phases)
        if self.told_until is not None:
            found["told_until"] = self.told_until
        if self.pan:
            found["pan"] = self.pan
        if self.legato:
            found["legato"] = [turn.as_json() for turn in self.legato]
        return found

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one note; InvalidValue when it is not one, or its samples are out of order."""
        fields = value.fields(
            "id", "part", "voice", "pitch", "velocity", "level_db", "start", "release", "end",
            "pitches", "quieter_db", "depths", "drift_phases", "told_until", "pan",
            "legato",
        )  # fmt: skip
        depths, phases, told, legato = (
            fields.get(key) for key in ("depths", "drift_phases", "told_until", "legato")
        )
        note = cls(
            fields.integer("id", *COUNTS),
            fields["part"].verbatim(),
            fields["voice"].verbatim(),
            mapping_of(fields["pitch"]),
            fields.number("velocity", 0.0, 1.0),
            fields.number("level_db", *LEVELS_DB),
            fields.integer("start", *COUNTS),
            fields.integer("release", *COUNTS),
            fields.integer("end", *COUNTS),
            tuple(LoggedPitch.from_value(item) for item in fields.items("pitches")),
            fields.number("quieter_db", *LESS_DB, 0.0),
            tuple(LoggedDepth.from_value(item) for item in depths.items()) if depths else (),
            tuple(item.number(0.0, 1.0) for item in phases.items()) if phases else (),
            None if told is None else told.integer(*COUNTS),
            fields.number("pan", -1.0, 1.0, 0.0),
            tuple(LoggedTurn.from_value(item) for item in legato.items()) if legato else (),
        )
        if note.release < note.start:
            raise fields["release"].error(f"start ({note.start}) or later")
        if note.end < note.release:
            raise fields["end"].error(f"release ({note.release}) or later")
        pitches = [(pitch.sample, pitch.glide_samples) for pitch in note.pitches]
        if not pitches:
            raise fields["pitches"].error("at least one frequency", "an empty list")
        _check_steps(fields["pitches"], "glide_samples", note.start, pitches)
        if depths:
            steps = [(depth.sample, depth.ramp_samples) for depth in note.depths]
            _check_steps(depths, "ramp_samples", note.start, steps)
        return note


def _check_steps(value: Value, length: str, start: int, steps: list[tuple[int, int]]) -> None:
    """Check that steps (sample, length) begin at `start`, at once, and are in order."""
    items = value.items()
    if steps and steps[0][0] != start:
        raise field_error(items[0], "sample", f"start ({start})")
    if steps and steps[0][1]:
        raise field_error(items[0], length, "0, as nothing came before it")
    for item, later, earlier in zip(items[1:], steps[1:], steps, strict=False):
        if later[0] < earlier[0]:
            raise field_error(item, "sample", f"{earlier[0]} or later")


def mapping_of(value: Value) -> dict[str, object]:
    """Return a mapping whose insides are not ours to judge."""
    return {key: inner.plain() for key, inner in value.entries()}


def field_error(value: Value, key: str, allowed: str) -> InvalidValue:
    """Return the error for the field `key` of a mapping that has it."""
    return dict(value.entries())[key].error(allowed)
