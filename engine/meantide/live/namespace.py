"""The addresses that are understood: one table, from which arguments are read and checked.

Before those that a part has, `/part/NAME` may stand; without it most of them mean the part `main`.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from meantide import __version__
from meantide.catalogue import KINDS
from meantide.errors import InvalidValue, not_found
from meantide.live.arguments import (
    LARGEST_ID,
    Slot,
    flag,
    held,
    note_or_id,
    number,
    one_of,
    pitch,
    preset_name,
    text,
    whole,
)
from meantide.live.control import Control
from meantide.live.part_control import PartControl
from meantide.live.state import MAIN, PartState
from meantide.live.watchers import LONGEST_LEASE_S, TICK_S, Caller, Topic
from meantide.osc.pattern import Pattern, is_pattern, matches_part
from meantide.osc.values import Argument, Group, Message
from meantide.perform.event import MOST_BEND_CENTS, Held, Kind, Pitch, PitchKind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.perform.performance import MOST_NOTES
from meantide.pitch import NoteName, Scale
from meantide.pitch.air import COLDEST_IDEAL, HOTTEST_IDEAL

LONGEST_S = 60.0
LONGEST_ADDRESS = 64
"""Of longer ones no nearest address is looked for."""
PATTERN_COST = 128.0
"""It may be dispatched to a part of every name."""
READING_COST = 200.0
"""What reads files of the catalogue."""
MOST_DEGREES = 128
"""The most degrees of a scale that /ask/tuning lists."""
NAMES_A_REPLY = 200
PART_PREFIX = "/part/"
PART_NAME = re.compile("[a-z0-9-]{1,32}")

Reply = tuple[str, tuple[Argument, ...]]


@dataclass(frozen=True, slots=True)
class Address:
    """What an address does with its arguments, which are already read.

    `act` is for the whole, `part_act` for one part; without an `act` it means the part `main`.
    """

    about: str
    """What it does, or what it is answered with, in a line of the reference."""
    act: Callable[..., Sequence[Reply] | None] | None
    slots: tuple[Slot, ...] = ()
    rest: bool = False
    """Whether any further arguments are passed on as they are."""
    part_act: Callable[..., Sequence[Reply] | None] | None = None
    makes_part: bool = False
    """Whether a part that it is sent to is made if it is not there."""
    caller_act: Callable[..., None] | None = None
    """What it does about its sender, if that is all it does."""
    ends: bool = False
    """Whether it can end sound: then it is never dropped."""
    cost: float = 1.0
    """As how many messages it counts against its sender."""

    @property
    def wants(self) -> str:
        """Its arguments in words, those that may be left out in brackets."""
        words = [f"[{slot.name}]" if slot.optional else slot.name for slot in self.slots]
        return ", ".join([*words, "..."] if self.rest else words) or "none"


def _of_part(
    about: str, act: Callable[..., Sequence[Reply] | None], *slots: Slot, ends: bool = False
) -> Address:
    """Return an address of parts for what is played."""
    return Address(about, None, slots, part_act=act, ends=ends)


def _sets_part(about: str, act: Callable[..., None], *slots: Slot, cost: float = 1.0) -> Address:
    """Return an address of parts for what they are set to: it makes a part."""
    return Address(about, None, slots, part_act=act, makes_part=True, cost=cost)


def obey(control: Control, message: Message, caller: Caller) -> Sequence[Reply]:
    """Do what `message` asks; return the replies it wants.

    A pattern is dispatched to every address that it matches, of the parts that are there too.
    Raises InvalidValue if it cannot be done; the control's group is then to be abandoned.
    """
    if not is_pattern(message.address):
        return _obey_one(control, message.address, message.arguments, caller)
    found = matching(message.address, control.state.parts)
    if not found:
        raise InvalidValue("address", message.address, "a pattern that matches an address")
    replies: list[Reply] = []
    for address in found:
        try:
            replies.extend(_obey_one(control, address, message.arguments, caller))
        except InvalidValue as error:
            raise error.at(address) from None
    return replies


def matching(text: str, parts: Iterable[str]) -> list[str]:
    """Return the addresses that a pattern matches."""
    pattern = Pattern(text)
    found = pattern.find(ADDRESSES)
    if len(pattern.parts) > 2 and matches_part(pattern.parts[0], "part"):
        own = [path for path, address in ADDRESSES.items() if address.part_act is not None]
        found += pattern.find(f"{PART_PREFIX}{name}{path}" for name in parts for path in own)
    return found


def _obey_one(
    control: Control, full: str, given: tuple[Argument, ...], caller: Caller
) -> Sequence[Reply]:
    name, path = _split_part(full)
    address = ADDRESSES.get(path)
    if address is None:
        raise not_found("address", full[:LONGEST_ADDRESS], ADDRESSES)
    arguments = _read_arguments(address, given)
    if name is None and address.caller_act is not None:
        address.caller_act(caller, *arguments)
        return ()
    if name is None and address.act is not None:
        return address.act(control, *arguments) or ()
    if address.part_act is None:
        raise InvalidValue("address", full, f"{path}: it is not a part's own")
    find = control.part_to_be if address.makes_part else control.part
    return address.part_act(find(name or MAIN), *arguments) or ()


def cost(groups: Sequence[Group]) -> float:
    """Return as how many messages the groups of a packet count."""
    return sum(_cost(message.address) for group in groups for message in group.messages)


def _cost(address: str) -> float:
    if is_pattern(address):
        return PATTERN_COST
    found = _found(address)
    return found.cost if found is not None else 1.0


def ends_sound(message: Message) -> bool:
    """Tell whether a message can end sound, and must not be dropped; patterns are not looked at."""
    found = _found(message.address)
    return found is not None and found.ends


def _found(address: str) -> Address | None:
    if address.startswith(PART_PREFIX):
        address = "/" + address.removeprefix(PART_PREFIX).partition("/")[2]
    return ADDRESSES.get(address)


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
        raise InvalidValue("arguments", f"{len(arguments)} of them", address.wants)
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
    control.later(control.engine.meter.ask_reset)


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


def _ask_tuning(control: Control) -> Sequence[Reply]:
    tuning = control.state.tuning
    said: dict[str, Argument] = {
        "scale": tuning.scale.label,
        "degrees": tuning.scale.size,
        "period": str(tuning.scale.period),
        "anchor": tuning.anchor.label,
        "anchor_hz": tuning.anchor.hz,
        "anchor_degree": tuning.anchor_degree,
        "layout": tuning.layout.label,
    }
    for degree in range(min(tuning.scale.size, MOST_DEGREES)):
        said[f"degree/{degree}"] = str(tuning.scale.interval(degree))
    return [_pairs("/reply/tuning", said)]


def _ask_pitch(part: PartControl, asked: Pitch) -> Sequence[Reply]:
    """Answer what a key or name plays: Hz, degree, cents and interval above the anchored note."""
    tuning = part.tuning
    if asked.kind == PitchKind.KEY:
        hz = tuning.hz_of_key(int(asked.value))
        degree = tuning.degree_of_key(int(asked.value))
    else:
        name = NoteName.from_chain(int(asked.value), asked.octave)
        hz, degree = tuning.hz_of_name(name), tuning.degree_of_name(name)
    assert degree is not None  # noqa: S101  a key without one has raised
    interval = tuning.interval_of_degree(degree)
    note = tuning.name_of_degree(degree)
    said: dict[str, Argument] = {
        "hz": hz,
        "degree": degree,
        "cents": 1200.0 * interval.octaves,
        "interval": str(interval),
        "note": "" if note is None else str(note),
    }
    return [_pairs("/reply/pitch", said)]


def _ask_presets(control: Control, kind: str = "") -> Sequence[Reply]:
    """Answer the names of a kind, or of all, in as many replies as they need."""
    replies: list[Reply] = []
    for each in (kind,) if kind else KINDS:
        names = control.catalogue.names(each)
        starts = range(0, max(len(names), 1), NAMES_A_REPLY)
        replies += [
            ("/reply/presets", (each, *names[start : start + NAMES_A_REPLY])) for start in starts
        ]
    return replies


def _ask_namespace(_: Control) -> Sequence[Reply]:
    return [_pairs("/reply/namespace", {path: each.wants for path, each in ADDRESSES.items()})]


def topics(control: Control) -> Mapping[str, Topic]:
    """Return what may be watched: pairs as the questions answer them, under an address of its own.

    State is told when it is set otherwise; the sounding notes are told by their number.
    """

    def state() -> tuple[Argument, ...]:
        [(_, said)] = _ask_state(control)
        moving = dict(zip(said[::2], said[1::2], strict=True))
        still = {name: value for name, value in moving.items() if name not in COUNTING}
        return tuple(item for pair in still.items() for item in pair)

    return {
        "state": Topic(state, TICK_S, changes=True),
        "meter": Topic(lambda: _ask_meter(control)[0][1], TICK_S),
        "notes": Topic(lambda: ("sounding", control.engine.sounding), TICK_S, changes=True),
        "load": Topic(lambda: _ask_load(control)[0][1], 1.0),
    }


def _ping(control: Control, *anything: Argument) -> Sequence[Reply]:
    return [("/pong", (*anything, __version__, control.engine.sample))]


TOPICS = ("state", "meter", "notes", "load")
TOPIC = Slot("topic", one_of("topic", *TOPICS))
COUNTING = frozenset(("sample", "events", "late", "refused", "taken", "errors", "faults", "notes"))
"""What of the state moves by itself."""
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
    "/note/on": _of_part(
        "begins a note; an id, 0 or above, is what it is touched and ended by",
        PartControl.note_on,
        Slot("key or name", pitch),
        VELOCITY,
        NOTE_ID,
    ),
    "/note/off": _of_part("lets a note go", PartControl.note_off, NOTE, ends=True),
    "/note/bend": _of_part(
        "bends a note away from its pitch", _touch(Kind.BEND), NOTE, BEND, SECONDS
    ),
    "/note/pressure": _of_part(
        "presses a note, 0 to 1",
        _touch(Kind.PRESSURE),
        NOTE,
        Slot("pressure", ZERO_TO_ONE),
        SECONDS,
    ),
    "/note/timbre": _of_part(
        "colours a note, 0 to 1; it rests at 0.5",
        _touch(Kind.TIMBRE),
        NOTE,
        Slot("timbre", ZERO_TO_ONE),
        SECONDS,
    ),
    "/degree/on": _of_part(
        "begins a note by its degree of the scale",
        _degree_on,
        Slot("degree", whole(-1_000_000, 1_000_000)),
        VELOCITY,
        NOTE_ID,
    ),
    "/hertz/on": _of_part(
        "begins a note by its frequency",
        _hertz_on,
        Slot("Hz", number(0.01, 96_000.0)),
        VELOCITY,
        NOTE_ID,
    ),
    "/sustain": _of_part("1: the sustain pedal is down", _pedal(Kind.SUSTAIN), PEDAL, ends=True),
    "/sostenuto": _of_part(
        "1: the sostenuto pedal is down", _pedal(Kind.SOSTENUTO), PEDAL, ends=True
    ),
    "/glide": _sets_part(
        "how long a note comes from the one before; 0: it does not",
        PartControl.change_glide,
        Slot("seconds", number(0.0, LONGEST_S)),
    ),
    "/voice": _sets_part(
        "the voice of the next notes", _voice, Slot("name", preset_name), cost=READING_COST
    ),
    "/voice/set": _sets_part(
        "moves one number of the voice, such as `vibrato.depth_cents`",
        _voice_set,
        Slot("parameter", text),
        Slot("value", number(-1e9, 1e9)),
        SECONDS,
    ),
    "/pan": _sets_part(
        "-1 left, 1 right", _moves(PartControl.change_pan), Slot("pan", number(-1.0, 1.0)), SECONDS
    ),
    "/width": _sets_part(
        "how far notes spread around the pan by their pitch, 0 to 1",
        _moves(PartControl.change_width),
        Slot("width", ZERO_TO_ONE),
        SECONDS,
    ),
    "/mode": _sets_part(
        "`mono`, one note at a time, or `poly`", _mode, Slot("mode", one_of("mode", "mono", "poly"))
    ),
    "/notes": _sets_part(
        "the most notes at once; 0: as many as there is room for",
        PartControl.change_limit,
        Slot("notes", whole(0, MOST_NOTES)),
    ),
    "/notes/off": Address(
        "releases notes, whatever the pedals",
        lambda c: c.notes_off(),
        part_act=PartControl.notes_off,
        ends=True,
    ),
    "/level": Address(
        "the level, up to 0 dB; of a part, its level in the whole",
        _level,
        (LEVEL, SECONDS),
        part_act=_moves(PartControl.change_level),
        makes_part=True,
    ),
    "/layout": Address(
        "which key plays which degree; held notes `follow` or `stay`",
        _layout,
        (Slot("name", preset_name), GLIDE, HELD),
        part_act=_part_layout,
        makes_part=True,
        cost=READING_COST,
    ),
    "/scale": Address(
        "another scale under the same anchor; held notes `follow` or `stay`",
        _scale,
        (Slot("name", preset_name), GLIDE, HELD),
        cost=READING_COST,
    ),
    "/scale/equal": Address(
        "equal parts of the octave",
        _scale_equal,
        (Slot("parts", whole(1, 100_000)), GLIDE),
        cost=20.0,
    ),
    "/anchor": Address(
        "Hz, [note name], [glide seconds]: the frequency of the anchored note, or of that note",
        _anchor,
        (Slot("Hz", number(0.01, 20_000.0)),),
        rest=True,
    ),
    "/anchor/preset": Address(
        "an anchor of the catalogue",
        _anchor_preset,
        (Slot("name", preset_name), GLIDE),
        cost=READING_COST,
    ),
    "/anchor/celsius": Address(
        "the anchor as the room warms; it must state its own temperature",
        _anchor_celsius,
        (Slot("celsius", number(COLDEST_IDEAL, HOTTEST_IDEAL)), GLIDE),
    ),
    "/sound/off": Address("silence within 5 ms", lambda c: c.sound_off(), ends=True),
    "/ask/state": Address("/reply/state: what is set, and counts", _ask_state, cost=20.0),
    "/ask/tuning": Address(
        "/reply/tuning: scale, anchor, layout, and the intervals of up to 128 degrees",
        _ask_tuning,
        cost=50.0,
    ),
    "/ask/pitch": _of_part(
        "/reply/pitch: its Hz, its degree, its cents and interval above the anchored note",
        _ask_pitch,
        Slot("key or name", pitch),
    ),
    "/ask/presets": Address(
        "/reply/presets, one or more: a kind and its names",
        _ask_presets,
        (Slot("kind", one_of("kind", *KINDS), optional=True),),
        cost=READING_COST,
    ),
    "/ask/namespace": Address(
        "/reply/namespace: every address and its arguments", _ask_namespace, cost=20.0
    ),
    "/watch": Address(
        "`state`, `meter`, `notes` or `load` at /state, /meter, /notes, /load until the lease ends",
        None,
        (TOPIC, Slot("seconds", number(0.1, LONGEST_LEASE_S))),
        caller_act=Caller.watch,
    ),
    "/unwatch": Address("ends a lease", None, (TOPIC,), caller_act=Caller.unwatch),
    "/ask/meter": Address(
        "/reply/meter: peak, true peak, loudness and its range, what the limiter takes", _ask_meter
    ),
    "/meter/reset": Address(
        "begins the highest true peak, the integrated loudness and its range anew", _meter_reset
    ),
    "/ask/load": Address("/reply/load: what blocks take, and what was lost or thinned", _ask_load),
    "/ping": Address("/pong: the same, the version and the sample count", _ping, rest=True),
}
"""Every address there is; design: the parts' own, the tuning, the whole, and questions."""

ENDING_WORDS = tuple(
    sorted({path.rpartition("/")[2].encode() for path, each in ADDRESSES.items() if each.ends})
)
"""A packet in which none of these stands holds nothing that ends sound."""
