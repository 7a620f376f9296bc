"""`meantide rough`: where a voice is smooth against itself, and a spectrum for a scale."""

import csv
import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from meantide.catalogue import Catalogue
from meantide.command.additive_voice import additive_voice
from meantide.command.definition_file import write_definition
from meantide.command.tables import Printed, print_table, signed
from meantide.errors import InvalidValue
from meantide.offline.roughness_picture import Mark, check_ending, draw
from meantide.pitch import Interval, Scale, name_of
from meantide.voice.description import AdditiveVoice
from meantide.voice.fitted import Fitted, degree_near, fitted
from meantide.voice.roughness import RoughnessCurve
from meantide.voice.roughness_minima import Landscape, Minimum, survey
from meantide.voice_files import voice_to_mapping
from meantide.whole_file import whole_file

SIMPLEST_WITHIN_CENTS = 5.0
LARGEST_DENOMINATOR = 16
CURVE_ENDINGS = (".csv", ".json")
MOST_ACCIDENTALS = 2  # of a name on a picture's ruler; longer ones run into each other


@dataclass(frozen=True, slots=True)
class Row:
    """A minimum as it is told.

    Roughness and depth are shares of the roughest interval. `nearest_ratio` is the simplest ratio
    within 5 cents, if any; `degree_cents` is how far the nearest degree lies above the minimum.
    """

    ratio: float
    cents: float
    nearest_ratio: str | None
    ratio_cents: float | None
    roughness: float
    depth: float
    degree: int | None
    name: str | None
    degree_cents: float | None


@dataclass(frozen=True, slots=True)
class Degree:
    """A degree of the scale as it is told: how far it lies above the nearest minimum, in cents."""

    degree: int
    name: str | None
    cents: float
    nearest_minimum: float
    minimum_cents: float


@click.command("rough")
@click.option("--voice", default="plain-reed", show_default=True, help="Voice: a name or a path.")
@click.option("--scale", help="A scale to hold against the minima: a name or a path.")
@click.option(
    "--base", type=float, default=261.6, show_default=True, help="The lower note's Hz, 10 to 10000."
)
@click.option("--period", help="How far up to go: 2/1, or the scale's own period.")
@click.option(
    "--depth",
    type=float,
    default=0.5,
    show_default=True,
    help="Leave out minima shallower than this, in percent of the roughest.",
)
@click.option("--curve", type=click.Path(path_type=Path), help="Write the curve: .csv or .json.")
@click.option(
    "--picture", type=click.Path(path_type=Path), help="Draw the curve: .png, .svg or .pdf."
)
@click.option(
    "--fit",
    type=click.Path(path_type=Path),
    help="Write a new voice file with the partials drawn to the scale's degrees: .yaml.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def rough(
    *,
    voice: str,
    scale: str | None,
    base: float,
    period: str | None,
    depth: float,
    curve: Path | None,
    picture: Path | None,
    fit: Path | None,
    as_json: bool,
) -> None:
    """Find the intervals at which a voice is smoothest against itself, note against note.

    Roughness is that of Plomp and Levelt as fitted by Sethares, of the spectrum with which a note
    begins. With a scale, its degrees (counted from the lower note) are held against the minima.

    \b
    meantide rough --voice plain-reed --scale 31-equal
    meantide rough --voice harbour-bell --picture bell.svg
    meantide rough --voice plain-reed --scale 13-equal-of-3 --fit thirteen-reed.yaml
    """
    catalogue = Catalogue()
    sound = additive_voice(catalogue, voice)
    degrees = None if scale is None else catalogue.scale(scale)
    reach = _reach(period, degrees)
    if not 0.0 <= depth <= 100.0:
        raise InvalidValue("--depth", depth, "a number of percent from 0 to 100")
    _check_files(curve, picture, fit, degrees)
    landscape = survey(RoughnessCurve.of_voice(sound, base), reach.ratio_value)
    shown = [m for m in landscape.minima if 100.0 * m.depth >= depth * landscape.roughest]
    rows = [_row(minimum, landscape, degrees) for minimum in shown]
    if curve is not None:
        _write_curve(curve, landscape)
    if picture is not None:
        title = f"{sound.name}: how rough two notes are, the lower at {base:g} Hz"
        _draw(picture, landscape, title, rows, degrees)
    made = None
    if fit is not None and degrees is not None:
        made = _write_fit(fit, sound, degrees)
    if as_json:
        answer = {
            "voice": sound.name,
            "base_hz": base,
            "period": str(reach),
            "minima": [asdict(row) for row in rows],
            "degrees": [asdict(each) for each in _degrees(degrees, reach, shown)],
        }
        click.echo(json.dumps(answer, indent=2, allow_nan=False))
        return
    _print_table(sound, base, rows, degrees)
    if made is not None:
        _print_fit(made, fit)


