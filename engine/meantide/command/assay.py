"""meantide assay: measure a take against the frequencies its tuning says."""

import json
import math
from dataclasses import asdict
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from meantide.command.assay_words import anchor_holds, print_scale_assay, scale_assay_json
from meantide.errors import InvalidValue
from meantide.offline.assay import Assay, Row, Verdict, assay_file
from meantide.offline.heard_notes import heard_notes
from meantide.offline.recording import read_recording
from meantide.offline.scale_assay import TOLERANCE_CENTS, Finding, assay_scale
from meantide.offline.takelog import TakeLog, read
from meantide.pitch import Tuning

_STYLES = {
    Verdict.IN_TUNE: "green",
    Verdict.OUT: "bold red",
    Verdict.MISSING: "bold red",
    Verdict.UNRESOLVED: "yellow",
}
_LOGGED_TOLERANCE_CENTS = 0.1
_ONLY = {
    "all": tuple(Verdict),
    "failing": (Verdict.OUT, Verdict.MISSING),
    "unresolved": (Verdict.UNRESOLVED,),
}


@click.command()
@click.argument("take", type=click.Path(path_type=Path))
@click.option("--log", "log_path", type=click.Path(path_type=Path), help="default: TAKE's .json")
@click.option("--tolerance", type=float, help="in cents; 0.1 by a log, 5 without")
@click.option("--scale", help="no log: a scale's name or path to hold the recording against")
@click.option("--anchor", help="without a log: the anchor it should have; else any will do")
@click.option("--only", type=click.Choice(list(_ONLY)), default="all", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="print everything as JSON")
@click.pass_context
def assay(
    context: click.Context,
    take: Path,
    *,
    log_path: Path | None,
    tolerance: float | None,
    scale: str | None,
    anchor: str | None,
    only: str,
    as_json: bool,
) -> None:
    """Measure the notes of TAKE from its samples and compare them with its log.

    With --scale no log is read, and TAKE may be any recording: its notes are found, and the anchor
    that fits them best, and how far each degree lies from the scale. It says whether the scale is
    wrong, or whether so few notes of so fine a scale tell nothing.

    \b
    meantide assay slack-water.wav
    meantide assay trio.flac --scale 31-equal --anchor A4=440 --tolerance 3

    Exit code 0: in tune. 1: a note is out or missing, or none could be resolved; the scale is
    wrong, undecided, or not at the anchor. 2: bad input.
    """
    if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0.0):
        raise InvalidValue("--tolerance", tolerance, "cents, a finite number above 0")
    if not take.is_file():
        raise InvalidValue("take", str(take), "a sound file that exists")
    if scale is not None:
        if log_path is not None or only != "all":
            raise InvalidValue("--scale", scale, "neither --log nor --only beside it")
        passed = _against_scale(take, scale, anchor, tolerance or TOLERANCE_CENTS, as_json=as_json)
        context.exit(0 if passed else 1)
    if anchor is not None:
        raise InvalidValue("--anchor", anchor, "--scale beside it; a take's log has its own")
    tolerance = tolerance or _LOGGED_TOLERANCE_CENTS
    log = read(log_path or take.with_suffix(".json"))
    result = assay_file(take, log, tolerance)
    shown = [row for row in result.rows if row.verdict in _ONLY[only]]
    if as_json:
        click.echo(json.dumps(_as_json(take, log, result, shown), indent=1, allow_nan=False))
    else:
        _print(result, shown)
    context.exit(0 if result.passed else 1)


def _against_scale(
    take: Path, scale: str, anchor: str | None, tolerance: float, *, as_json: bool
) -> bool:
    """Assay a recording without its log, print what was found, and say whether it passed."""
    # It knows voices too; what measures a take with a log loads nothing that makes sound.
    from meantide.catalogue import Catalogue  # noqa: PLC0415

    catalogue = Catalogue()
    the_scale = catalogue.scale(scale)
    nameless = the_scale.fifth is None and the_scale.names is None
    usual = "0=256" if nameless else "A4=440"
    tuning = Tuning(the_scale, catalogue.anchor(anchor or usual))
    recording = read_recording(take)
    found = assay_scale(tuning, heard_notes(recording.samples, recording.rate), tolerance)
    passed = found.finding is Finding.FITS and (anchor is None or anchor_holds(found))
    if as_json:
        answer = scale_assay_json(take, found, tuning, passed=passed)
        click.echo(json.dumps(answer, indent=1, allow_nan=False))
    else:
        print_scale_assay(found, tuning, anchored=anchor is not None)
    return passed


def _as_json(take: Path, log: TakeLog, result: Assay, shown: list[Row]) -> dict[str, object]:
    return {
        "meantide": log.meantide,
        "kind": "assay",
        "take": str(take),
        "tolerance_cents": result.tolerance_cents,
        "passed": result.passed,
        "counts": {verdict.value: result.count(verdict) for verdict in Verdict},
        "worst_cents": result.worst_cents,
        "median_uncertainty_cents": result.median_uncertainty_cents,
        "rows": [asdict(row) for row in shown],
    }


def _print(result: Assay, shown: list[Row]) -> None:
    console = Console()
    if not console.is_terminal:
        console = Console(width=160)  # a pipe has no width; rows stay whole for grep
    if shown:
        console.print(_table(shown))
    console.print(Text(_summary(result)))


def _table(rows: list[Row]) -> Table:
    table = Table(box=None, pad_edge=False)
    for name in ("note", "part", "pitch", "start s", "expected Hz", "measured Hz", "cents"):
        table.add_column(name, justify="left" if name in ("part", "pitch") else "right")
    for name in ("± cents", "partials"):
        table.add_column(name, justify="right")
    table.add_column("verdict")
    for row in rows:
        verdict = row.verdict.value + (f": {row.why}" if row.why else "")
        table.add_row(
            str(row.note),
            Text(row.part),  # as it is: names are the player's, brackets and all
            Text(_pitch(row.pitch)),
            f"{row.start_s:.3f}",
            f"{row.expected_hz:.5f}",
            "" if row.measured_hz is None else f"{row.measured_hz:.5f}",
            "" if row.cents is None else f"{row.cents:+.5f}",
            "" if row.uncertainty_cents is None else f"{row.uncertainty_cents:.1e}",
            f"{row.used}/{len(row.partials)}",
            Text(verdict, _STYLES[row.verdict]),
        )
    return table


def _pitch(pitch: dict[str, object]) -> str:
    """Return a pitch as asked for: the name itself, or what kind of number it is."""
    if set(pitch) == {"note"}:
        return str(pitch["note"])
    return ", ".join(f"{kind} {value}" for kind, value in pitch.items())


def _summary(result: Assay) -> str:
    counts = ", ".join(f"{result.count(verdict)} {verdict.value}" for verdict in Verdict)
    worst, doubt = result.worst_cents, result.median_uncertainty_cents
    measured = (
        ""
        if worst is None or doubt is None
        else f"; worst deviation {worst:+.5f} cents, median uncertainty {doubt:.1e} cents"
    )
    head = "in tune" if result.passed else "not in tune"
    if not result.passed and not (result.count(Verdict.OUT) or result.count(Verdict.MISSING)):
        head = "nothing could be resolved"
    return f"{head} to {result.tolerance_cents:g} cents: {counts}{measured}"
