"""Figures written to files: in our style whatever the user's is, whole, and equal if they are.

matplotlib is imported when a figure is made.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meantide.errors import InvalidValue
from meantide.whole_file import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS: dict[str, dict[str, Any]] = {  # and the metadata that would make equal figures differ
    ".png": {"Software": None},
    ".svg": {"Creator": None, "Date": None},
    ".pdf": {"Creator": None, "Producer": None, "CreationDate": None},
}
DOTS_PER_INCH = 150
_STYLE = {
    "font.family": "DejaVu Sans",  # matplotlib brings it along
    "font.size": 9.0,
    "axes.linewidth": 0.8,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "meantide",
    "pdf.fonttype": 42,
}


def check_figure_path(path: Path, field: str = "picture") -> None:
    """Refuse, with InvalidValue, a file that is none of the kinds that can be drawn."""
    if path.suffix.lower() not in FORMATS:
        raise InvalidValue(field, str(path), "a file name that ends in " + ", ".join(FORMATS))


@contextmanager
def our_style() -> Iterator[None]:
    """Draw in our style within."""
    from matplotlib import style  # noqa: PLC0415  takes a second

    with style.context(["default", _STYLE]):
        yield


def save_figure(path: Path, figure: "Figure") -> None:
    """Write a figure whole or not at all; raises InvalidValue where that cannot be."""
    check_figure_path(path)
    kind = path.suffix.lower()
    with our_style(), whole_file(path) as partial:
        figure.savefig(partial, format=kind[1:], dpi=DOTS_PER_INCH, metadata=FORMATS[kind])
