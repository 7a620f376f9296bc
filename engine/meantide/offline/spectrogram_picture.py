"""Spectrograms of takes, with the partials that their logs lead one to expect laid over them.

Dark is loud, so a copy in grey is the same picture; the lines are dashed on a white edge, so that
they are seen on light and dark. Several takes stand side by side on common axes.
"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.picture_axes import (
    INCHES,
    PicturedTake,
    expected_lines,
    left_out,
    log2_ticks,
    note_course,
    told_notes,
    tuned,
)
from meantide.offline.recording import read_recording
from meantide.offline.spectrogram import Spectrogram, on_log_axis, spectrogram
from meantide.offline.take_moves import pitch_text
from meantide.offline.takelog import TakeLog

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SPAN_DB = 80.0
LINE_COLOUR = "#0072B2"  # of Okabe and Ito's colours for all readers (2008, from memory)
_BANDS, _FRAMES = 420, 800
_WINDOW_S = 0.1


def draw_spectrograms(path: Path, takes: Sequence[PicturedTake]) -> str:
    """Draw takes to a PNG, SVG or PDF file and return the text twin; InvalidValue as usual."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    check_figure_path(path)
    low, high = _reach(takes)
    found = [_levels(take, low, high) for take in takes]
    loudest = max(float(each.levels_db.max(initial=-200.0)) for each in found)
    top_db = 10.0 * math.ceil(loudest / 10.0)
    with our_style():
        figure = Figure(figsize=INCHES, facecolor="white")
        columns = figure.subplots(1, len(takes), sharey=True, squeeze=False,
                                  gridspec_kw={"wspace": 0.05})[0]  # fmt: skip
        for axes, take, each in zip(columns, takes, found, strict=True):
            image = axes.imshow(
                each.levels_db, origin="lower", aspect="auto", cmap="gray_r",
                extent=(0.0, float(each.times_s[-1]), math.log2(low), math.log2(high)),
                vmin=top_db - SPAN_DB, vmax=top_db,
            )  # fmt: skip
            _lay_over(axes, take.log)
            axes.set_xlim(0.0, float(each.times_s[-1]))
            axes.set_xlabel("time, seconds")
            axes.set_title(tuned(take.log), loc="right", size=9.0, parse_math=False)
        log2_ticks(columns[0], low, high)
        columns[0].set_ylabel("frequency, Hz")
        bar = figure.colorbar(image, cax=figure.add_axes((0.915, 0.1, 0.018, 0.79)))
        bar.set_label("level, dB")
        what = "dashed: where the strongest partials of each note are to be"
        title = f"{takes[0].log.title}: spectrogram; {what}"
        figure.suptitle(title, x=0.07, y=0.975, ha="left", size=10.5, parse_math=False)
        figure.subplots_adjust(left=0.07, right=0.9, bottom=0.1, top=0.89)
    save_figure(path, figure)
    return "\n\n".join(spectrogram_words(take.log) for take in takes)


def spectrogram_words(log: TakeLog) -> str:
    """Return the expected partials of each note in Hz, one note a line."""
    lines = [f"{log.title}, {tuned(log)}: partials to be expected"]
    for note in told_notes(log):
        hz = note.pitches[0].hz
        told = ", ".join(f"{hz * ratio + more:.1f}" for ratio, more in expected_lines(note, log))
        lines.append(f"{note.start / log.rate:.2f} s, {note.part}, {pitch_text(note)}: {told} Hz")
    return "\n".join([*lines, *left_out(log)])


def _reach(takes: Sequence[PicturedTake]) -> tuple[float, float]:
    """Return the ends of the axis, Hz: all that is expected, and a little."""
    reached = [
        note.pitches[0].hz * ratio + more
        for take in takes
        for note in take.log.notes
        for ratio, more in expected_lines(note, take.log)
    ]
    low = max(min(reached, default=100.0) / 1.3, 20.0)
    high = max(max(reached, default=4000.0) * 1.15, 2.0 * low)
    return low, min(high, *(take.log.rate / 2.0 for take in takes))


def _levels(take: PicturedTake, low_hz: float, high_hz: float) -> Spectrogram:
    recording = read_recording(take.wav)
    rate = recording.rate
    hop_s = max(len(recording.samples) / rate / _FRAMES, 1.0 / rate)
    whole = spectrogram(recording.samples, rate, _WINDOW_S, hop_s)
    return on_log_axis(whole, low_hz, high_hz, _BANDS)


def _lay_over(axes: "Axes", log: TakeLog) -> None:
    for note in log.notes:
        times, hz = note_course(note, log.rate)
        for ratio, more in expected_lines(note, log):
            places = [math.log2(max(each * ratio + more, 1e-3)) for each in hz]
            axes.plot(times, places, color="white", linewidth=2.2, alpha=0.7)
            axes.plot(times, places, color=LINE_COLOUR, linewidth=0.9, linestyle=(0, (4, 2)))
