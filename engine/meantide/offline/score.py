"""Scores: notes and changes of tuning in seconds, and the YAML form they are read from."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from meantide.catalogue import Catalogue
from meantide.document import read_document
from meantide.errors import InvalidValue
from meantide.perform.event import Held, Pitch, PitchKind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.pitch import Interval, NoteName, Tuning
from meantide.reading import Fields, Value
from meantide.voice.voices import Voice

LONGEST_SCORE_S = 86_400
DEFAULT_SCALE, DEFAULT_ANCHOR, DEFAULT_LAYOUT = "12-equal", "a440", "linear"
DEFAULT_VOICE = "plain-reed"
DEFAULT_VELOCITY = 0.7
PITCH_FORMS = "a note name, a key, or {key: ..}, {degree: ..}, {interval: ..}, {hz: ..}"


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One note: seconds exact, its pitch and the mapping it was asked for by, where it stands."""

    start_s: Fraction
    length_s: Fraction
    pitch: Pitch
    asked: Mapping[str, object]
    velocity: float
    where: str = ""
    field: str = "pitch"


@dataclass(frozen=True, slots=True)
class ScorePart:
    """A stream of notes on one voice; `pan` -1 (left) to 1, `level_db` up to 0."""

    name: str
    voice: Voice
    notes: tuple[ScoreNote, ...]
    level_db: float = 0.0
    pan: float = 0.0


@dataclass(frozen=True, slots=True)
class Change:
    """From `at_s` on another tuning; held notes follow over `glide_s`, or stay."""

    at_s: Fraction
    tuning: Tuning
    glide_s: Fraction = Fraction(0)
    held: Held = Held.FOLLOW


@dataclass(frozen=True, slots=True)
class Score:
    """A piece: its tuning at the start, its parts, and its changes in order of time."""

    title: str
    tuning: Tuning
    parts: tuple[ScorePart, ...]
    changes: tuple[Change, ...] = ()
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Overrides:
    """What the caller wants in place of what the score says; catalogue names or paths, or None."""

    scale: str | None = None
    anchor: str | None = None
    layout: str | None = None
    voice: str | None = None


def read_score(path: Path, catalogue: Catalogue, overrides: Overrides) -> Score:
    """Read the YAML score in the file `path`; InvalidValue naming file and line if it is none."""
    value = read_document(path)
    fields = value.fields(
        "title", "scale", "anchor", "layout", "voice", "tempo", "parts", "changes", "source"
    )
    with value.placing():
        return _ScoreReader(fields, catalogue, overrides, path.parent).read()