def _reach(period: str | None, scale: Scale | None) -> Interval:
    """Return the interval up to which to look."""
    if period is not None:
        return Interval.parse(period)
    return Interval.ratio(2) if scale is None else scale.period


def _check_files(
    curve: Path | None, picture: Path | None, fit: Path | None, scale: Scale | None
) -> None:
    """Refuse files that could not be written before anything is computed."""
    if curve is not None and curve.suffix.lower() not in CURVE_ENDINGS:
        raise InvalidValue("--curve", str(curve), "a name that ends in .csv or .json")
    if picture is not None:
        check_ending(picture)
    if fit is None:
        return
    if scale is None:
        raise InvalidValue("--fit", str(fit), "--fit together with --scale")
    if fit.suffix.lower() != ".yaml":
        raise InvalidValue("--fit", str(fit), "a name that ends in .yaml")
    if fit.exists():
        raise InvalidValue("--fit", str(fit), "a new file; this one is there already")


def simplest_ratio(ratio: float, within_cents: float) -> tuple[int, int] | None:
    """Return the simplest ratio near another, or None if its denominator would pass 16.

    The simplest fraction of an interval has both the least numerator and the least denominator
    in it (Stern and Brocot), so the first denominator that serves is that of the simplest.
    """
    for below in range(1, LARGEST_DENOMINATOR + 1):
        above = max(1, round(ratio * below))
        if abs(1200.0 * math.log2(above / below / ratio)) <= within_cents:
            return above, below
    return None


def _row(minimum: Minimum, landscape: Landscape, scale: Scale | None) -> Row:
    """Return a minimum as it is told."""
    near = simplest_ratio(minimum.ratio, SIMPLEST_WITHIN_CENTS)
    degree = name = degree_cents = None
    if scale is not None:
        degree = degree_near(scale, minimum.ratio)
        name = _name(scale, degree)
        degree_cents = 1200.0 * scale.octaves(degree) - minimum.cents
    return Row(
        minimum.ratio,
        minimum.cents,
        f"{near[0]}/{near[1]}" if near else None,
        minimum.cents - 1200.0 * math.log2(near[0] / near[1]) if near else None,
        minimum.roughness / landscape.roughest,
        minimum.depth / landscape.roughest,
        degree,
        name,
        degree_cents,
    )


def _degrees(scale: Scale | None, reach: Interval, minima: list[Minimum]) -> list[Degree]:
    """Return the degrees up to `reach`, each with its nearest minimum; none without either."""
    if scale is None or not minima:
        return []
    told = []
    for degree in range(degree_near(scale, reach.ratio_value) + 1):
        cents = 1200.0 * scale.octaves(degree)
        near = min(minima, key=lambda minimum: abs(minimum.cents - cents))
        told.append(Degree(degree, _name(scale, degree), cents, near.ratio, cents - near.cents))
    return told


def _name(scale: Scale, degree: int) -> str | None:
    """Return the note name of a degree counted from C4, if the scale has one."""
    name = name_of(scale, degree)
    return None if name is None else str(name)


