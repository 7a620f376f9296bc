"""A tuning drawn on one page for the music stand, in black and greys, to be read at two metres.

The scale stands as a ruler of cents, low notes below: its marks on the right of it with their
names and numbers, just ratios on the left. A mark that goes straight across is in tune with its
ratio. Equal tunings give equal files. matplotlib is imported when a picture is made.
"""

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from meantide.errors import InvalidValue
from meantide.offline.label_places import spread
from meantide.offline.sheet_page import (
    CELL_SPACE,
    FOOT_MM,
    GUTTER_MM,
    LANE_MM,
    LEADER_MM,
    LEAST_POINTS,
    LINE,
    MARGIN_MM,
    POINT_MM,
    SCALE_MM,
    SMALLER,
    Page,
    cell_widths,
    fold_width_mm,
    plan,
    ratio_width,
    ruler_mm,
)
from meantide.pitch import Tuning

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = {  # and the metadata that would make equal pictures differ
    ".pdf": {"Creator": None, "Producer": None, "CreationDate": None},
    ".svg": {"Creator": None, "Date": None},
    ".png": {"Software": None},
}
PNG_DOTS_PER_INCH = 150
BLACK, GREY, WHITE = "0", "0.4", "1"
TITLE_POINTS, SUBTITLE_POINTS = 34.0, 17.0
THICK, MIDDLE, THIN, HAIR = 3.0, 1.6, 1.0, 0.1  # of strokes, in points
DARKEST = 0.5  # share of a lane that crowded marks may blacken
LONG_MM, SHORT_MM = 1.6, 0.9  # of the lines between the cents
FONT = "DejaVu Sans"  # matplotlib brings it along
_STYLE = {
    "font.family": FONT,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "meantide",
    "pdf.fonttype": 42,
}


def draw_sheet(
    path: Path, tuning: Tuning, degrees: Sequence[int], tuner_hz: float | None = None
) -> Page:
    """Write the picture of `degrees` to `path`, a .pdf, .svg or .png file, and return its plan.

    Numbers are cents above the lowest degree, or what a tuner shows whose A4 is `tuner_hz`. The
    file is written whole or not at all. Raises InvalidValue.
    """
    from meantide.whole_file import whole_file  # noqa: PLC0415

    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise InvalidValue("picture", str(path), "a file name that ends in " + ", ".join(FORMATS))
    with _style(), whole_file(path) as partial:
        figure, page = figure_of(tuning, degrees, tuner_hz)
        figure.savefig(
            partial, format=kind[1:], dpi=PNG_DOTS_PER_INCH, metadata=dict(FORMATS[kind])
        )
    return page


def figure_of(
    tuning: Tuning, degrees: Sequence[int], tuner_hz: float | None = None
) -> tuple["Figure", Page]:
    """Return the page drawn, its axes measuring millimetres from the lower left, and its plan."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    with _style():
        page = plan(tuning, degrees, tuner_hz, text_width)
        width, height = page.size_mm
        figure = Figure(figsize=(width / 25.4, height / 25.4), facecolor=WHITE)
        axes = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(0, height))
        axes.set_axis_off()
        _head_and_foot(axes, page, tuning, tuner_hz)
        for fold in range(page.folds):
            _Ruler(axes, page, fold).draw()
    return figure, page


@lru_cache(maxsize=8192)
def text_width(text: str, bold: bool) -> float:
    """Return the width of a text in heights of its type, whatever it is drawn with."""
    from matplotlib.font_manager import FontProperties  # noqa: PLC0415
    from matplotlib.textpath import TextToPath  # noqa: PLC0415

    font = FontProperties(family=FONT, weight="bold" if bold else "normal", size=100)
    return float(TextToPath().get_text_width_height_descent(text, font, ismath=False)[0]) / 100


@contextmanager
def _style() -> Iterator[None]:
    """Draw in our style, whatever the user's settings of matplotlib are."""
    from matplotlib import style  # noqa: PLC0415

    with style.context(["default", _STYLE]):
        yield


