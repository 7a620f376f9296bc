"""Takes against time: the pitches asked for as lines, those measured as dots, and how far off.

Several takes stand side by side on common axes. Parts are told apart by dashes, so that a copy in
grey tells as much.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meantide.offline.assay import Assay, Row, assay_file
from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.picture_axes import (
    BARS,
    INCHES,
    PicturedTake,
    hz_axis,
    left_out,
    note_course,
    told_notes,
    tuned,
)
from meantide.offline.take_moves import pitch_text
from meantide.offline.takelog import TakeLog

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (1.2, 1.2)), (0, (6, 1.5, 1.2, 1.5)))
_SHADES = ("0.0", "0.45", "0.25", "0.6")
_LEAST_CENTS = 0.001  # the deviations' axis spans no less


def draw_pitches(path: Path, takes: Sequence[PicturedTake]) -> str:
    """Draw takes to a PNG, SVG or PDF file and return the text twin; InvalidValue as usual."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    check_figure_path(path)
    assays = [take.assay or assay_file(take.wav, take.log) for take in takes]
    with our_style():
        figure = Figure(figsize=INCHES, facecolor="white")
        rows = figure.subplots(
            2, len(takes), sharex=True, sharey="row", squeeze=False,
            gridspec_kw={"height_ratios": [3, 1], "hspace": 0.09, "wspace": 0.06},
        )  # fmt: skip
        for above, below, take, found in zip(rows[0], rows[1], takes, assays, strict=True):
            _draw_pitches(above, take.log, found)
            above.set_title(tuned(take.log), loc="right", size=9.0, parse_math=False)
            _draw_deviations(below, _measured(found))
            if above is not rows[0][0]:
                above.set_ylabel("")
                below.set_ylabel("")
        _span_deviations(rows[1][0], [row for found in assays for row in _measured(found)])
        handles, labels = rows[0][0].get_legend_handles_labels()
        legend = figure.legend(handles, labels, loc="upper left", bbox_to_anchor=(0.06, 0.965),
                               ncols=8, frameon=False)  # fmt: skip
        for text in legend.get_texts():
            text.set_parse_math(False)  # names are the player's, dollar signs and all
        figure.suptitle(f"{takes[0].log.title}: pitch over time", x=0.07, y=0.985, ha="left",
                        size=10.5, parse_math=False)  # fmt: skip
        figure.subplots_adjust(left=0.07, right=0.985, bottom=0.09, top=0.87)
    save_figure(path, figure)
    return "\n\n".join(
        pitch_words(take.log, found) for take, found in zip(takes, assays, strict=True)
    )


def pitch_words(log: TakeLog, found: Assay) -> str:
    """Return the notes of a take, one a line: when, what, at how many Hz, and as measured."""
    measured: dict[int, list[Row]] = {}
    for row in _measured(found):
        measured.setdefault(row.note, []).append(row)
    lines = [f"{log.title}, {tuned(log)}"]
    for note in told_notes(log):
        way = " to ".join(f"{pitch.hz:.3f}" for pitch in note.pitches[:4])
        span = f"{note.start / log.rate:.2f} to {note.release / log.rate:.2f} s"
        rows = measured.get(note.id, [])
        off = "not measured"
        if rows:
            cents = ", ".join(f"{row.cents:+.4f}" for row in rows[:4])
            off = f"measured {cents} cents off"
        lines.append(f"{span}: {note.part}, {pitch_text(note)}, {way} Hz; {off}")
    return "\n".join([*lines, *left_out(log)])


def _measured(found: Assay) -> list[Row]:
    return [row for row in found.rows if row.cents is not None]


def _middle(row: Row) -> float:
    return (row.start_s + row.end_s) / 2.0


def _draw_pitches(axes: "Axes", log: TakeLog, found: Assay) -> None:
    parts = list(dict.fromkeys(note.part for note in log.notes))
    named: set[str] = set()
    for note in log.notes:
        number = parts.index(note.part) % len(_DASHES)
        times, hz = note_course(note, log.rate)
        axes.plot(times, hz, color=_SHADES[number], linestyle=_DASHES[number], linewidth=2.2,
                  label=None if note.part in named else f" {note.part}")  # fmt: skip
        named.add(note.part)
    rows = _measured(found)
    axes.plot([_middle(row) for row in rows], [row.measured_hz or 0.0 for row in rows], "o",
              color="black", markersize=4.5, markerfacecolor="white", label="measured")  # fmt: skip
    hz_axis(axes)


def _draw_deviations(axes: "Axes", rows: Sequence[Row]) -> None:
    axes.axhline(0.0, color="0.5", linewidth=0.8)
    if rows:
        doubt = [2.0 * (row.uncertainty_cents or 0.0) for row in rows]
        middles, cents = [_middle(row) for row in rows], [row.cents or 0.0 for row in rows]
        axes.errorbar(middles, cents, doubt, **BARS)
    axes.set_ylabel("off, cents")
    axes.set_xlabel("time, seconds (bars: two standard deviations)")
    axes.grid(axis="x", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def _span_deviations(axes: "Axes", rows: Sequence[Row]) -> None:
    reach = [abs(row.cents or 0.0) + 2.0 * (row.uncertainty_cents or 0.0) for row in rows]
    most = max([*reach, _LEAST_CENTS])
    axes.set_ylim(-1.25 * most, 1.25 * most)
