"""What pictures of takes share: axes of Hz, how a take is called, the way a note goes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meantide.offline.assay import Assay
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_note import LoggedNote

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES = (11.0, 5.8)
BARS: dict[str, Any] = {
    "fmt": "o", "color": "black", "markersize": 3.5, "linewidth": 0.9, "capsize": 2.0,
}  # fmt: skip
"""How measured things with their uncertainties look."""
MOST_WORDS = 60
"""Notes that a text twin tells of; the log has them all."""
MOST_PARTIALS, FEWEST_PARTIALS, FAINTEST_DB = 12, 4, -50.0
"""Of a note, the strongest, and none fainter re the strongest, that are expected to be seen; of
takes with many notes fewer."""
_MANY_NOTES = 60
TICKS_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
_FINER_TICKS_HZ = (30, 40, 60, 80, 150, 250, 300, 400, 600, 700, 800, 1500, 3000, 4000)
_FINER_BELOW = 12.0  # highest over lowest


@dataclass(frozen=True, slots=True)
class PicturedTake:
    """A take's sound file and its log, and its assay where that is there already."""

    wav: Path
    log: TakeLog
    assay: Assay | None = None


def tuned(log: TakeLog) -> str:
    """Return the tuning that a take begins in, in a few words, as far as its log tells."""
    if not log.tunings:
        return "no tuning told"
    scale, anchor = log.tunings[0].scale, log.tunings[0].anchor
    unnamed = f"{scale['equal']}-equal" if "equal" in scale else "its own scale"
    place, hz = anchor.get("note", anchor.get("degree")), anchor.get("hz")
    at = f", {place}={hz:.6g} Hz" if isinstance(hz, int | float) else ""
    return f"{scale.get('name') or unnamed}{at}"


def note_course(note: LoggedNote, rate: int) -> tuple[list[float], list[float]]:
    """Return the corners of a note's way, s and Hz; it is straight in cents between them."""
    times, hz = [note.start / rate], [note.pitches[0].hz]
    for step in note.pitches[1:]:
        times += [step.sample / rate, (step.sample + step.glide_samples) / rate]
        hz += [hz[-1], step.hz]
    return [*times, note.release / rate], [*hz, hz[-1]]


def expected_lines(note: LoggedNote, log: TakeLog) -> list[tuple[float, float]]:
    """Return (ratio to the note, offset in Hz) of the strongest partials a note is to have."""
    partials = log.voices[note.voice].partials
    if note.pitches[0].spectrum is not None:
        partials = log.spectra[note.pitches[0].spectrum]
    strongest = max((each.level_db for each in partials), default=0.0)
    loud = [each for each in partials if each.level_db >= strongest + FAINTEST_DB]
    most = FEWEST_PARTIALS if len(log.notes) > _MANY_NOTES else MOST_PARTIALS
    kept = sorted(loud, key=lambda each: -each.level_db)[:most]
    return sorted((each.ratio, each.offset_hz) for each in kept)


def told_notes(log: TakeLog) -> Sequence[LoggedNote]:
    """Return the notes that a text twin tells of, in order of time."""
    return sorted(log.notes, key=lambda note: (note.start, note.id))[:MOST_WORDS]


def left_out(log: TakeLog) -> list[str]:
    """Return a line about the notes that are not told, if there are any."""
    more = len(log.notes) - MOST_WORDS
    return [f"and {more} more notes, which the log tells"] if more > 0 else []


def hz_ticks(low_hz: float, high_hz: float) -> list[int]:
    """Return where an axis of Hz has its numbers."""
    finer = _FINER_TICKS_HZ if high_hz / low_hz < _FINER_BELOW else ()
    return [hz for hz in sorted((*TICKS_HZ, *finer)) if low_hz <= hz <= high_hz]


def hz_axis(axes: "Axes") -> None:
    """Make the upright axis one of Hz, even in cents."""
    axes.set_yscale("log")
    axes.set_yticks(hz_ticks(*axes.get_ylim()))
    axes.yaxis.set_major_formatter("{x:.0f}")
    axes.yaxis.set_minor_formatter("")
    axes.set_ylabel("frequency, Hz")
    axes.grid(color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def log2_ticks(axes: "Axes", low_hz: float, high_hz: float) -> None:
    """Write Hz along an upright axis whose unit is log2(Hz)."""
    ticks = hz_ticks(low_hz, high_hz)
    axes.set_ylim(math.log2(low_hz), math.log2(high_hz))
    axes.set_yticks([math.log2(hz) for hz in ticks], [str(hz) for hz in ticks])