class _ScoreReader:
    """What the parts of one score share while it is read."""

    def __init__(
        self, fields: Fields, catalogue: Catalogue, overrides: Overrides, base: Path
    ) -> None:
        self._fields, self._catalogue, self._overrides = fields, catalogue, overrides
        self._base = base
        """Paths in the score start here; those the caller gives start where the caller stands."""
        self._second = Fraction(1)
        if "tempo" in fields:
            self._second = 60 / _fraction(fields["tempo"], Fraction(1), Fraction(1000))
        self._notices: list[str] = []

    def read(self) -> Score:
        tuning = self._tuning_at_start()
        changes = self._changes(tuning)
        parts = tuple(self._part(name, part) for name, part in self._fields["parts"].entries())
        if not any(part.notes for part in parts):
            raise self._fields["parts"].error("at least one part with notes", "no notes")
        title = self._fields.text("title", "untitled")
        return Score(title, tuning, parts, changes, tuple(self._notices))

    def _tuning_at_start(self) -> Tuning:
        find = self._catalogue
        return Tuning(
            find.scale(*self._reference("scale", DEFAULT_SCALE)),
            find.anchor(*self._reference("anchor", DEFAULT_ANCHOR)),
            find.layout(*self._reference("layout", DEFAULT_LAYOUT)),
        )

    def _reference(self, key: str, default: str, *fields: Fields) -> tuple[str | Value, Path]:
        """Return what to look up for `key`, and where its paths start."""
        override: str | None = getattr(self._overrides, key)
        if override is not None:
            return override, Path()
        for given in (*fields, self._fields):
            value = given.get(key)
            if value is not None:
                return value, self._base
        return default, Path()

    def _changes(self, tuning: Tuning) -> tuple[Change, ...]:
        if "changes" not in self._fields:
            return ()
        changes: list[Change] = []
        for item in self._fields["changes"].items():
            fields = item.fields("at", "scale", "anchor", "layout", "glide", "held")
            with fields.placing():
                tuning = self._changed(tuning, fields)
            change = Change(
                self._time(fields["at"]),
                tuning,
                self._time(fields["glide"]) if "glide" in fields else Fraction(0),
                Held[fields.choice("held", ("follow", "stay"), "follow").upper()],
            )
            if changes and change.at_s < changes[-1].at_s:
                raise fields["at"].error("changes in order of time")
            changes.append(change)
        return tuple(changes)

    def _changed(self, tuning: Tuning, fields: Fields) -> Tuning:
        given = [key for key in ("scale", "anchor", "layout") if key in fields]
        if not given:
            raise InvalidValue("change", "nothing to change", "a scale, an anchor or a layout")
        changed = {}
        for key in given:
            if getattr(self._overrides, key):
                self._notices.append(f"the change of {key} in the score gives way to --{key}")
            else:
                changed[key] = getattr(self._catalogue, key)(fields[key], self._base)
        return replace(tuning, **changed)  # at once: they may fit only together

    def _part(self, name: str, value: Value) -> ScorePart:
        fields = value.fields("voice", "notes", "level_db", "pan")
        notes = tuple(self._note(item) for item in fields.items("notes"))
        return ScorePart(
            name,
            self._catalogue.voice(*self._reference("voice", DEFAULT_VOICE, fields)),
            notes,
            fields.number("level_db", QUIETEST_DB, LOUDEST_DB, 0.0),
            fields.number("pan", -1.0, 1.0, 0.0),
        )

    def _note(self, value: Value) -> ScoreNote:
        if isinstance(value.data, tuple):
            items = value.items(4)
            if len(items) < 3:
                raise value.error("[at, for, pitch] or [at, for, pitch, velocity]")
            at, length, asked = items[:3]
            loud = items[3] if len(items) > 3 else None
        else:
            fields = value.fields("at", "for", "pitch", "velocity")
            at, length, asked = fields["at"], fields["for"], fields["pitch"]
            loud = fields.get("velocity")
        velocity = DEFAULT_VELOCITY if loud is None else loud.number(0.001, 1.0)
        duration = self._time(length)
        if duration == 0:
            raise length.error("more than nothing")
        pitch, mapping = pitch_from(asked)
        return ScoreNote(
            self._time(at), duration, pitch, mapping, velocity, asked.where, asked.field
        )

    def _time(self, value: Value) -> Fraction:
        """Return beats, or seconds where there is no tempo, as exact seconds."""
        seconds = _fraction(value, Fraction(0), None) * self._second
        if seconds > LONGEST_SCORE_S:
            raise value.error(f"a time within {LONGEST_SCORE_S} seconds of the start")
        return seconds


def pitch_from(value: Value) -> tuple[Pitch, Mapping[str, object]]:
    """Return a pitch as an event carries it, and as the mapping that names it in a take's log."""
    data = value.data
    with value.placing():
        if isinstance(data, str):
            return name_pitch(NoteName.parse(value.text())), {"note": value.text()}
        if type(data) is int:
            return Pitch(PitchKind.KEY, float(value.integer(-1000, 1000))), {"key": data}
    if not isinstance(data, Mapping):
        raise value.error(PITCH_FORMS)
    fields = value.fields("key", "degree", "interval", "hz")
    form = fields.only_one_of("key", "degree", "interval", "hz")
    inner = fields[form]
    with fields.placing():
        if form == "key":
            return pitch_from(Value(inner.integer(-1000, 1000), inner.where, inner.field))
        if form == "degree":
            degree = inner.integer(-1_000_000, 1_000_000)
            return Pitch(PitchKind.DEGREE, float(degree)), {"degree": degree}
        if form == "hz":
            hz = inner.number(0.01, 96_000.0)
            return Pitch(PitchKind.HERTZ, hz), {"hz": hz}
        interval = Interval.parse(inner.text())
        return Pitch(PitchKind.INTERVAL, interval.octaves), {"interval": str(interval)}


def name_pitch(name: NoteName) -> Pitch:
    """Return the pitch of a note name."""
    return Pitch(PitchKind.NAME, float(name.chain), name.octave)


def _fraction(value: Value, low: Fraction, high: Fraction | None) -> Fraction:
    """Return a number, or a text such as 1/3, exactly as it is written."""
    data = value.data
    allowed = f"a number or fraction, {low} or more" + (f", at most {high}" if high else "")
    try:
        if isinstance(data, bool) or not isinstance(data, int | float | str):
            raise ValueError
        exact = Fraction(repr(data) if isinstance(data, float) else data)
    except (ValueError, ZeroDivisionError):
        raise value.error(allowed) from None
    if exact < low or (high is not None and exact > high):
        raise value.error(allowed)
    return exact
