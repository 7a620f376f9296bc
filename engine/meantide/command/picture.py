"""`meantide picture`: takes as pictures, each with a text twin beside it."""

import math
from pathlib import Path

import click

from meantide.errors import InvalidValue
from meantide.offline.figure_file import check_figure_path
from meantide.offline.picture_axes import PicturedTake
from meantide.offline.pitch_picture import draw_pitches
from meantide.offline.spectrogram_picture import draw_spectrograms
from meantide.offline.spectrum_picture import draw_spectrum
from meantide.offline.takelog import read
from meantide.whole_file import whole_file

MOST_TAKES = 4


@click.command("picture")
@click.argument("takes", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="FILE.png, .svg or .pdf; the text twin is FILE.txt.",
)
@click.option(
    "--kind",
    type=click.Choice(["pitch", "spectrogram", "spectrum"]),
    default="pitch",
    show_default=True,
    help="Pitch against time, level over time and frequency, or the spectrum at --at.",
)
@click.option("--at", "at_s", type=float, help="The middle of the second to look at, in s.")
def picture(takes: tuple[Path, ...], *, out: Path, kind: str, at_s: float | None) -> None:
    """Draw TAKES with what their logs say laid over: up to four, side by side.

    The pitch picture shows notes as asked for and as measured, and how many cents they are off; the
    spectrogram the partials to be expected; the spectrum the lines to be expected, those found and
    how far off they lie. What is drawn is also told in words, in a text file beside the picture.

    \b
    meantide picture slack-water.wav --out slack-water.svg
    meantide picture two-scales/take-1.wav two-scales/take-2.wav --out both.png
    meantide picture slack-water.wav --kind spectrum --at 6.2 --out second.pdf
    """
    check_figure_path(out, "--out")
    if len(takes) > (1 if kind == "spectrum" else MOST_TAKES):
        raise InvalidValue("TAKES", len(takes), f"up to {MOST_TAKES}, or one spectrum")
    if (kind == "spectrum") != (at_s is not None) or not math.isfinite(at_s or 0.0):
        raise InvalidValue("--at", at_s, "seconds, with --kind spectrum and only with it")
    for take in takes:
        if not take.is_file():
            raise InvalidValue("take", str(take), "a sound file that exists")
    shown = [PicturedTake(take, read(take.with_suffix(".json"))) for take in takes]
    if kind == "spectrum" and at_s is not None:
        words = draw_spectrum(out, shown[0], at_s)
    else:
        words = (draw_pitches if kind == "pitch" else draw_spectrograms)(out, shown)
    twin = out.with_suffix(".txt")
    with whole_file(twin) as partial:
        partial.write_text(words + "\n", encoding="utf-8")
    click.echo(f"written: {out}, and in words {twin}")
