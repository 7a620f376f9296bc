"""The notes of a score as they are written: times, pitch, and what touches them."""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from meantide.offline.score import DEFAULT_VELOCITY, ScoreNote, ScoreTouch
from meantide.offline.score_times import Beats
from meantide.perform.event import MOST_BEND_CENTS, Kind, Pitch, PitchKind
from meantide.pitch import Interval, NoteName
from meantide.reading import Fields, Value

PITCH_FORMS = "a note name, a key, or {key: ..}, {degree: ..}, {interval: ..}, {hz: ..}"
TOUCHES = {
    "bend": (Kind.BEND, -MOST_BEND_CENTS, MOST_BEND_CENTS),
    "pressure": (Kind.PRESSURE, 0.0, 1.0),
    "timbre": (Kind.TIMBRE, 0.0, 1.0),
}
"""What touches a note, and the range of each: cents, or 0 to 1."""


def read_note(value: Value, beats: Beats) -> ScoreNote:
    """Return a note, written as a mapping or as [at, for, pitch] or [at, for, pitch, velocity]."""
    touches: Fields | None = None
    if isinstance(value.data, tuple):
        items = value.items(4)
        if len(items) < 3:
            raise value.error("[at, for, pitch] or [at, for, pitch, velocity]")
        at, length, asked = items[:3]
        loud = items[3] if len(items) > 3 else None
    else:
        fields = touches = value.fields("at", "for", "pitch", "velocity", *TOUCHES)
        at, length, asked = fields["at"], fields["for"], fields["pitch"]
        loud = fields.get("velocity")
    velocity = DEFAULT_VELOCITY if loud is None else loud.number(0.001, 1.0)
    start_s, length_s = beats.seconds(at), beats.seconds(length)
    if length_s == 0:
        raise length.error("more than nothing")
    pitch, mapping = pitch_from(asked)
    return ScoreNote(
        start_s,
        length_s,
        pitch,
        mapping,
        velocity,
        asked.where,
        asked.field,
        tuple(_touches(touches, beats, start_s, length_s)) if touches is not None else (),
    )


def _touches(
    fields: Fields, beats: Beats, start_s: Fraction, length_s: Fraction
) -> Iterator[ScoreTouch]:
    """Read what touches a note: a number from its start, or a list of moves."""
    for key, (kind, low, high) in TOUCHES.items():
        value = fields.get(key)
        if value is None:
            continue
        if not isinstance(value.data, tuple):
            amount = value.number(low, high)
            yield ScoreTouch(kind, start_s, amount, where=value.where, field=value.field)
            continue
        latest_s = Fraction(0)
        for item in value.items():
            move = item.fields("at", "to", "over")
            at_s, to = beats.seconds(move["at"]), move["to"]
            if not latest_s <= at_s <= length_s:
                raise move["at"].error("a time after the note's start and within it, in order")
            latest_s = at_s
            yield ScoreTouch(
                kind,
                start_s + at_s,
                to.number(low, high),
                beats.seconds_in(move, "over"),
                to.where,
                to.field,
            )


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
