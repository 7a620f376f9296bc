"""A roughness curve as a picture: the curve, its minima by their ratios, and a scale as a ruler.

Black on white, told apart by shape and not by colour, so that it can be printed and copied.
matplotlib is imported when a picture is drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from meantide.errors import InvalidValue
from meantide.voice.roughness_minima import Landscape
from meantide.whole_file import whole_file

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENDINGS = (".png", ".svg", ".pdf")
_INCHES = (11.0, 6.2)
_LABEL_ROWS = 2
_ROW_POINTS = 31.0  # the height of a label
_LABEL_SHARE = 0.05  # of the width of the picture that a label takes
_NAME_SHARE = 0.028
_LINE: dict[str, Any] = {
    "color": "0.5", "linewidth": 0.8, "linestyle": (0, (1, 2)), "zorder": 0,
}  # fmt: skip
_METADATA: dict[str, dict[str, Any]] = {
    ".svg": {"Date": None},
    ".pdf": {"CreationDate": None},
    ".png": {},
}


@dataclass(frozen=True, slots=True)
class Mark:
    """A place on the picture: cents above the lower note, what is written there, and its weight.

    Where labels would run into each other the heavier keeps its own.
    """

    cents: float
    label: str
    weight: float = 1.0


def check_ending(path: Path) -> None:
    """Refuse, with InvalidValue, a file that is none of the kinds that can be drawn."""
    if path.suffix.lower() not in ENDINGS:
        raise InvalidValue("picture", str(path), "a name that ends in " + ", ".join(ENDINGS))


def draw(
    path: Path,
    landscape: Landscape,
    title: str,
    minima: Sequence[Mark],
    ruler_title: str = "",
    ruler: Sequence[Mark] = (),
) -> None:
    """Draw `landscape` to a PNG, SVG or PDF file; a `ruler` of degrees stands below if given.

    Raises InvalidValue for another ending, or a file that cannot be written.
    """
    check_ending(path)
    import matplotlib as mpl  # noqa: PLC0415  takes a second to load
    from matplotlib.figure import Figure  # noqa: PLC0415

    # Text stays text in SVG, so it can be searched and set anew; ids do not change from run to run.
    with mpl.rc_context({"font.size": 11, "svg.fonttype": "none", "svg.hashsalt": "meantide"}):
        figure = Figure(figsize=_INCHES)
        heights = [6.0, 1.0] if ruler else [1.0]
        axes = figure.subplots(
            len(heights), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights}
        )[:, 0]
        lines = _draw_curve(axes[0], landscape, minima)
        if ruler:
            _draw_ruler(axes[1], ruler, lines)
        bars = f"; the bars are degrees of {ruler_title}" if ruler else ""
        axes[-1].set_xlabel(f"cents above the lower note{bars}")
        figure.suptitle(title, x=0.09, y=0.98, ha="left", weight="bold")
        figure.text(
            0.99, 0.01, "Plomp and Levelt 1965, as fitted by Sethares 1993", ha="right", size=8
        )
        figure.subplots_adjust(left=0.09, right=0.975, top=0.79, bottom=0.12, hspace=0.06)
        ending = path.suffix.lower()
        with whole_file(path) as partial:
            figure.savefig(partial, format=ending[1:], dpi=150, metadata=_METADATA[ending])


def _draw_curve(axes: "Axes", landscape: Landscape, minima: Sequence[Mark]) -> list[float]:
    """Draw the curve, and above it the minima for which there is room, with a line down to each.

    Return the cents of those lines.
    """
    cents = 1200.0 * np.log2(landscape.ratios)
    axes.plot(cents, landscape.roughness / landscape.roughest, color="black", linewidth=1.6)
    axes.set_xlim(-0.012 * cents[-1], 1.012 * cents[-1])
    axes.set_ylim(0.0, 1.04)
    axes.set_yticks([0.0, 0.5, 1.0], ["smooth", "half", "roughest"])
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    rows = label_rows(minima, cents[-1] * _LABEL_SHARE, _LABEL_ROWS)
    for mark, row in zip(minima, rows, strict=True):
        if row is not None:
            axes.axvline(mark.cents, **_LINE)
            axes.annotate(
                f"{mark.label}\n{mark.cents:.0f}",
                (mark.cents, 1.04),
                (0.0, 3.0 + _ROW_POINTS * row),
                textcoords="offset points",
                ha="center",
                va="bottom",
                annotation_clip=False,
                arrowprops={"arrowstyle": "-", "shrinkA": 0.0, "shrinkB": 0.0, **_LINE},
            )
    return [mark.cents for mark, row in zip(minima, rows, strict=True) if row is not None]


def _draw_ruler(axes: "Axes", ruler: Sequence[Mark], lines: Sequence[float]) -> None:
    """Draw the degrees as bars, with the minima's lines running through."""
    for cents in lines:
        axes.axvline(cents, **_LINE)
    axes.vlines([mark.cents for mark in ruler], 0.45, 1.0, color="black", linewidth=1.6)
    low, high = axes.get_xlim()
    for mark, row in zip(ruler, label_rows(ruler, (high - low) * _NAME_SHARE, 1), strict=True):
        if row is not None:
            behind = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}
            axes.text(mark.cents, 0.36, mark.label, ha="center", va="top", size=9, bbox=behind)
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def label_rows(marks: Sequence[Mark], width: float, rows: int) -> list[int | None]:
    """Return the row in which each mark's label stands clear of the others, None for no room.

    `width` is that of a label, in cents. The heaviest are placed first, in the lowest row free;
    labels of different rows keep so far apart that the line down from one clears the other.
    """
    placed: list[int | None] = [None] * len(marks)
    for index in sorted(range(len(marks)), key=lambda index: -marks[index].weight):
        apart = [
            (other, abs(marks[index].cents - mark.cents))
            for mark, other in zip(marks, placed, strict=True)
            if other is not None
        ]
        for row in range(rows):
            if all(far >= width * (1.0 if other == row else 0.6) for other, far in apart):
                placed[index] = row
                break
    return placed
