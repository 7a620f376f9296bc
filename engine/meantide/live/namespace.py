"""The addresses that are understood: one table, from which arguments are read and checked.

Before those that a part has, `/part/NAME` may stand; without it most of them mean the part `main`.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from meantide import __version__
from meantide.errors import InvalidValue, not_found
from meantide.live.arguments import (
    LARGEST_ID,
    Slot,
    flag,
    held,
    mode,
    note_or_id,
    number,
    pitch,
    preset_name,
    text,
    whole,
)
from meantide.live.control import Control
from meantide.live.part_control import PartControl
from meantide.live.state import MAIN, PartState
from meantide.live.wire import Argument, Message
from meantide.perform.event import MOST_BEND_CENTS, Held, Kind, Pitch, PitchKind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.perform.performance import MOST_NOTES
from meantide.pitch import NoteName, Scale
from meantide.pitch.air import COLDEST_IDEAL, HOTTEST_IDEAL

LONGEST_S = 60.0
PART_PREFIX = "/part/"
PART_NAME = re.compile("[a-z0-9-]{1,32}")

Reply = tuple[str, tuple[Argument, ...]]


@dataclass(frozen=True, slots=True)
class Address:
    """What an address does with its arguments, which are already read.

    `act` is for the whole, `part_act` for one part; without an `act` it means the part `main`.
    """

    act: Callable[..., Sequence[Reply] | None] | None
    slots: tuple[Slot, ...] = ()
    rest: bool = False
    """Whether any further arguments are passed on as they are."""
    part_act: Callable[..., None] | None = None
    makes_part: bool = False
    """Whether a part that it is sent to is made if it is not there."""


def _of_part(act: Callable[..., None], *slots: Slot) -> Address:
    """Return an address of parts for what is played."""
    return Address(None, slots, part_act=act)


def _sets_part(act: Callable[..., None], *slots: Slot) -> Address:
    """Return an address of parts for what they are set to: it makes a part."""
    return Address(None, slots, part_act=act, makes_part=True)


def obey(control: Control, message: Message) -> Sequence[Reply]:
    """Do what `message` asks; return the replies it wants.

    Raises InvalidValue, and changes nothing, if it cannot be done.
    """
    name, path = _split_part(message.address)
    address = ADDRESSES.get(path)
    if address is None:
        raise not_found("address", message.address, ADDRESSES)
    arguments = _read_arguments(address, message.arguments)
    if name is None and address.act is not None:
        return address.act(control, *arguments) or ()
    if address.part_act is None:
        raise InvalidValue("address", message.address, f"{path}: it is not a part's own")
    find = control.part_to_be if address.makes_part else control.part
    address.part_act(find(name or MAIN), *arguments)
    return ()


def _split_part(address: str) -> tuple[str | None, str]:
    """Return the name of the part that an address begins with, or None, and the rest of it."""
    if not address.startswith(PART_PREFIX):
        return None, address
    name, _, rest = address.removeprefix(PART_PREFIX).partition("/")
    if not PART_NAME.fullmatch(name):
        raise InvalidValue("part", name, "a name of 1 to 32 small letters, digits and hyphens")
    return name, f"/{rest}"


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


# -- what the addresses do ------------------------------------------------------------------


def _degree_on(part: PartControl, degree: int, velocity: float, note: int | None = None) -> None:
    part.note_on(Pitch(PitchKind.DEGREE, float(degree)), velocity, note)


def _hertz_on(part: PartControl, hz: float, velocity: float, note: int | None = None) -> None:
    part.note_on(Pitch(PitchKind.HERTZ, hz), velocity, note)


def _touch(kind: Kind) -> Callable[..., None]:
    def act(part: PartControl, note: Pitch, amount: float, seconds: float = 0.0) -> None:
        part.touch(kind, note, amount, seconds)

    return act


def _pedal(kind: Kind) -> Callable[..., None]:
    def act(part: PartControl, down: bool) -> None:
        part.press_pedal(kind, down)

    return act


def _scale(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    control.change_scale(control.catalogue.scale(name), glide_s, held)


def _scale_equal(control: Control, parts: int, glide_s: float = 0.0) -> None:
    control.change_scale(Scale.equal(parts, name=f"{parts}-equal"), glide_s, Held.FOLLOW)


def _layout(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    control.change_layout(control.catalogue.layout(name), glide_s, held)


def _part_layout(
    part: PartControl, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW
) -> None:
    part.change_layout(part.catalogue.layout(name), glide_s, held)


def _anchor(control: Control, hz: float, *rest: Argument) -> None:
    """Read Hz, [note name], [glide]; the glide may stand without a name."""
    left = list(rest)
    note = NoteName.parse(text(left.pop(0))) if left and isinstance(left[0], str) else None
    glide_s = number(0.0, LONGEST_S)(left.pop(0)) if left else 0.0
    if left:
        raise InvalidValue("arguments", f"{1 + len(rest)} of them", "Hz, [note name], [glide]")
    control.change_anchor(hz, note, glide_s)


def _anchor_preset(control: Control, name: str, glide_s: float = 0.0) -> None:
    control.move_anchor(control.catalogue.anchor(name), glide_s)


def _anchor_celsius(control: Control, celsius: float, glide_s: float = 0.0) -> None:
    control.warm_anchor(celsius, glide_s)


def _voice(part: PartControl, name: str) -> None:
    part.change_voice(part.catalogue.voice(name))


def _voice_set(part: PartControl, parameter: str, value: float, seconds: float = 0.0) -> None:
    part.set_voice(parameter, value, seconds)


def _moves(move: Callable[[PartControl, float, float], None]) -> Callable[..., None]:
    def act(part: PartControl, amount: float, seconds: float = 0.0) -> None:
        move(part, amount, seconds)

    return act


def _mode(part: PartControl, name: str) -> None:
    part.change_mode(name == "mono")


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
        "voice": state.main.voice.name,
        "level_db": state.level_db,
        "glide_s": state.main.glide_s,
        "sustain": int(state.main.sustain),
        "sostenuto": int(state.main.sostenuto),
        "parts": " ".join(state.parts),
        "notes": engine.sounding,
        "rate": engine.rate,
        "block": engine.block,
        "sample": engine.sample,
        "events": counts.events,
        "late": counts.late,
        "refused": counts.refused,
        "taken": counts.taken,
        "errors": health.errors,
        "faults": engine.faults,
    }
    for name, part in state.parts.items():
        said |= {f"part/{name}/{key}": value for key, value in _part_said(part).items()}
    return [_pairs("/reply/state", said)]


def _ask_load(control: Control) -> Sequence[Reply]:
    load, engine, vitals = control.engine.load, control.engine, control.engine.vitals
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
        "errors": engine.health.errors,
        "xruns": vitals.xruns,
        "memory_mb": vitals.memory_bytes / 1e6,
        "uptime_s": vitals.uptime_s,
        "renewals": vitals.renewals,
        "unheard": vitals.unheard,
        "unreported": vitals.unreported,
    }
    return [_pairs("/reply/load", said)]


def _pairs(address: str, said: Mapping[str, Argument]) -> Reply:
    """Return a reply of names, each followed by its value."""
    return address, tuple(item for pair in said.items() for item in pair)


def _ask_meter(control: Control) -> Sequence[Reply]:
    meter = control.engine.meter
    said: dict[str, Argument] = {
        "peak_dbfs": meter.peak_dbfs,
        "true_peak_dbtp": meter.true_peak_dbtp,
        "highest_true_peak_dbtp": meter.highest_true_peak_dbtp,
        "momentary_lufs": meter.momentary_lufs,
        "short_term_lufs": meter.short_term_lufs,
        "integrated_lufs": meter.integrated_lufs,
        "range_lu": meter.range_lu,
        "limited_db": control.engine.limited_db,
    }
    return [_pairs("/reply/meter", said)]


def _meter_reset(control: Control) -> None:
    control.engine.meter.ask_reset()


def _part_said(part: PartState) -> Mapping[str, Argument]:
    return {
        "voice": part.voice.name,
        "layout": part.layout.label if part.layout is not None else "",
        "level_db": part.level_db,
        "pan": part.pan,
        "width": part.width,
        "mode": "mono" if part.mono else "poly",
        "notes": part.limit,
        "glide_s": part.glide_s,
        "sustain": int(part.sustain),
        "sostenuto": int(part.sostenuto),
    }


def _ping(control: Control, *anything: Argument) -> Sequence[Reply]:
    return [("/pong", (*anything, __version__, control.engine.sample))]


VELOCITY = Slot("velocity", number(0.001, 1.0))
NOTE_ID = Slot("id", whole(0, LARGEST_ID), optional=True)
NOTE = Slot("id, key or name", note_or_id)
GLIDE = Slot("glide seconds", number(0.0, LONGEST_S), optional=True)
SECONDS = Slot("seconds", number(0.0, LONGEST_S), optional=True)
HELD = Slot("held", held, optional=True)
PEDAL = Slot("0 or 1", flag)
LEVEL = Slot("dB", number(QUIETEST_DB, LOUDEST_DB))
ZERO_TO_ONE = number(0.0, 1.0)
BEND = Slot("cents", number(-MOST_BEND_CENTS, MOST_BEND_CENTS))

ADDRESSES: Mapping[str, Address] = {
    "/note/on": _of_part(PartControl.note_on, Slot("key or name", pitch), VELOCITY, NOTE_ID),
    "/note/off": _of_part(PartControl.note_off, NOTE),
    "/note/bend": _of_part(_touch(Kind.BEND), NOTE, BEND, SECONDS),
    "/note/pressure": _of_part(_touch(Kind.PRESSURE), NOTE, Slot("pressure", ZERO_TO_ONE), SECONDS),
    "/note/timbre": _of_part(_touch(Kind.TIMBRE), NOTE, Slot("timbre", ZERO_TO_ONE), SECONDS),
    "/degree/on": _of_part(
        _degree_on, Slot("degree", whole(-1_000_000, 1_000_000)), VELOCITY, NOTE_ID
    ),
    "/hertz/on": _of_part(_hertz_on, Slot("Hz", number(0.01, 96_000.0)), VELOCITY, NOTE_ID),
    "/sustain": _of_part(_pedal(Kind.SUSTAIN), PEDAL),
    "/sostenuto": _of_part(_pedal(Kind.SOSTENUTO), PEDAL),
    "/glide": _sets_part(PartControl.change_glide, Slot("seconds", number(0.0, LONGEST_S))),
    "/voice": _sets_part(_voice, Slot("name", preset_name)),
    "/voice/set": _sets_part(
        _voice_set, Slot("parameter", text), Slot("value", number(-1e9, 1e9)), SECONDS
    ),
    "/pan": _sets_part(_moves(PartControl.change_pan), Slot("pan", number(-1.0, 1.0)), SECONDS),
    "/width": _sets_part(_moves(PartControl.change_width), Slot("width", ZERO_TO_ONE), SECONDS),
    "/mode": _sets_part(_mode, Slot("mode", mode)),
    "/notes": _sets_part(PartControl.change_limit, Slot("notes", whole(0, MOST_NOTES))),
    "/notes/off": Address(lambda c: c.notes_off(), part_act=PartControl.notes_off),
    "/level": Address(
        _level, (LEVEL, SECONDS), part_act=_moves(PartControl.change_level), makes_part=True
    ),
    "/layout": Address(
        _layout, (Slot("name", preset_name), GLIDE, HELD), part_act=_part_layout, makes_part=True
    ),
    "/scale": Address(_scale, (Slot("name", preset_name), GLIDE, HELD)),
    "/scale/equal": Address(_scale_equal, (Slot("parts", whole(1, 100_000)), GLIDE)),
    "/anchor": Address(_anchor, (Slot("Hz", number(0.01, 20_000.0)),), rest=True),
    "/anchor/preset": Address(_anchor_preset, (Slot("name", preset_name), GLIDE)),
    "/anchor/celsius": Address(
        _anchor_celsius, (Slot("celsius", number(COLDEST_IDEAL, HOTTEST_IDEAL)), GLIDE)
    ),
    "/sound/off": Address(lambda c: c.sound_off()),
    "/ask/state": Address(_ask_state),
    "/ask/meter": Address(_ask_meter),
    "/meter/reset": Address(_meter_reset),
    "/ask/load": Address(_ask_load),
    "/ping": Address(_ping, rest=True),
}
"""Every address there is; design: the parts' own, the tuning, the whole, and questions."""
