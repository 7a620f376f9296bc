"""Every address that is understood: one table for the parser, the checks and the reference."""

from collections.abc import Mapping, Sequence

from meantide.catalogue import KINDS
from meantide.live import answers, requests
from meantide.live.address import Address, Reply, of_part, sets_part
from meantide.live.arguments import (
    LARGEST_ID,
    LONGEST_S,
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
from meantide.live.watchers import LONGEST_LEASE_S, Caller
from meantide.perform.event import MOST_BEND_CENTS, Kind
from meantide.perform.master import LOUDEST_DB, QUIETEST_DB
from meantide.perform.performance import MOST_NOTES
from meantide.pitch.air import COLDEST_IDEAL, HOTTEST_IDEAL

READING_COST = 200.0
"""What reads files of the catalogue counts for."""
TOPIC = Slot("topic", one_of("topic", *answers.TOPICS))
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


def _ask_namespace(_: Control) -> Sequence[Reply]:
    return [
        answers.pairs("/reply/namespace", {path: each.wants for path, each in ADDRESSES.items()})
    ]


ADDRESSES: Mapping[str, Address] = {
    "/note/on": of_part(
        "begins a note; an id, 0 or above, is what it is touched and ended by",
        PartControl.note_on,
        Slot("key or name", pitch),
        VELOCITY,
        NOTE_ID,
    ),
    "/note/off": of_part("lets a note go", PartControl.note_off, NOTE, ends=True),
    "/note/bend": of_part(
        "bends a note away from its pitch", requests.touch(Kind.BEND), NOTE, BEND, SECONDS
    ),
    "/note/pressure": of_part(
        "presses a note, 0 to 1",
        requests.touch(Kind.PRESSURE),
        NOTE,
        Slot("pressure", ZERO_TO_ONE),
        SECONDS,
    ),
    "/note/timbre": of_part(
        "colours a note, 0 to 1; it rests at 0.5",
        requests.touch(Kind.TIMBRE),
        NOTE,
        Slot("timbre", ZERO_TO_ONE),
        SECONDS,
    ),
    "/degree/on": of_part(
        "begins a note by its degree of the scale",
        requests.degree_on,
        Slot("degree", whole(-1_000_000, 1_000_000)),
        VELOCITY,
        NOTE_ID,
    ),
    "/hertz/on": of_part(
        "begins a note by its frequency",
        requests.hertz_on,
        Slot("Hz", number(0.01, 96_000.0)),
        VELOCITY,
        NOTE_ID,
    ),
    "/sustain": of_part(
        "1: the sustain pedal is down", requests.pedal(Kind.SUSTAIN), PEDAL, ends=True
    ),
    "/sostenuto": of_part(
        "1: the sostenuto pedal is down", requests.pedal(Kind.SOSTENUTO), PEDAL, ends=True
    ),
    "/glide": sets_part(
        "how long a note comes from the one before; 0: it does not",
        PartControl.change_glide,
        Slot("seconds", number(0.0, LONGEST_S)),
    ),
    "/voice": sets_part(
        "the voice of the next notes", requests.voice, Slot("name", preset_name), cost=READING_COST
    ),
    "/voice/set": sets_part(
        "moves one number of the voice, such as `vibrato.depth_cents`",
        requests.voice_set,
        Slot("parameter", text),
        Slot("value", number(-1e9, 1e9)),
        SECONDS,
    ),
    "/pan": sets_part(
        "-1 left, 1 right",
        requests.moves(PartControl.change_pan),
        Slot("pan", number(-1.0, 1.0)),
        SECONDS,
    ),
    "/width": sets_part(
        "how far notes spread around the pan by their pitch, 0 to 1",
        requests.moves(PartControl.change_width),
        Slot("width", ZERO_TO_ONE),
        SECONDS,
    ),
    "/mode": sets_part(
        "`mono`, one note at a time, or `poly`",
        requests.mode,
        Slot("mode", one_of("mode", "mono", "poly")),
    ),
    "/notes": sets_part(
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
        requests.level,
        (LEVEL, SECONDS),
        part_act=requests.moves(PartControl.change_level),
        makes_part=True,
    ),
    "/layout": Address(
        "which key plays which degree; held notes `follow` or `stay`",
        requests.layout,
        (Slot("name", preset_name), GLIDE, HELD),
        part_act=requests.part_layout,
        makes_part=True,
        cost=READING_COST,
    ),
    "/scale": Address(
        "another scale under the same anchor; held notes `follow` or `stay`",
        requests.scale,
        (Slot("name", preset_name), GLIDE, HELD),
        cost=READING_COST,
    ),
    "/scale/equal": Address(
        "equal parts of the octave",
        requests.scale_equal,
        (Slot("parts", whole(1, 100_000)), GLIDE),
        cost=20.0,
    ),
    "/anchor": Address(
        "Hz, [note name], [glide seconds]: the frequency of the anchored note, or of that note",
        requests.anchor,
        (Slot("Hz", number(0.01, 20_000.0)),),
        rest=True,
    ),
    "/anchor/preset": Address(
        "an anchor of the catalogue",
        requests.anchor_preset,
        (Slot("name", preset_name), GLIDE),
        cost=READING_COST,
    ),
    "/anchor/celsius": Address(
        "the anchor as the room warms; it must state its own temperature",
        requests.anchor_celsius,
        (Slot("celsius", number(COLDEST_IDEAL, HOTTEST_IDEAL)), GLIDE),
    ),
    "/sound/off": Address("silence within 5 ms", lambda c: c.sound_off(), ends=True),
    "/ask/state": Address("/reply/state: what is set, and counts", answers.ask_state, cost=20.0),
    "/ask/tuning": Address(
        "/reply/tuning: scale, anchor, layout, and the intervals of up to 128 degrees",
        answers.ask_tuning,
        cost=50.0,
    ),
    "/ask/pitch": of_part(
        "/reply/pitch: its Hz, its degree, its cents and interval above the anchored note",
        answers.ask_pitch,
        Slot("key or name", pitch),
    ),
    "/ask/presets": Address(
        "/reply/presets, one or more: a kind and its names",
        answers.ask_presets,
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
        "/reply/meter: peak, true peak, loudness and its range, what the limiter takes",
        answers.ask_meter,
    ),
    "/meter/reset": Address(
        "begins the highest true peak, the integrated loudness and its range anew",
        requests.meter_reset,
    ),
    "/ask/load": Address(
        "/reply/load: what blocks take, and what was lost or thinned", answers.ask_load
    ),
    "/ping": Address("/pong: the same, the version and the sample count", answers.ping, rest=True),
}
"""Every address there is; design: the parts' own, the tuning, the whole, and questions."""

ENDING_WORDS = tuple(
    sorted({path.rpartition("/")[2].encode() for path, each in ADDRESSES.items() if each.ends})
)
"""A packet in which none of these stands holds nothing that ends sound."""
