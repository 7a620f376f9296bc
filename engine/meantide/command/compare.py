"""`meantide compare`: one piece in several scales and at several anchors, heard and reckoned."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from itertools import product
from pathlib import Path

import click

from meantide import __version__
from meantide.command.kernel_choice import kernel_option, notice
from meantide.command.render import read_any, readable
from meantide.errors import InvalidValue
from meantide.offline.assay import Verdict
from meantide.offline.comparison import Comparison, compared
from meantide.offline.comparison_page import write_page
from meantide.offline.comparison_picture import draw_comparison
from meantide.offline.comparison_words import markdown, summary_lines
from meantide.offline.matched_takes import TakeJob, make_takes
from meantide.offline.render import DEFAULT_LEVEL_DB, DEFAULT_RATE, Settings
from meantide.offline.score import Overrides
from meantide.offline.turns import write_turns
from meantide.whole_file import whole_file

MOST_TAKES = 16


@click.command("compare")
@click.argument("score", type=click.Path(path_type=Path))
@click.option("--scale", "scales", multiple=True, help="A scale's name or path. Repeatable.")
@click.option("--anchor", "anchors", multiple=True, help="NOTE=HZ, a name, a path. Repeatable.")
@click.option("--layout", help="Layout in place of the score's.")
@click.option("--voice", help="One voice for all parts.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("comparison"),
    show_default=True,
    help="The folder for everything; it is made if it is not there.",
)
@click.option("--shuffle", metavar="SEED", type=int, help="Shuffle the takes of each phrase.")
@click.option(
    "--rate", type=click.IntRange(8_000, 192_000), default=DEFAULT_RATE, show_default=True
)
@click.option(
    "--level", type=click.FloatRange(-100.0, 0.0), default=DEFAULT_LEVEL_DB, show_default=True
)
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
@kernel_option
@click.pass_context
def compare(
    context: click.Context,
    score: Path,
    scales: tuple[str, ...],
    anchors: tuple[str, ...],
    layout: str | None,
    voice: str | None,
    *,
    out: Path,
    shuffle: int | None,
    rate: int,
    level: float,
    as_json: bool,
    kernel: str,
) -> None:
    """Render SCORE in each of the scales, at each of the anchors, and set the takes side by side.

    The first take is what the others are compared with. Each is proved by the assay, and turned
    down to the loudness of the quietest (BS.1770). In the folder: the takes and their logs,
    turns.wav (the takes in turn, phrase by phrase) with turns.json (which is which), report.html,
    which is whole in itself, and report.md with moves.png.

    \b
    meantide compare piece.yaml --scale 12-equal --scale 31-equal --out two-scales
    meantide compare piece.yaml --scale 31-equal --anchor A4=440 --anchor A4=415 --shuffle 7

    Exit code 0: done, every take in tune. 1: a take is not. 2: bad input.
    """
    if len(scales) < 2 and len(anchors) < 2:
        raise InvalidValue("--scale", len(scales), "two scales or two anchors, or more of either")
    count = max(len(scales), 1) * max(len(anchors), 1)
    if count > MOST_TAKES:
        raise InvalidValue("takes", count, f"at most {MOST_TAKES}: scales times anchors")
    jobs = []
    settings = Settings(rate=rate, level_db=level)
    for number, (scale, anchor) in enumerate(product(scales or (None,), anchors or (None,)), 1):
        piece = read_any(score, Overrides(scale, anchor, layout, voice))
        place = out / f"take-{number}.wav"
        jobs.append(TakeJob(piece, readable(score), settings, kernel, place))
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InvalidValue("--out", str(out), f"a folder ({error.strerror})") from error
    takes = make_takes(jobs)
    for said in dict.fromkeys(said for take in takes for said in take.notices):
        notice(said)
    turns = write_turns(out / "turns.wav", [(take.wav, take.log) for take in takes], shuffle)
    found = compared(takes, turns, shuffle)
    answer = json.dumps(_as_json(found), indent=1, allow_nan=False)
    _write(out / "turns.json", json.dumps(_turns_json(found), indent=1))
    _write(out / "report.md", markdown(found))
    draw_comparison(out / "moves.png", found)
    write_page(out / "report.html", found, out / "turns.wav", out / "moves.png")
    click.echo(answer if as_json else _told(found, out))
    context.exit(0 if all(take.proof.passed for take in takes) else 1)


def _write(path: Path, text: str) -> None:
    with whole_file(path) as partial:
        partial.write_text(text + "\n", encoding="utf-8")


def _told(found: Comparison, out: Path) -> str:
    lines: Sequence[str] = summary_lines(found)
    return "\n".join([*lines, f"written: {out / 'report.html'} and all beside it"])


def _turns_json(found: Comparison) -> dict[str, object]:
    return {
        "meantide": __version__,
        "kind": "turns",
        "seed": found.seed,
        "turns": [asdict(turn) | {"take": turn.take + 1} for turn in found.turns],
    }


def _as_json(found: Comparison) -> dict[str, object]:
    return {
        "meantide": __version__,
        "kind": "comparison",
        "title": found.title,
        "takes": [
            {
                "take": number,
                "wav": take.wav.name,
                "scale": take.tuning.scale.to_mapping(),
                "anchor": take.tuning.anchor.to_mapping(),
                "gain_db": take.gain_db,
                "loudness_lufs": take.log.loudness_lufs,
                "true_peak_dbtp": take.log.true_peak_dbtp,
                "proof": {
                    "passed": take.proof.passed,
                    "tolerance_cents": take.proof.tolerance_cents,
                    "worst_cents": take.proof.worst_cents,
                    "counts": {verdict.value: take.proof.count(verdict) for verdict in Verdict},
                },
            }
            for number, take in enumerate(found.takes, 1)
        ],
        "changes": [
            {
                "from": 1,
                "to": number,
                "kind": change.kind,
                "common_cents": change.moves.common_cents,
                "unpaired": change.moves.unpaired,
                "notes": [asdict(note) for note in change.moves.notes],
                "intervals": [
                    asdict(each) | {"change_cents": each.change_cents}
                    for each in change.moves.intervals
                ],
            }
            for number, change in enumerate(found.changes, 2)
        ],
        "turns": _turns_json(found),
    }
