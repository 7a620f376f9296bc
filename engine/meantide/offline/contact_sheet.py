"""Many voices on one page: a small spectrogram of each, with the same axes and colours for all."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.partials import Reals
from meantide.offline.spectrogram import Spectrogram, on_log_axis, spectrogram
from meantide.offline.voice_picture import COLOURS, SPAN_DB, window_s

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOW_HZ, HIGH_HZ = 50.0, 16_000.0
TOP_DB = 0.0
HELD_S, SHOWN_S = 2.0, 3.0
"""Notes are held so long, and seen so long."""
_BANDS, _HOP_S = 240, 0.01
_SHAPE = 1.4  # columns to rows
_WIDEST, _NARROWEST, _PAGE = 4.0, 1.9, 13.0  # inches: of a picture, and what they share
_LEAST_WIDTH = 11.0  # inches, for the words at the top
_HIGH = 0.72  # of a picture's width
_GAP, _TITLE, _ABOVE = 0.14, 0.32, 0.85  # inches: between columns, over a picture, over all
_LEFT, _RIGHT, _BELOW = 0.75, 0.25, 0.6
_NAME_POINTS, _KIND_POINTS, _TICK_POINTS = 9.0, 7.5, 7.5
_LETTER = 0.6  # a bold letter's width over its height, at the most usual
_TICKS_HZ = {100: "100", 1000: "1000", 10_000: "10000"}


@dataclass(frozen=True, slots=True)
class Entry:
    """A voice on the page: its name and kind, and its mono sound (size,) at `rate`."""

    name: str
    kind: str
    samples: Reals
    rate: int


def draw_contact_sheet(
    path: Path, entries: Sequence[Entry], hz: float, title: str, subtitle: str
) -> None:
    """Draw the notes at `hz` of all `entries` to a PNG, SVG or PDF file.

    Raises InvalidValue for another ending, or a file that cannot be written.
    """
    check_figure_path(path, "sheet")
    save_figure(path, figure_of(entries, hz, title, subtitle))


def columns_for(count: int) -> int:
    """Return how many columns a page of so many voices has."""
    return max(1, min(count, round(math.sqrt(count * _SHAPE))))


def figure_of(entries: Sequence[Entry], hz: float, title: str, subtitle: str) -> "Figure":
    """Return the page."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    columns = columns_for(len(entries))
    rows = -(-len(entries) // columns)
    wide = min(max(_PAGE / columns, _NARROWEST), _WIDEST)
    high = wide * _HIGH
    width = max(_LEFT + columns * wide + (columns - 1) * _GAP + _RIGHT, _LEAST_WIDTH)
    height = _ABOVE + rows * (high + _TITLE) + _BELOW
    with our_style():
        figure = Figure(figsize=(width, height), facecolor="white")
        for number, entry in enumerate(entries):
            row, column = divmod(number, columns)
            left = _LEFT + column * (wide + _GAP)
            bottom = height - _ABOVE - (row + 1) * (high + _TITLE)
            axes = figure.add_axes((left / width, bottom / height, wide / width, high / height))
            _draw_entry(axes, _picture(entry, hz), entry, wide)
            _label(axes, first=column == 0, last=number + columns >= len(entries))
        figure.text(_LEFT / width, 1 - 0.3 / height, title, size=15, weight="bold", va="center")
        figure.text(_LEFT / width, 1 - 0.6 / height, subtitle, size=9.5, va="center")
        _draw_key(figure, 1.0 - _RIGHT / width)
    return figure


def _picture(entry: Entry, hz: float) -> Spectrogram:
    shown = entry.samples[: round(SHOWN_S * entry.rate)]
    found = spectrogram(shown, entry.rate, window_s(hz), _HOP_S)
    return on_log_axis(found, LOW_HZ, min(HIGH_HZ, entry.rate / 2.0), _BANDS)


def _draw_entry(axes: "Axes", picture: Spectrogram, entry: Entry, wide: float) -> None:
    from matplotlib import colormaps  # noqa: PLC0415

    axes.imshow(
        picture.levels_db,
        extent=(0.0, float(picture.times_s[-1]), math.log2(LOW_HZ), math.log2(picture.hz[-1])),
        origin="lower",
        aspect="auto",
        cmap=COLOURS,
        vmin=TOP_DB - SPAN_DB,
        vmax=TOP_DB,
        interpolation="bilinear",
        interpolation_stage="data",
    )
    axes.set_facecolor(colormaps[COLOURS](0))
    axes.set_xlim(0.0, SHOWN_S)
    axes.set_ylim(math.log2(LOW_HZ), math.log2(HIGH_HZ))
    axes.axvline(HELD_S, color="white", linewidth=0.6, linestyle=(0, (3, 2)))
    room = wide * 72.0 - len(entry.kind) * _KIND_POINTS * _LETTER
    points = min(_NAME_POINTS, room / (max(len(entry.name), 1) * _LETTER))
    axes.set_title(entry.name, size=points, weight="bold", loc="left", pad=3.0, parse_math=False)
    axes.set_title(entry.kind, size=_KIND_POINTS, loc="right", pad=3.0, color="0.25")


def _label(axes: "Axes", *, first: bool, last: bool) -> None:
    """Write the axes' numbers where the page begins and ends, and marks everywhere."""
    axes.set_yticks(list(map(math.log2, _TICKS_HZ)), list(_TICKS_HZ.values()))
    axes.set_xticks([0.0, 1.0, 2.0])
    axes.tick_params(labelsize=_TICK_POINTS, length=2.5, labelleft=first, labelbottom=last)
    if first:
        axes.set_ylabel("Hz", size=_TICK_POINTS, labelpad=1.0)
    if last:
        axes.set_xlabel("seconds", size=_TICK_POINTS, labelpad=1.0)


def _draw_key(figure: "Figure", right: float) -> None:
    """Draw which colour is which level, at the upper right."""
    width, height = figure.get_size_inches()
    across, thick = 2.2, 0.13
    place = (right - across / width, 1.0 - 0.42 / height, across / width, thick / height)
    axes = figure.add_axes(place)
    extent = (TOP_DB - SPAN_DB, TOP_DB, 0.0, 1.0)
    axes.imshow(np.linspace(0.0, 1.0, 256)[None, :], aspect="auto", cmap=COLOURS, extent=extent)
    axes.set_yticks([])
    axes.set_xticks(np.arange(TOP_DB - SPAN_DB, TOP_DB + 1.0, 20.0))
    axes.tick_params(labelsize=_TICK_POINTS, length=2.5)
    axes.set_xlabel("dB re a full-scale sine", size=_TICK_POINTS, labelpad=1.0)