def _head_and_foot(axes: "Axes", page: Page, tuning: Tuning, tuner_hz: float | None) -> None:
    """Write what tuning it is, what the numbers are, and what is left out."""
    width, height = page.size_mm
    room = width - 2 * MARGIN_MM
    first = (
        page.notes[0].cells[0] if page.headings[0] == "note" else f"degree {page.notes[0].degree}"
    )
    anchor = tuning.anchor
    place = f"degree {anchor.degree}" if anchor.note is None else str(anchor.note)
    shown = "cents" if tuner_hz is None else f"tuners at A4 = {tuner_hz:g} Hz, ruler"
    lines = [
        (tuning.scale.label, TITLE_POINTS, True, height - MARGIN_MM - 11),
        (f"{place} = {anchor.hz:.7g} Hz", SUBTITLE_POINTS, True, height - MARGIN_MM - 20),
        (f"{shown} and ratios above {first}", LEAST_POINTS, False, height - MARGIN_MM - 26.5),
    ]
    foot = ["Black: the anchored note; level across the ruler: in tune with the ratio."]
    if (left_out := len(page.notes) - len(page.labelled)) > 0:
        foot.append(f"{left_out} of {len(page.notes)} notes are marked but not named.")
    lines += [
        (text, LEAST_POINTS, False, MARGIN_MM + 5.5 * line)
        for line, text in enumerate(reversed(foot))
    ]
    for text, points, bold, y in lines:
        shown = _shortened(text, bold, room / (LEAST_POINTS * POINT_MM))
        size = min(points, room / (text_width(shown, bold) * POINT_MM))
        weight = "bold" if bold else "normal"
        axes.text(MARGIN_MM, y, shown, size=size, weight=weight, color=BLACK, parse_math=False)


def _shortened(text: str, bold: bool, room: float) -> str:
    """Return a text, or as much of its beginning as takes `room` heights of its type."""
    if text_width(text, bold) <= room:
        return text
    fitting = bisect_right(
        range(len(text)), room, key=lambda end: text_width(text[:end] + "…", bold)
    )
    return text[: fitting - 1] + "…"


