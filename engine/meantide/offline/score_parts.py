"""The parts of a score as they are written: notes, pedals, and changes of their voice."""

from collections.abc import Callable
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.offline.score import ScoreMove, ScoreNote, ScorePart, ScorePedal, ScoreSetting
from meantide.offline.score_notes import read_note
from meantide.offline.score_times import Beats
from meantide.perform.balance import MOST_WIDTH
from meantide.perform.event import Kind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.perform.performance import MOST_NOTES
from meantide.pitch import Layout
from meantide.reading import Fields, Value
from meantide.voice.parameters import with_parameter
from meantide.voice.voices import Voice

PART_FIELDS = (
    "voice", "notes", "layout", "level_db", "pan", "width", "mode", "most_notes", "glide",
    "pedals", "settings",
)  # fmt: skip
MOVES = {
    "level_db": (Kind.PART_LEVEL, QUIETEST_DB, LOUDEST_DB),
    "pan": (Kind.PAN, -1.0, 1.0),
    "width": (Kind.WIDTH, 0.0, MOST_WIDTH),
}
"""What settings move of a part itself, and the range of each."""
FindVoice = Callable[[Value], Voice]


def read_part(
    name: str,
    fields: Fields,
    beats: Beats,
    voice: Voice,
    layout: Layout | None,
    find_voice: FindVoice,
) -> ScorePart:
    """Return the part whose fields (PART_FIELDS) are these; `voice` is what it begins with.

    A pedal that is still down at the end comes up where the last note ends.
    """
    notes = tuple(read_note(item, beats) for item in fields.items("notes"))
    settings, moves = _settings(fields.get("settings"), beats, voice, find_voice)
    return ScorePart(
        name,
        voice,
        notes,
        fields.number("level_db", QUIETEST_DB, LOUDEST_DB, 0.0),
        fields.number("pan", -1.0, 1.0, 0.0),
        beats.seconds_in(fields, "glide"),
        _pedals(fields.get("pedals"), beats, notes),
        settings,
        moves,
        fields.number("width", 0.0, MOST_WIDTH, 0.0),
        fields.choice("mode", ("poly", "mono"), "poly") == "mono",
        fields.integer("most_notes", 1, MOST_NOTES) if "most_notes" in fields else 0,
        layout,
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
) -> tuple[tuple[ScoreSetting, ...], tuple[ScoreMove, ...]]:
    settings: list[ScoreSetting] = []
    moves: list[ScoreMove] = []
    at_s = Fraction(0)
    for item in () if value is None else value.items():
        fields = item.fields("at", "set", "over", "voice", *MOVES)
        at_s = _in_order(fields["at"], beats, at_s)
        what = fields.only_one_of("set", "voice", *MOVES)
        if what in MOVES:
            kind, low, high = MOVES[what]
            amount = fields.number(what, low, high)
            moves.append(ScoreMove(at_s, kind, amount, beats.seconds_in(fields, "over")))
            continue
        if what == "voice":
            if "over" in fields:
                raise fields["over"].error(
                    "over with what moves: another voice is for the next notes"
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
    return tuple(settings), tuple(moves)


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
