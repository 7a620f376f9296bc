"""The page for the music stand, measured: its type, its greys, its words, and that none overlap."""

import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.image import imread

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.offline.sheet_page import LEAST_POINTS, Page
from meantide.offline.sheet_picture import FORMATS, draw_sheet, figure_of
from meantide.pitch import Anchor, Interval, NoteName, Scale, Tuning

CASES = [
    ("12-equal", "A4=440", None),
    ("19-equal", "A4=440", None),
    ("31-equal", "A4=435", None),
    ("31-equal", "A4=435", 440.0),
    ("41-equal", "A4=440", 440.0),
    ("53-equal", "A4=440", None),
    ("just-five-limit", "c256", 440.0),
    ("harmonics-8-16", "0=256", None),
    ("13-equal-of-3", "0=256", None),
    ("1000-equal", "A4=440", None),
]
MM = 72 / 25.4


def tuning(scale: str | Scale, anchor: str) -> Tuning:
    catalogue = Catalogue()
    return Tuning(
        scale if isinstance(scale, Scale) else catalogue.scale(scale), catalogue.anchor(anchor)
    )


def drawn(scale: str | Scale, anchor: str, tuner_hz: float | None = None) -> tuple[Figure, Page]:
    found = tuning(scale, anchor)
    return figure_of(found, range(found.scale.size + 1), tuner_hz)


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    """Return the pairs of texts whose extents, as matplotlib measures them, share any area."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in figure.axes[0].texts]
    return [
        (one, two)
        for (one, first), (two, second) in combinations(boxes, 2)
        if first.x0 < second.x1
        and second.x0 < first.x1
        and first.y0 < second.y1
        and second.y0 < first.y1
    ]


@pytest.mark.parametrize(("scale", "anchor", "tuner_hz"), CASES)
def test_nothing_lies_on_anything_or_off_the_page(
    scale: str, anchor: str, tuner_hz: float | None
) -> None:
    figure, _ = drawn(scale, anchor, tuner_hz)
    assert overlaps(figure) == []
    renderer = FigureCanvasAgg(figure).get_renderer()
    for text in figure.axes[0].texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0 and box.y0 >= 0, text.get_text()  # noqa: PT018
        assert box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1, text.get_text()  # noqa: PT018


@pytest.mark.parametrize(("scale", "anchor", "tuner_hz"), CASES)
def test_all_type_can_be_read_at_two_metres(
    scale: str, anchor: str, tuner_hz: float | None
) -> None:
    figure, page = drawn(scale, anchor, tuner_hz)
    sizes = {text.get_text(): text.get_fontsize() for text in figure.axes[0].texts}
    assert min(sizes.values()) >= LEAST_POINTS
    # Capitals of DejaVu Sans are 1493 of 2048 units (its own OS/2 table). Normal sight reads
    # letters of five minutes of arc (the 6/6 line of an eye chart; from memory).
    capitals_mm = LEAST_POINTS / MM * 1493 / 2048
    assert np.degrees(np.arctan(capitals_mm / 2000)) * 60 >= 5
    assert sizes[page.labelled[0].cells[0]] == page.points >= 1.25 * LEAST_POINTS


@pytest.mark.parametrize("scale", ["12-equal", "31-equal", "1000-equal"])
def test_it_is_black_and_grey_and_thick(tmp_path: Path, scale: str) -> None:
    found = tuning(scale, "A4=440")
    path = tmp_path / "stand.png"
    draw_sheet(path, found, range(found.scale.size + 1))
    pixels = imread(path)[..., :3]
    assert np.ptp(pixels, axis=-1).max() == 0
    assert pixels.min() == 0
    assert pixels[0, 0].tolist() == [1, 1, 1]
    figure, _ = drawn(scale, "A4=440")
    assert all(len(set(to_rgb(line.get_color()))) == 1 for line in figure.axes[0].lines)
    # No stroke is under a point, 0.35 mm.
    assert min(line.get_linewidth() for line in figure.axes[0].lines) >= 1


@pytest.mark.parametrize(("scale", "anchor", "tuner_hz"), CASES)
def test_the_svg_says_what_the_tuning_says(
    tmp_path: Path, scale: str, anchor: str, tuner_hz: float | None
) -> None:
    found = tuning(scale, anchor)
    path = tmp_path / "stand.svg"
    page = draw_sheet(path, found, range(found.scale.size + 1), tuner_hz)
    texts = re.findall(r"<text [^>]*>([^<]*)</text>", path.read_text())
    assert scale in texts
    for note in page.labelled:
        name = found.name_of_degree(note.degree)
        assert str(note.degree if name is None else name) in texts
        assert any(_is(text, found.hz_of_degree(note.degree)) for text in texts)
        if tuner_hz is None:
            assert any(_is(text, found.scale.interval(note.degree).cents) for text in texts)
    assert {ratio.text for ratio in page.ratios} <= set(texts)
    anchored = str(found.anchor.note) if found.anchor.note else f"degree {found.anchor.degree}"
    assert f"{anchored} = {found.anchor.hz:g} Hz" in texts


def _is(text: str, value: float) -> bool:
    """Tell whether a text is a number, rounded to the decimals it has."""
    whole, _, decimals = text.partition(".")
    return whole.isdigit() and text == f"{value:.{len(decimals)}f}"


def test_a_long_scale_names_what_matters_and_says_what_it_leaves_out(tmp_path: Path) -> None:
    found = tuning("1000-equal", "A4=440")
    path = tmp_path / "stand.svg"
    page = draw_sheet(path, found, range(1001))
    named = {note.degree for note in page.labelled}
    # First, last, anchored; and the nearest of 1000 to 3/2, 5/4 and 7/4, whose log2 are 0.58496,
    # 0.32193 and 0.80735.
    assert {0, 1000, found.anchor_degree, 585, 322, 807} <= named
    assert f"{1001 - len(named)} of 1001 notes are marked but not named." in path.read_text()
    assert len(page.notes) == 1001


def test_tuners_are_told_what_they_show() -> None:
    figure, _ = drawn("just-five-limit", "c256", 440)
    texts = [text.get_text() for text in figure.axes[0].texts]
    # C4 = 256 Hz is 37.6317 cents below that of twelve equal parts at A4 = 440, calculated.
    assert "C4 −37.6" in texts
    assert "tuners at A4 = 440 Hz, ruler and ratios above C4" in texts


def test_ratios_the_scale_has_stand_beside_its_notes() -> None:
    _, page = drawn("harmonics-8-16", "0=256")
    beside = {ratio.text for ratio in page.ratios}
    assert {"1/1", "9/8", "5/4", "11/8", "3/2", "13/8", "7/4", "15/8", "2/1"} <= beside
    _, page = drawn("12-equal", "A4=440")
    beside = {ratio.text for ratio in page.ratios}
    assert {"16/15", "9/8", "6/5", "5/4", "4/3", "3/2", "8/5", "5/3", "7/4", "15/8"} <= beside


@pytest.mark.parametrize(
    "scale",
    [
        Scale.equal(1),
        Scale.equal(2, Interval.ratio(1000), fifth=None),
        Scale.equal(17, name="tide tables of the harbour installation, second set " * 2),
        Scale.from_degrees([Interval.parse(f"0.{place} cents") for place in range(1, 10)]),
        Scale.from_degrees([Interval.parse("1 cents"), Interval.parse("1199 cents")]),
    ],
    ids=["one", "huge", "long name", "crowded", "ends"],
)
def test_odd_scales_make_a_page_too(scale: Scale) -> None:
    figure, page = drawn(scale, "0=100")
    assert overlaps(figure) == []
    assert len(page.notes) == scale.size + 1


def test_a_name_stands_as_it_is_or_is_cut_to_what_can_be_read() -> None:
    figure, _ = drawn(Scale.equal(5, name="quay $5 and $7"), "0=100")
    assert figure.axes[0].texts[0].get_text() == "quay $5 and $7"
    assert not figure.axes[0].texts[0].get_parse_math()
    name = "bells of the harbour " * 50
    figure, _ = drawn(Scale.equal(5, name=name), "0=100")
    title = figure.axes[0].texts[0]
    assert len(title.get_text()) > 60
    assert title.get_text()[-1] == "…"
    assert name.startswith(title.get_text()[:-1])
    assert title.get_fontsize() >= LEAST_POINTS


def test_a_single_note_makes_a_page() -> None:
    figure, page = figure_of(tuning("12-equal", "A4=440"), [9])
    assert overlaps(figure) == []
    assert [note.cells for note in page.labelled] == [("A4", "0.0", "440.00")]


SCRIPT = """
import sys
from pathlib import Path
from meantide.catalogue import Catalogue
from meantide.offline.sheet_picture import draw_sheet
from meantide.pitch import Anchor, Tuning
tuning = Tuning(Catalogue().scale("31-equal"), Anchor.parse("A4=435"))
draw_sheet(Path(sys.argv[1]), tuning, range(32))
"""


@pytest.mark.parametrize("kind", FORMATS)
def test_equal_tunings_give_equal_files(tmp_path: Path, kind: str) -> None:
    here, there = tmp_path / f"here{kind}", tmp_path / f"there{kind}"
    draw_sheet(here, tuning("31-equal", "A4=435"), range(32))
    subprocess.run([sys.executable, "-c", SCRIPT, there], check=True)
    assert here.read_bytes() == there.read_bytes()
    dates = (b"CreationDate", b"ModDate", b"dc:date", b"tIME", b"Creation Time")
    assert not any(date in here.read_bytes() for date in dates)


@pytest.mark.parametrize("name", ["stand.jpg", "stand", "stand.pdf.txt"])
def test_other_kinds_of_file_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InvalidValue, match=r"ends in \.pdf, \.svg, \.png"):
        draw_sheet(tmp_path / name, tuning("12-equal", "A4=440"), range(13))
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_written_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InvalidValue, match="a place that can be written"):
        draw_sheet(tmp_path / "no" / "stand.pdf", tuning("12-equal", "A4=440"), range(13))
    assert list(tmp_path.iterdir()) == []


def test_the_anchored_note_is_white_on_black() -> None:
    figure, _ = figure_of(
        Tuning(Scale.equal(12), Anchor(440, note=NoteName.parse("A4"))), range(13)
    )
    white = [text.get_text() for text in figure.axes[0].texts if text.get_color() == "1"]
    assert white == ["A4"]
    (box,) = figure.axes[0].patches
    assert to_rgb(box.get_facecolor()) == (0, 0, 0)
