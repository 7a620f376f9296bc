"""What tests ask of pictures: that no text lies on another or off the page, and that greys rise."""

from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
from matplotlib import colormaps
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

SIGNATURES = {".png": b"\x89PNG\r\n\x1a\n", ".svg": b"<?xml", ".pdf": b"%PDF-"}
"""How files begin: PNG (ISO/IEC 15948), XML for SVG, PDF (ISO 32000)."""


def boxes(figure: Figure) -> list[tuple[str, NDArray[np.float64]]]:
    """Return every text that is seen, with its extent as matplotlib measures it, in pixels."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = []
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip():
            extent = text.get_window_extent(renderer)
            found.append((text.get_text(), np.array(extent.extents)))
    return found


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    """Return the pairs of texts that share any area."""
    return [
        (one, other)
        for (one, a), (other, b) in combinations(boxes(figure), 2)
        if (a[:2] < b[2:]).all() and (b[:2] < a[2:]).all()
    ]


def off_the_page(figure: Figure) -> list[str]:
    """Return the texts that are cut off."""
    page = np.array(figure.bbox.extents)
    return [
        text
        for text, box in boxes(figure)
        if (box[:2] < page[:2]).any() or (box[2:] > page[2:]).any()
    ]


def texts_in_svg(path: Path) -> list[str]:
    """Return the texts of an SVG file, in its order."""
    drawing = ElementTree.fromstring(path.read_text())  # noqa: S314  written just now
    return [
        "".join(node.itertext()).strip() for node in drawing.iter() if node.tag.endswith("}text")
    ]


def luminances(name: str) -> NDArray[np.float64]:
    """Return the relative luminances (256,) of a map of colours (sRGB, IEC 61966-2-1)."""
    rgb = colormaps[name](np.linspace(0.0, 1.0, 256))[:, :3]
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    light: NDArray[np.float64] = linear @ np.array([0.2126, 0.7152, 0.0722])
    return light