def _write_curve(path: Path, landscape: Landscape) -> None:
    """Write every point: its ratio, cents, and roughness as a share of the roughest."""
    points = [
        (float(ratio), 1200.0 * math.log2(ratio), float(height) / landscape.roughest)
        for ratio, height in zip(landscape.ratios, landscape.roughness, strict=True)
    ]
    headings = ("ratio", "cents", "roughness")
    with whole_file(path) as partial, partial.open("w", newline="", encoding="utf-8") as file:
        if path.suffix.lower() == ".csv":
            csv.writer(file).writerows([headings, *points])
        else:
            json.dump([dict(zip(headings, point, strict=True)) for point in points], file)


def _draw(
    path: Path, landscape: Landscape, title: str, rows: list[Row], scale: Scale | None
) -> None:
    """Draw the curve with its minima, and the scale below."""
    marks = [Mark(row.cents, row.nearest_ratio or "", row.depth) for row in rows]
    if scale is None:
        draw(path, landscape, title, marks)
        return
    last = degree_near(scale, float(landscape.ratios[-1]))
    ruler = []
    for degree in range(last + 1):
        name = name_of(scale, degree)
        marks_of_name = 0 if name is None else abs(name.accidentals)
        label = str(degree) if name is None else name.spelling
        if marks_of_name > MOST_ACCIDENTALS:
            label = ""
        ruler.append(Mark(1200.0 * scale.octaves(degree), label, -marks_of_name))
    draw(path, landscape, title, marks, scale.name or "scale", ruler)


def _write_fit(path: Path, voice: AdditiveVoice, scale: Scale) -> Fitted:
    """Write the voice with its partials on the scale's degrees as a new file."""
    source = f"made by meantide rough --fit from {voice.name} and {scale.label}"
    made = fitted(voice, scale, path.stem, source)
    write_definition(path, voice_to_mapping(made.voice))
    return made


def _print_table(voice: AdditiveVoice, base: float, rows: list[Row], scale: Scale | None) -> None:
    """Print the minima for people, rounded."""
    named = any(row.name for row in rows)
    headings = ["cents", "ratio", "off", "roughness", "depth"]
    if scale is not None:
        headings += ["degree", "if from C4", "it lies"] if named else ["degree", "it lies"]
    lines = []
    for row in rows:
        cells = [
            f"{row.cents:.2f}",
            row.nearest_ratio or "-",
            "-" if row.ratio_cents is None else signed(row.ratio_cents, 2),
            f"{100 * row.roughness:.1f}",
            f"{100 * row.depth:.1f}",
        ]
        if row.degree_cents is not None:
            cells += [str(row.degree), *([row.name or "-"] if named else [])]
            cells.append(signed(row.degree_cents, 2))
        lines.append(cells)
    notes = [
        "roughness and depth in percent of the roughest interval; "
        f"ratio: the simplest within {SIMPLEST_WITHIN_CENTS:g} cents"
    ]
    if scale is not None and rows:
        weights = [row.depth for row in rows]
        off = [abs(row.degree_cents or 0.0) for row in rows]
        mean = sum(w * cents for w, cents in zip(weights, off, strict=True)) / sum(weights)
        notes.append(f"{scale.label}: {mean:.2f} cents from the minima, weighted by their depth")
    title = f"{voice.name} against itself, above {base:g} Hz: where it is smoothest"
    print_table(Printed(title, tuple(notes), tuple(headings), lines))


def _print_fit(made: Fitted, path: Path | None) -> None:
    """Say what became of the partials."""
    before, after = len(made.drawn), len(made.voice.partials)
    merged = f", {before - after} of them merged with others" if after < before else ""
    click.echo(
        f"{path}: {before} partials drawn to degrees, by {made.widest_cents:.1f} cents at most"
        f"{merged}"
    )