class _Ruler:
    """One ruler of a page, with everything on either side of it."""

    def __init__(self, axes: "Axes", page: Page, fold: int) -> None:
        self._axes, self._page, self._fold = axes, page, fold
        self._low = fold * page.span_cents / page.folds
        self._mm_a_cent = ruler_mm(page) * page.folds / page.span_cents
        self._bottom = MARGIN_MM + FOOT_MM
        self._top = self._bottom + ruler_mm(page)
        em = page.points * POINT_MM
        left = MARGIN_MM + fold * (fold_width_mm(page) + GUTTER_MM)
        self._ratio_end = left + SMALLER * ratio_width(page, text_width) * em
        self._left_lane = self._ratio_end + LEADER_MM
        self._scale = self._left_lane + LANE_MM
        self._right_lane = self._scale + SCALE_MM
        self._right = self._right_lane + LANE_MM
        self._labels = self._right + LEADER_MM
        name, shown, hz = (cell * em for cell in cell_widths(page, text_width))
        spare = left + fold_width_mm(page) - self._labels - name - shown - hz
        space = min(CELL_SPACE * em, spare / 2)  # if the type is smaller than it might be
        end = self._labels + name + space + shown
        self._ends = [end - CELL_SPACE * em, end + space + hz]

    def draw(self) -> None:
        """Draw it all."""
        self._draw_scale()
        self._draw_ratios()
        self._draw_notes()
        for x, text, side in (
            (self._ratio_end, "just", "right"),
            (self._labels, self._page.headings[0], "left"),
            (self._ends[0], self._page.headings[1], "right"),
            (self._ends[1], self._page.headings[2], "right"),
        ):
            self._write(x, self._top + 5.0, text, LEAST_POINTS, side, GREY)

    def _draw_scale(self) -> None:
        """Draw the cents: a line at each ten, longer at fifties, numbers at hundreds."""
        step = _hundreds(self._page.span_cents / self._page.folds)
        for x in (self._left_lane, self._scale, self._right_lane, self._right):
            self._line([(x, self._bottom), (x, self._top)], THIN, BLACK)
        for y in (self._bottom, self._top):
            self._line([(self._left_lane, y), (self._right, y)], THIN, BLACK)
        half = LEAST_POINTS * POINT_MM / 2
        middle = (self._scale + self._right_lane) / 2
        first = math.ceil(self._low / step * 10)
        last = math.floor((self._low + self._page.span_cents / self._page.folds) / step * 10)
        for tenth in range(first, last + 1):
            cents = tenth * step / 10
            y = self._y(cents)
            length = LONG_MM if tenth % 5 == 0 else SHORT_MM
            ends = (
                (self._scale, self._right_lane),
                (self._scale + length, self._right_lane - length),
            )
            self._axes.hlines([y, y], *ends, color=BLACK, linewidth=THIN)
            if tenth % 10 == 0 and self._bottom + half <= y <= self._top - half:
                self._write(middle, y, f"{cents:g}", LEAST_POINTS, "center", BLACK)

    def _draw_ratios(self) -> None:
        """Draw the ratios on the left."""
        page = self._page
        ratios = [ratio for ratio in page.ratios if page.fold_of(ratio.cents) == self._fold]
        points = SMALLER * page.points
        marks = [self._y(ratio.cents) for ratio in ratios]
        for ratio, mark, place in zip(ratios, marks, self._places(marks, points), strict=True):
            self._line([(self._left_lane, mark), (self._scale, mark)], THICK, GREY)
            self._leader(self._left_lane, mark, self._ratio_end + 1.0, place)
            self._write(self._ratio_end, place, ratio.text, points, "right", BLACK)

    def _draw_notes(self) -> None:
        """Draw the notes on the right, all their marks, and those labels that the page has."""
        page = self._page
        here = [note for note in page.notes if page.fold_of(note.cents) == self._fold]
        labelled = set(page.labelled)
        marks = [self._y(note.cents) for note in here]
        nearest = min((upper - lower for lower, upper in pairwise(marks)), default=10.0)
        thick = min(THICK, max(HAIR, nearest * DARKEST / POINT_MM))
        self._axes.hlines(marks, self._right_lane, self._right, color=BLACK, linewidth=thick)
        shown = [note for note in here if note in labelled]
        marks = [self._y(note.cents) for note in shown]
        for note, mark, place in zip(shown, marks, self._places(marks, page.points), strict=True):
            if thick < THICK:  # so crowded that a mark with a label has to stand out
                ends = [(self._right_lane - LONG_MM, mark), (self._right, mark)]
                self._line(ends, THICK, BLACK)
            self._leader(self._right, mark, self._labels - 1.0, place)
            ink = BLACK
            if note.anchored:
                self._box(text_width(note.cells[0], True) * page.points * POINT_MM, place)
                ink = WHITE
            self._write(self._labels, place, note.cells[0], page.points, "left", ink, "bold")
            for end, cell in zip(self._ends, note.cells[1:], strict=True):
                self._write(end, place, cell, SMALLER * page.points, "right", BLACK)

    def _places(self, marks: Sequence[float], points: float) -> list[float]:
        """Return where the labels of such marks go."""
        line = points * LINE * POINT_MM
        return spread(marks, line, self._bottom + line / 2, self._top - line / 2)

    def _y(self, cents: float) -> float:
        """Return where on the page a height above the first note lies."""
        return self._bottom + (cents - self._low) * self._mm_a_cent

    def _leader(self, mark_x: float, mark_y: float, label_x: float, label_y: float) -> None:
        """Lead from a mark to its label: level, slanting, level."""
        turn = (label_x - mark_x) / 5
        points = [(mark_x, mark_y), (mark_x + turn, mark_y)]
        self._line([*points, (label_x - turn, label_y), (label_x, label_y)], MIDDLE, GREY)

    def _line(self, points: Sequence[tuple[float, float]], width: float, grey: str) -> None:
        """Draw a line, `width` points thick, with square ends."""
        x, y = zip(*points, strict=True)
        self._axes.plot(x, y, color=grey, linewidth=width, solid_capstyle="butt")

    def _box(self, width: float, place: float) -> None:
        """Lay a black box under a name."""
        from matplotlib.patches import Rectangle  # noqa: PLC0415

        height = self._page.points * POINT_MM
        corner = (self._labels - 0.6, place - height / 2)
        self._axes.add_patch(Rectangle(corner, width + 1.2, height, color=BLACK, linewidth=0))

    def _write(
        self,
        x: float,
        y: float,
        text: str,
        points: float,
        side: str,
        grey: str,
        weight: str = "normal",
    ) -> None:
        """Write a text with its middle at `y` and its `side` at `x`."""
        self._axes.text(
            x,
            y,
            text,
            size=points,
            weight=weight,
            color=grey,
            ha=side,
            va="center_baseline",
            parse_math=False,
        )


def _hundreds(span: float) -> float:
    """Return how many cents lie between numbers: 100, or more on a ruler of many octaves."""
    return 100.0 * max(1, -(-int(span) // 2400))
