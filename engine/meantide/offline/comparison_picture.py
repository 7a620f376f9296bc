"""A comparison as a picture: how far each note moves, and beside it how far each interval does.

After a change of anchor the notes stand on one upright line, and the intervals on the line of no
change; after a change of scale both scatter. Takes are told apart by shape, and by lightness.
"""

import math
from pathlib import Path
from typing import TYPE_CHECKING

from meantide.offline.comparison import Comparison, label
from meantide.offline.figure_file import our_style, save_figure
from meantide.offline.picture_axes import hz_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHAPES = "os^Dv<>phX*dP|_"
# Four of Okabe and Ito's colours for all readers (2008, from memory), dark to light.
COLOURS = ("black", "#0072B2", "#D55E00", "#56B4E9")
_INCHES = (10.0, 5.4)


def draw_comparison(path: Path, found: Comparison) -> None:
    """Draw it to a PNG, SVG or PDF file; InvalidValue for another ending."""
    save_figure(path, figure_of(found))


def figure_of(found: Comparison) -> "Figure":
    """Return the picture."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    with our_style():
        figure = Figure(figsize=_INCHES, facecolor="white")
        left, right = figure.subplots(1, 2, gridspec_kw={"wspace": 0.28})
        for number, change in enumerate(found.changes):
            style = {
                "marker": SHAPES[number % len(SHAPES)],
                "color": COLOURS[number % len(COLOURS)],
                "markerfacecolor": "none" if number % 2 else COLOURS[number % len(COLOURS)],
                "linestyle": "none",
                "markersize": 6.0,
            }
            name = f"take {number + 2}: {label(found.takes[number + 1])}"
            notes = sorted({(note.cents, note.hz) for note in change.moves.notes})
            left.plot([cents for cents, _ in notes], [hz for _, hz in notes], label=name, **style)
            wide = sorted({(each.change_cents, each.first.cents)
                           for each in change.moves.intervals})  # fmt: skip
            right.plot([cents for cents, _ in wide], [cents for _, cents in wide], **style)
        _finish_notes(left)
        _finish_intervals(right)
        figure.suptitle(f"{found.title}: what moves from take 1 ({label(found.takes[0])})",
                        x=0.08, y=0.985, ha="left", size=10.5, parse_math=False)  # fmt: skip
        legend = figure.legend(
            loc="upper left", bbox_to_anchor=(0.07, 0.955), ncols=3, frameon=False
        )
        for text in legend.get_texts():
            text.set_parse_math(False)
        rows = math.ceil(len(found.changes) / 3)
        figure.subplots_adjust(left=0.08, right=0.98, bottom=0.1, top=0.88 - 0.035 * rows)
    return figure


def _finish_notes(axes: "Axes") -> None:
    hz_axis(axes)
    axes.set_ylabel("frequency in take 1, Hz")
    axes.set_title("each note", loc="left", size=9.5)
    _finish(axes, "moves by, cents")


def _finish_intervals(axes: "Axes") -> None:
    axes.set_ylabel("interval in take 1, cents")
    low, high = axes.get_ylim()
    step = 200.0 if high - low < 2600.0 else 600.0
    axes.set_yticks([step * place for place in range(math.ceil(low / step), int(high / step) + 1)])
    axes.set_title("each interval of two notes that sound together", loc="left", size=9.5)
    _finish(axes, "becomes wider by, cents")


def _finish(axes: "Axes", across: str) -> None:
    axes.axvline(0.0, color="0.35", linewidth=0.9, linestyle=(0, (4, 2)), zorder=0)
    low, high = axes.get_xlim()
    room = max(0.05 * (high - low), 1.0)
    axes.set_xlim(min(low, 0.0) - room, max(high, 0.0) + room)
    axes.set_xlabel(across)
    axes.grid(color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
