"""The addresses that are understood: one table, from which arguments are read and checked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from meantide import __version__
from meantide.errors import InvalidValue, not_found
from meantide.live.control import Control
from meantide.live.wire import Argument, Message
from meantide.perform.event import MOST_BEND_CENTS, Held, Kind, Pitch, PitchKind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.pitch import NoteName, Scale
from meantide.pitch.air import COLDEST_IDEAL, HOTTEST_IDEAL

LARGEST_ID = 2**53
LONGEST_S = 60.0

Reply = tuple[str, tuple[Argument, ...]]
Reader = Callable[[Argument], Any]


@dataclass(frozen=True, slots=True)
class Slot:
    """One argument: its name, how it is read, and whether it may be left out."""

    name: str
    read: Reader
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Address:
    """What an address does with its arguments, which are already read."""

    act: Callable[..., Sequence[Reply] | None]
    slots: tuple[Slot, ...] = ()
    rest: bool = False
    """Whether any further arguments are passed on as they are."""


def obey(control: Control, message: Message) -> Sequence[Reply]:
    """Do what `message` asks; return the replies it wants.

    Raises InvalidValue, and changes nothing, if it cannot be done.
    """
    address = ADDRESSES.get(message.address)
    if address is None:
        raise not_found("address", message.address, ADDRESSES)
    return address.act(control, *_read_arguments(address, message.arguments)) or ()


def _read_arguments(address: Address, arguments: tuple[Argument, ...]) -> list[Any]:
    slots = address.slots
    needed = sum(not slot.optional for slot in slots)
    if len(arguments) < needed or (len(arguments) > len(slots) and not address.rest):
        wanted = ", ".join(f"[{s.name}]" if s.optional else s.name for s in slots) or "none"
        raise InvalidValue("arguments", f"{len(arguments)} of them", wanted)
    read = []
    for slot, argument in zip(slots, arguments, strict=False):
        try:
            read.append(slot.read(argument))
        except InvalidValue as error:
            raise InvalidValue(slot.name, error.got, error.allowed) from None
    return read + list(arguments[len(slots) :])


# -- readers of one argument ----------------------------------------------------------------


def _number(low: float, high: float) -> Reader:
    def read(argument: Argument) -> float:
        if (
            isinstance(argument, bool)
            or not isinstance(argument, int | float)
            or not low <= argument <= high
        ):
            raise InvalidValue("number", argument, f"a number from {low:g} to {high:g}")
        return float(argument)

    return read


def _whole(low: int, high: int) -> Reader:
    """Read a whole number; 60.0 is one too, since some senders have only floats."""

    def read(argument: Argument) -> int:
        allowed = f"a whole number from {low} to {high}"
        number: float = _number(low, high)(argument)
        if number != int(number):
            raise InvalidValue("number", argument, allowed)
        return int(argument) if isinstance(argument, int) else int(number)

    return read


def _text(argument: Argument) -> str:
    if not isinstance(argument, str) or not argument.isprintable() or not argument:
        raise InvalidValue("text", argument, "text")
    return argument


def _name(argument: Argument) -> str:
    """Read a catalogue name: never a path, since messages come over a network."""
    name = _text(argument)
    if "/" in name or "\\" in name or "=" in name or name.endswith(".yaml"):
        raise InvalidValue("name", name, "the name of a preset (no paths over the network)")
    return name


def _pitch(argument: Argument) -> Pitch:
    """Read a note name, or a key."""
    if isinstance(argument, str):
        name = NoteName.parse(argument)
        return Pitch(PitchKind.NAME, float(name.chain), name.octave)
    return Pitch(PitchKind.KEY, float(_whole(-1000, 1000)(argument)))


def _note(argument: Argument) -> Pitch:
    """Read an id or a key, both whole numbers, or a note name."""
    if isinstance(argument, str):
        return _pitch(argument)
    return Pitch(PitchKind.KEY, float(_whole(-1000, LARGEST_ID)(argument)))


def _flag(argument: Argument) -> bool:
    """Read 0 or 1."""
    return bool(_whole(0, 1)(argument))


def _held(argument: Argument) -> Held:
    if argument not in ("follow", "stay"):
        raise InvalidValue("held", argument, "follow or stay")
    return Held.FOLLOW if argument == "follow" else Held.STAY


# -- what the addresses do ------------------------------------------------------------------


def _note_on(control: Control, pitch: Pitch, velocity: float, note: int | None = None) -> None:
    control.note_on(pitch, velocity, note)


def _degree_on(control: Control, degree: int, velocity: float, note: int | None = None) -> None:
    control.note_on(Pitch(PitchKind.DEGREE, float(degree)), velocity, note)


def _hertz_on(control: Control, hz: float, velocity: float, note: int | None = None) -> None:
    control.note_on(Pitch(PitchKind.HERTZ, hz), velocity, note)


def _touch(kind: Kind) -> Callable[..., None]:
    def act(control: Control, note: Pitch, amount: float, seconds: float = 0.0) -> None:
        control.touch(kind, note, amount, seconds)

    return act


def _scale(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    control.change_scale(control.catalogue.scale(name), glide_s, held)


def _scale_equal(control: Control, parts: int, glide_s: float = 0.0) -> None:
    control.change_scale(Scale.equal(parts, name=f"{parts}-equal"), glide_s, Held.FOLLOW)


def _layout(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    control.change_layout(control.catalogue.layout(name), glide_s, held)


def _anchor(control: Control, hz: float, *rest: Argument) -> None:
    """Read Hz, [note name], [glide]; the glide may stand without a name."""
    left = list(rest)
    note = NoteName.parse(_text(left.pop(0))) if left and isinstance(left[0], str) else None
    glide_s = _number(0.0, LONGEST_S)(left.pop(0)) if left else 0.0
    if left:
        raise InvalidValue("arguments", f"{1 + len(rest)} of them", "Hz, [note name], [glide]")
    control.change_anchor(hz, note, glide_s)


def _anchor_preset(control: Control, name: str, glide_s: float = 0.0) -> None:
    control.move_anchor(control.catalogue.anchor(name), glide_s)


def _anchor_celsius(control: Control, celsius: float, glide_s: float = 0.0) -> None:
    control.warm_anchor(celsius, glide_s)


def _voice(control: Control, name: str) -> None:
    control.change_voice(control.catalogue.voice(name))


def _voice_set(control: Control, parameter: str, value: float, seconds: float = 0.0) -> None:
    control.set_voice(parameter, value, seconds)


def _level(control: Control, level_db: float, seconds: float = 0.0) -> None:
    control.change_level(level_db, seconds)


def _ask_state(control: Control) -> Sequence[Reply]:
    state, engine = control.state, control.engine
    counts, health = engine.counts, engine.health
    said: dict[str, Argument] = {
        "scale": state.tuning.scale.label,
        "degrees": state.tuning.scale.size,
        "period": str(state.tuning.scale.period),
        "anchor": state.tuning.anchor.label,
        "layout": state.tuning.layout.label,
        "voice": state.voice.name,
        "level_db": state.level_db,
        "glide_s": state.glide_s,
        "sustain": int(state.sustain),
        "sostenuto": int(state.sostenuto),
        "notes": engine.sounding,
        "rate": engine.rate,
        "block": engine.block,
        "sample": engine.sample,
        "events": counts.events,
        "late": counts.late,
        "refused": counts.refused,
        "taken": counts.taken,
        "errors": health.errors,
    }
    return [_pairs("/reply/state", said)]


def _ask_load(control: Control) -> Sequence[Reply]:
    load, engine = control.engine.load, control.engine
    block_ms = 1000.0 * engine.block / engine.rate
    said: dict[str, Argument] = {
        "block_ms": block_ms,
        "now_ms": load.now * block_ms,
        "median_ms": load.median * block_ms,
        "high_ms": load.high * block_ms,
        "worst_ms": load.worst * block_ms,
        "blocks": load.blocks,
        "long": load.long,
        "lost": load.lost,
        "notes": load.notes,
        "limit": load.limit,
        "most": load.most,
        "thinned": load.thinned,
        "waiting": load.waiting,
    }
    return [_pairs("/reply/load", said)]


def _pairs(address: str, said: Mapping[str, Argument]) -> Reply:
    """Return a reply of names, each followed by its value."""
    return address, tuple(item for pair in said.items() for item in pair)


def _ping(control: Control, *anything: Argument) -> Sequence[Reply]:
    return [("/pong", (*anything, __version__, control.engine.sample))]


VELOCITY = Slot("velocity", _number(0.001, 1.0))
NOTE_ID = Slot("id", _whole(0, LARGEST_ID), optional=True)
NOTE = Slot("id, key or name", _note)
GLIDE = Slot("glide seconds", _number(0.0, LONGEST_S), optional=True)
SECONDS = Slot("seconds", _number(0.0, LONGEST_S), optional=True)
ZERO_TO_ONE = _number(0.0, 1.0)

ADDRESSES: Mapping[str, Address] = {
    "/note/on": Address(_note_on, (Slot("key or name", _pitch), VELOCITY, NOTE_ID)),
    "/note/off": Address(lambda c, note: c.note_off(note), (NOTE,)),
    "/note/bend": Address(
        _touch(Kind.BEND),
        (NOTE, Slot("cents", _number(-MOST_BEND_CENTS, MOST_BEND_CENTS)), SECONDS),
    ),
    "/note/pressure": Address(
        _touch(Kind.PRESSURE), (NOTE, Slot("pressure", ZERO_TO_ONE), SECONDS)
    ),
    "/note/timbre": Address(_touch(Kind.TIMBRE), (NOTE, Slot("timbre", ZERO_TO_ONE), SECONDS)),
    "/sustain": Address(
        lambda c, down: c.press_pedal(Kind.SUSTAIN, down), (Slot("0 or 1", _flag),)
    ),
    "/sostenuto": Address(
        lambda c, down: c.press_pedal(Kind.SOSTENUTO, down), (Slot("0 or 1", _flag),)
    ),
    "/glide": Address(
        lambda c, seconds: c.change_glide(seconds), (Slot("seconds", _number(0.0, LONGEST_S)),)
    ),
    "/degree/on": Address(
        _degree_on, (Slot("degree", _whole(-1_000_000, 1_000_000)), VELOCITY, NOTE_ID)
    ),
    "/hertz/on": Address(_hertz_on, (Slot("Hz", _number(0.01, 96_000.0)), VELOCITY, NOTE_ID)),
    "/scale": Address(_scale, (Slot("name", _name), GLIDE, Slot("held", _held, optional=True))),
    "/scale/equal": Address(_scale_equal, (Slot("parts", _whole(1, 100_000)), GLIDE)),
    "/anchor": Address(_anchor, (Slot("Hz", _number(0.01, 20_000.0)),), rest=True),
    "/anchor/preset": Address(_anchor_preset, (Slot("name", _name), GLIDE)),
    "/anchor/celsius": Address(
        _anchor_celsius, (Slot("celsius", _number(COLDEST_IDEAL, HOTTEST_IDEAL)), GLIDE)
    ),
    "/layout": Address(_layout, (Slot("name", _name), GLIDE, Slot("held", _held, optional=True))),
    "/voice": Address(_voice, (Slot("name", _name),)),
    "/voice/set": Address(
        _voice_set, (Slot("parameter", _text), Slot("value", _number(-1e9, 1e9)), SECONDS)
    ),
    "/level": Address(
        _level,
        (
            Slot("dB", _number(QUIETEST_DB, LOUDEST_DB)),
            SECONDS,
        ),
    ),
    "/notes/off": Address(lambda c: c.notes_off()),
    "/sound/off": Address(lambda c: c.sound_off()),
    "/ask/state": Address(_ask_state),
    "/ask/load": Address(_ask_load),
    "/ping": Address(_ping, rest=True),
}
"""Every address there is; design: the notes, the tuning, the sound, and questions."""
