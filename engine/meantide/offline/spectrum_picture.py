"""The spectrum of a second of a take: the lines to be expected, those found, and how far they lie.

Lines are measured by `partials.Stretch`, by phase, far finer than the picture can show.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from meantide.errors import InvalidValue
from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.partials import MAIN_LOBE_BINS, Reals, Stretch
from meantide.offline.picture_axes import (
    BARS,
    INCHES,
    PicturedTake,
    expected_lines,
    hz_ticks,
    tuned,
)
from meantide.offline.recording import read_recording
from meantide.offline.spectrogram import on_log_axis, spectrogram
from meantide.offline.take_moves import pitch_text
from meantide.offline.takelog import TakeLog

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SECONDS = 1.0
SPAN_DB = 90.0
NEAR_CENTS = 25.0
"""A line is looked for so far to either side of where it is expected."""
_OVER_NOISE = 5.0
_BANDS = 1400


@dataclass(frozen=True, slots=True)
class SeenLine:
    """A partial expected, and what was found within 25 cents of it: None where nothing was.

    `uncertainty_cents` is a standard deviation, by the noise and the curve of the line's own phase.
    `shared` lines are too near to another that is expected to be told from it.
    """

    part: str
    pitch: str
    ratio: float
    expected_hz: float
    found_hz: float | None
    cents: float | None
    uncertainty_cents: float | None
    level_db: float | None
    shared: bool


def seen_lines(samples: Reals, log: TakeLog, at_s: float) -> list[SeenLine]:
    """Return the expected lines of the second about `at_s` of mono `samples`, by rising Hz.

    Raises InvalidValue where no note is held for all of it.
    """
    size = round(SECONDS * log.rate)
    first = round(at_s * log.rate) - size // 2
    held = [note for note in log.notes if note.start <= first and first + size <= note.release]
    if not held:
        allowed = f"the middle of {SECONDS:g} s in which a note is held"
        raise InvalidValue("--at", at_s, allowed)
    asked = []
    for note in held:
        hz = [step.hz for step in note.pitches if step.sample <= first + size // 2][-1]
        for ratio, more in expected_lines(note, log):
            if 0.0 < hz * ratio + more < log.rate / 2.0:
                asked.append((hz * ratio + more, ratio, note))
    asked.sort(key=lambda each: each[0])
    expected = np.array([each[0] for each in asked])
    stretch = Stretch(samples[first : first + size], log.rate)
    reach = 2.0 ** (NEAR_CENTS / 1200.0)
    floor = stretch.floor(expected, expected)
    lines = stretch.lines(expected, expected / reach, expected * reach, floor)
    seen = []
    apart_hz = 2.0 * MAIN_LOBE_BINS * stretch.bin_hz
    for place, (hz, ratio, note) in enumerate(asked):
        shared = int(np.sum(np.abs(expected - hz) < apart_hz)) > 1
        name = (note.part, pitch_text(note), ratio, hz)
        if not lines.found[place] or lines.amplitude[place] < _OVER_NOISE * floor[place]:
            seen.append(SeenLine(*name, None, None, None, None, shared))
            continue
        found_hz = float(lines.hz[place])
        doubt_hz = math.hypot(float(lines.noise_hz[place]), float(lines.drift_hz[place]))
        seen.append(
            SeenLine(
                *name,
                found_hz,
                1200.0 * math.log2(found_hz / hz),
                1731.0 * doubt_hz / found_hz,
                20.0 * math.log10(float(lines.amplitude[place])),
                shared,
            )
        )
    return seen


def spectrum_words(log: TakeLog, at_s: float, lines: Sequence[SeenLine]) -> str:
    """Return the expected lines with what was found, one a line."""
    told = [f"{log.title}, {tuned(log)}: the second about {at_s:g} s"]
    for each in lines:
        found = f"nothing found within {NEAR_CENTS:g} cents"
        if each.found_hz is not None:
            found = (
                f"found at {each.found_hz:.3f} Hz, {each.cents:+.3f} cents "
                f"± {each.uncertainty_cents:.1g}, {each.level_db:.1f} dB"
            )
        if each.shared:
            found += "; shared with another line, and so not its own"
        name = f"{each.part}, {each.pitch}, partial {each.ratio:.4g}"
        told.append(f"{name}: expected {each.expected_hz:.3f} Hz; {found}")
    return "\n".join(told)


def draw_spectrum(path: Path, take: PicturedTake, at_s: float) -> str:
    """Draw it to a PNG, SVG or PDF file and return the text twin; InvalidValue as usual."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    check_figure_path(path)
    log = take.log
    samples = read_recording(take.wav).samples
    lines = seen_lines(samples, log, at_s)
    seen = [each for each in lines if each.found_hz is not None]
    low = lines[0].expected_hz / 1.2
    high = min(lines[-1].expected_hz * 1.2, log.rate / 2.0)
    first = round((at_s - SECONDS / 2.0) * log.rate)
    piece = samples[first : first + round(SECONDS * log.rate)]
    bands = on_log_axis(spectrogram(piece, log.rate, SECONDS, SECONDS / 2.0), low, high, _BANDS)
    levels = bands.levels_db[:, 1]  # the frame with all of it
    top_db = 10.0 * math.ceil(float(levels.max()) / 10.0)
    with our_style():
        figure = Figure(figsize=INCHES, facecolor="white")
        above, below = figure.subplots(
            2, 1, sharex=True, gridspec_kw={"height_ratios": [3, 1], "hspace": 0.09}
        )
        above.vlines([each.expected_hz for each in lines], top_db - SPAN_DB, top_db + 6.0, "0.6",
                     linewidth=0.7, linestyle=(0, (4, 2)), label="expected")  # fmt: skip
        above.fill_between(bands.hz, top_db - SPAN_DB, np.maximum(levels, top_db - SPAN_DB),
                           color="0.25", linewidth=0, zorder=2)  # fmt: skip
        for shared, label in ((False, "found"), (True, "found, but shared by two")):
            _mark(above, below, [each for each in seen if each.shared is shared], label)
        above.set_ylim(top_db - SPAN_DB, top_db + 6.0)
        above.set_ylabel("level, dB")
        above.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, frameon=False)
        below.axhline(0.0, color="0.5", linewidth=0.8)
        most = max((abs(each.cents or 0.0) for each in seen), default=0.0)
        below.set_ylim(-1.6 * max(most, 0.05), 1.6 * max(most, 0.05))
        below.set_ylabel("off, cents")
        below.set_xscale("log")
        below.set_xlim(low, high)
        below.set_xticks(hz_ticks(low, high))
        below.xaxis.set_major_formatter("{x:.0f}")
        below.xaxis.set_minor_formatter("")
        below.set_xlabel("frequency, Hz (bars: two standard deviations)")
        title = f"{log.title}: the second about {at_s:g} s, {tuned(log)}"
        figure.suptitle(title, x=0.07, y=0.98, ha="left", size=10.5, parse_math=False)
        figure.subplots_adjust(left=0.07, right=0.985, bottom=0.09, top=0.885)
    save_figure(path, figure)
    return spectrum_words(log, at_s, lines)


def _mark(above: "Axes", below: "Axes", lines: Sequence[SeenLine], label: str) -> None:
    """Mark lines that were found, and how far off they lie; shared ones are hollow."""
    hz = [each.found_hz or 0.0 for each in lines]
    face = "white" if any(each.shared for each in lines) else "black"
    tops = [(each.level_db or 0.0) + 2.0 for each in lines]
    above.plot(hz, tops, "v", color="black", markerfacecolor=face, markersize=4.5, label=label,
               zorder=3)  # fmt: skip
    if lines:
        doubt = [2.0 * (each.uncertainty_cents or 0.0) for each in lines]
        cents = [each.cents or 0.0 for each in lines]
        below.errorbar(hz, cents, doubt, **BARS, markerfacecolor=face)
