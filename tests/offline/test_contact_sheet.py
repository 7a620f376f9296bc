"""The contact sheet: one page of many voices, all alike."""

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

import pictures
from meantide.errors import InvalidValue
from meantide.offline.contact_sheet import (
    HIGH_HZ,
    LOW_HZ,
    TOP_DB,
    Entry,
    columns_for,
    draw_contact_sheet,
    figure_of,
)
from meantide.offline.voice_picture import SPAN_DB

RATE = 48_000
SUBTITLE = (
    "A3 = 220 Hz, velocity 0.7, held 2 s to the dashed line; axes and colours are the same for all"
)


def entries(count: int) -> list[Entry]:
    """Return short sines, each a little softer; some have long names."""
    sine = np.sin(2 * np.pi * 220.0 * np.arange(RATE // 4) / RATE)
    names = ["reed", "bell-of-the-outer-harbour-wall-at-night", "still-water", "bowed-sand"]
    return [
        Entry(names[n % 4], "additive" if n % 3 else "fm", sine * 10 ** (-n / 20), RATE)
        for n in range(count)
    ]


def page(count: int) -> Figure:
    return figure_of(entries(count), 220.0, f"{count} voices", SUBTITLE)


@pytest.mark.parametrize("count", [1, 2, 3, 5, 12, 45, 60])
def test_nothing_lies_on_anything_or_off_the_page(count: int) -> None:
    figure = page(count)
    assert pictures.overlaps(figure) == []
    assert pictures.off_the_page(figure) == []


@pytest.mark.parametrize("count", [12, 45])
def test_all_have_the_same_axes_and_colours(count: int) -> None:
    figure = page(count)
    *voices, key = figure.axes
    assert len(voices) == count
    sizes = {(round(axes.bbox.width, 6), round(axes.bbox.height, 6)) for axes in voices}
    assert len(sizes) == 1
    for axes in voices:
        assert axes.get_xlim() == (0.0, 3.0)
        assert axes.get_ylim() == (np.log2(LOW_HZ), np.log2(HIGH_HZ))
        assert axes.images[0].get_clim() == (TOP_DB - SPAN_DB, TOP_DB)
    assert key.get_xlim() == (TOP_DB - SPAN_DB, TOP_DB)


def test_each_picture_is_of_its_voice() -> None:
    for number, axes in enumerate(page(5).axes[:5]):
        levels = np.asarray(axes.images[0].get_array())
        assert levels.max() == pytest.approx(-number, abs=0.1)  # dB
        row = np.unravel_index(levels.argmax(), levels.shape)[0]
        hz = LOW_HZ * (HIGH_HZ / LOW_HZ) ** ((row + 0.5) / len(levels))
        band = 1200 * np.log2(HIGH_HZ / LOW_HZ) / len(levels)
        assert abs(1200 * np.log2(hz / 220.0)) < band


def test_the_page_has_a_landscapes_shape_and_readable_words() -> None:
    for count in (12, 45):
        figure = page(count)
        assert 1.2 < figure.bbox.width / figure.bbox.height < 1.8
        ordinary = [axes.title for axes in figure.axes[:count]]
        assert min(text.get_fontsize() for text in ordinary) >= 6.0  # points
    assert [columns_for(count) for count in (1, 2, 12, 45)] == [1, 2, 4, 8]


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_a_file_of_each_kind(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"sheet{ending}"
    draw_contact_sheet(path, entries(3), 220.0, "3 voices", SUBTITLE)
    assert path.read_bytes().startswith(pictures.SIGNATURES[ending])
    if ending == ".svg":
        texts = pictures.texts_in_svg(path)
        assert {"3 voices", SUBTITLE, "reed", "fm", "Hz", "seconds"} <= set(texts)
        assert "dB re a full-scale sine" in texts


def test_bad_places_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InvalidValue, match=r"sheet.*\.png, \.svg, \.pdf"):
        draw_contact_sheet(tmp_path / "sheet.jpg", entries(1), 220.0, "", "")
    with pytest.raises(InvalidValue, match="a place that can be written"):
        draw_contact_sheet(tmp_path / "nowhere" / "sheet.png", entries(1), 220.0, "", "")
