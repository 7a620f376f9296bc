"""What questions are answered with, and what may be watched."""

from collections.abc import Mapping, Sequence

from meantide import __version__
from meantide.catalogue import KINDS
from meantide.live.address import Reply
from meantide.live.control import Control
from meantide.live.part_control import PartControl
from meantide.live.state import PartState
from meantide.live.watchers import TICK_S, Topic
from meantide.osc.values import Argument
from meantide.perform.event import Pitch, PitchKind
from meantide.pitch import NoteName

MOST_DEGREES = 128
"""The most degrees of a scale that /ask/tuning lists."""
NAMES_A_REPLY = 200
TOPICS = ("state", "meter", "notes", "load")
COUNTING = frozenset(("sample", "events", "late", "refused", "taken", "errors", "faults", "notes"))
"""What of the state moves by itself."""


def ask_state(control: Control) -> Sequence[Reply]:
    """Answer what is set, and counts."""
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
    return [pairs("/reply/state", said)]


def ask_load(control: Control) -> Sequence[Reply]:
    """Answer what blocks take, and what was lost or thinned."""
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
    return [pairs("/reply/load", said)]


def pairs(address: str, said: Mapping[str, Argument]) -> Reply:
    """Return a reply of names, each followed by its value."""
    return address, tuple(item for pair in said.items() for item in pair)


def ask_meter(control: Control) -> Sequence[Reply]:
    """Answer what the meter at the end of the line shows."""
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
    return [pairs("/reply/meter", said)]


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


def ask_tuning(control: Control) -> Sequence[Reply]:
    """Answer scale, anchor, layout, and the first degrees of the scale."""
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
    return [pairs("/reply/tuning", said)]


def ask_pitch(part: PartControl, asked: Pitch) -> Sequence[Reply]:
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
    return [pairs("/reply/pitch", said)]


def ask_presets(control: Control, kind: str = "") -> Sequence[Reply]:
    """Answer the names of a kind, or of all, in as many replies as they need."""
    replies: list[Reply] = []
    for each in (kind,) if kind else KINDS:
        names = control.catalogue.names(each)
        starts = range(0, max(len(names), 1), NAMES_A_REPLY)
        replies += [
            ("/reply/presets", (each, *names[start : start + NAMES_A_REPLY])) for start in starts
        ]
    return replies


def topics(control: Control) -> Mapping[str, Topic]:
    """Return what may be watched: pairs as the questions answer them, under an address of its own.

    State is told when it is set otherwise; the sounding notes are told by their number.
    """

    def state() -> tuple[Argument, ...]:
        [(_, said)] = ask_state(control)
        moving = dict(zip(said[::2], said[1::2], strict=True))
        still = {name: value for name, value in moving.items() if name not in COUNTING}
        return tuple(item for pair in still.items() for item in pair)

    return {
        "state": Topic(state, TICK_S, changes=True),
        "meter": Topic(lambda: ask_meter(control)[0][1], TICK_S),
        "notes": Topic(lambda: ("sounding", control.engine.sounding), TICK_S, changes=True),
        "load": Topic(lambda: ask_load(control)[0][1], 1.0),
    }


def ping(control: Control, *anything: Argument) -> Sequence[Reply]:
    """Answer the same, with the version and the sample count."""
    return [("/pong", (*anything, __version__, control.engine.sample))]
