"""Scores: notes, what touches them, and changes of tuning and voice, in exact seconds."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from meantide.perform.event import Held, Kind, Pitch
from meantide.pitch import Layout, Tuning
from meantide.voice.voices import Voice

DEFAULT_SCALE, DEFAULT_ANCHOR, DEFAULT_LAYOUT = "12-equal", "a440", "linear"
DEFAULT_VOICE = "plain-reed"
DEFAULT_VELOCITY = 0.7


@dataclass(frozen=True, slots=True)
class ScoreTouch:
    """From `at_s` on a note is bent (cents), pressed or coloured (0..1) within `over_s`.

    One that begins with its note and takes no time is there from the first sample.
    """

    kind: Kind
    at_s: Fraction
    amount: float
    over_s: Fraction = Fraction(0)
    where: str = ""
    field: str = ""


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
    touches: tuple[ScoreTouch, ...] = ()


@dataclass(frozen=True, slots=True)
class ScorePedal:
    """At `at_s` a part's pedal (SUSTAIN or SOSTENUTO) goes down, or comes up."""

    at_s: Fraction
    kind: Kind
    down: bool


@dataclass(frozen=True, slots=True)
class ScoreSetting:
    """From `at_s` on a part has another voice.

    If it is a `version` of the one before, the notes that sound come to it over `over_s`.
    """

    at_s: Fraction
    voice: Voice
    version: bool = False
    over_s: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class ScoreMove:
    """From `at_s` on a part moves within `over_s`: PART_LEVEL (dB), PAN or WIDTH."""

    at_s: Fraction
    kind: Kind
    amount: float
    over_s: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class ScorePart:
    """A stream of notes; `pan` -1 (left) to 1, `width` up to 1, `level_db` up to 0.

    `voice` is the one it begins with; each note comes from the one before within `glide_s`. It
    plays one note at a time if it is `mono`, and at most `limit` (0: as many as there is room
    for); its keys go through its own `layout`, if it has one. Pedals, settings and moves are in
    order of time.
    """

    name: str
    voice: Voice
    notes: tuple[ScoreNote, ...]
    level_db: float = 0.0
    pan: float = 0.0
    glide_s: Fraction = Fraction(0)
    pedals: tuple[ScorePedal, ...] = ()
    settings: tuple[ScoreSetting, ...] = ()
    moves: tuple[ScoreMove, ...] = ()
    width: float = 0.0
    mono: bool = False
    limit: int = 0
    layout: Layout | None = None

    def tuned(self, tuning: Tuning) -> Tuning:
        """Return `tuning` as the part has it; InvalidValue if its layout does not fit the scale."""
        return tuning if self.layout is None else replace(tuning, layout=self.layout)


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
