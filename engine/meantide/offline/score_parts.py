"""The parts of a score as they are written: notes, pedals, and changes of their voice."""

from collections.abc import Callable
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.offline.score import ScoreNote, ScorePart, ScorePedal, ScoreSetting
from meantide.offline.score_notes import read_note
from meantide.offline.score_times import Beats
from meantide.perform.event import Kind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.reading import Fields, Value
from meantide.voice.parameters import with_parameter
from meantide.voice.voices import Voice

PART_FIELDS = ("voice", "notes", "level_db", "pan", "glide", "pedals", "settings")
FindVoice = Callable[[Value], Voice]


def read_part(
    name: str, fields: Fields, beats: Beats, voice: Voice, find_voice: FindVoice
) -> ScorePart:
    """Return the part whose fields (PART_FIELDS) are these; `voice` is what it begins with.

    A pedal that is still down at the end comes up where the last note ends.
    """
    notes = tuple(read_note(item, beats) for item in fields.items("notes"))
    return ScorePart(
        name,
        voice,
        notes,
        fields.number("level_db", QUIETEST_DB, LOUDEST_DB, 0.0),
        fields.number("pan", -1.0, 1.0, 0.0),
        beats.seconds_in(fields, "glide"),
        _pedals(fields.get("pedals"), beats, notes),
        _settings(fields.get("settings"), beats, voice, find_voice),
    )


def _pedals(
    value: Value | None, beats: Beats, notes: tuple[ScoreNote, ...]
) -> tuple[ScorePedal, ...]:
    pedals: list[ScorePedal] = []
    down: dict[str, Fraction] = {}
    for item in () if value is None else value.items():
        fields = item.fields("at", "sustain", "sostenuto")
        pedal = fields.only_one_of("sustain", "sostenuto")
        way = fields.choice(pedal, ("down", "up"))
        at_s = _in_order(fields["at"], beats, pedals[-1].at_s if pedals else Fraction(0))
        if (way == "down") == (pedal in down):
            raise fields[pedal].error("up" if way == "down" else "down", f"{way}, as it is already")
        if way == "down":
            down[pedal] = at_s
        elif down.pop(pedal) == at_s:
            raise fields["at"].error("a time after it went down")
        pedals.append(ScorePedal(at_s, Kind[pedal.upper()], way == "down"))
    end_s = max((note.start_s + note.length_s for note in notes), default=Fraction(0))
    for pedal, since_s in down.items():
        pedals.append(ScorePedal(max(end_s, since_s), Kind[pedal.upper()], False))
    return tuple(pedals)


def _settings(
    value: Value | None, beats: Beats, voice: Voice, find_voice: FindVoice
) -> tuple[ScoreSetting, ...]:
    settings: list[ScoreSetting] = []
    for item in () if value is None else value.items():
        fields = item.fields("at", "set", "over", "voice")
        at_s = _in_order(fields["at"], beats, settings[-1].at_s if settings else Fraction(0))
        if fields.only_one_of("set", "voice") == "voice":
            if "over" in fields:
                raise fields["over"].error(
                    "over with set alone: another voice is for the next notes"
                )
            voice = find_voice(fields["voice"])
            settings.append(ScoreSetting(at_s, voice))
            continue
        parameters = fields["set"].entries()
        if not parameters:
            raise fields["set"].error("at least one parameter and its value", "nothing")
        for name, number in parameters:
            voice = _with_parameter(voice, name, number)
        settings.append(ScoreSetting(at_s, voice, True, beats.seconds_in(fields, "over")))
    return tuple(settings)


def _with_parameter(voice: Voice, name: str, value: Value) -> Voice:
    """Return `voice` with one number changed; InvalidValue naming the place."""
    number = value.number(-1e9, 1e9)
    try:
        return with_parameter(voice, name, number)
    except InvalidValue as error:
        raise type(error)(value.field, error.got, error.allowed, value.where) from None


def _in_order(value: Value, beats: Beats, before_s: Fraction) -> Fraction:
    at_s = beats.seconds(value)
    if at_s < before_s:
        raise value.error("what happens in order of time")
    return at_s
