"""`meantide near divisions`: equal divisions ranked for a set of target intervals."""

import re
import sys
from collections.abc import Sequence
from dataclasses import asdict
from fractions import Fraction
from typing import Literal

import click

from meantide.command.near_shared import (
    count_option,
    json_option,
    print_found,
    print_json,
    read_intervals,
)
from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.pitch.nearness import Division, rank_divisions
from meantide.pitch.scale import MAX_SIZE

_WEIGHT = re.compile(r"[0-9]{1,10}(\.[0-9]{1,9}|/[0-9]{1,10})?")


@click.command()
@click.argument("targets", nargs=-1, required=True)
@click.option(
    "--most", type=click.IntRange(1, MAX_SIZE), default=100, show_default=True, help="Most parts."
)
@click.option(
    "--least", type=click.IntRange(1, MAX_SIZE), default=1, show_default=True, help="Fewest parts."
)
@click.option("--period", default="2/1", show_default=True, help="The interval that is divided.")
@click.option("--weights", help="A number for each target, such as 3,2,1; by default all alike.")
@click.option(
    "--by",
    type=click.Choice(["cents", "share"]),
    default="cents",
    show_default=True,
    help="Rank by the error in cents, or in shares of a step.",
)
@click.option("--consistent", "only_consistent", is_flag=True, help="Only consistent ones.")
@count_option(20)
@json_option
def divisions(
    *,
    targets: Sequence[str],
    most: int,
    least: int,
    period: str,
    weights: str | None,
    by: Literal["cents", "share"],
    only_consistent: bool,
    count: int,
    as_json: bool,
) -> None:
    """Rank equal divisions by how near their steps come to TARGETS, all together.

    The error is the weighted RMS √(Σ w·e² / Σ w) of the targets' errors e. A division is
    consistent if its best steps for any two targets differ by a best step for the targets'
    difference, so that the chord of them can be played without a compromise.

    \b
    meantide near divisions 3/2 5/4 7/4 --most 100 --by share
    meantide near divisions 5/3 7/3 --period 3/1 --weights 2,1
    """
    wanted = read_intervals(targets)
    parsed_period = Interval.parse(period)
    parsed_weights = None if weights is None else read_weights(weights)
    found = _rank_shown(wanted, most, least, parsed_period, parsed_weights, by)
    if only_consistent:
        found = [each for each in found if each.consistent]
    if as_json:
        print_json(
            {
                "period": str(parsed_period),
                "targets": [str(target) for target in wanted],
                "weights": [float(each) for each in parsed_weights or [Fraction(1)] * len(wanted)],
                "by": by,
                "divisions": [asdict(each) for each in found[:count]],
            }
        )
        return
    print_found(
        f"equal parts of {parsed_period}, {least} to {most}, by {by}",
        ["parts", "error", "% step", "consistent", *map(str, wanted)],
        [
            [
                str(each.parts),
                f"{each.error_cents:.3f}",
                f"{100 * each.error_share:.1f}",
                "yes" if each.consistent else "no",
                *(
                    f"{step} {error:+.3f}"
                    for step, error in zip(each.steps, each.errors_cents, strict=True)
                ),
            ]
            for each in found[:count]
        ],
        "none",
    )


def read_weights(text: str) -> list[Fraction]:
    """Return the numbers of a list such as 3,2,1 or 0.5,1/3."""
    numbers = [number.strip() for number in text.split(",")]
    try:
        if all(_WEIGHT.fullmatch(number) for number in numbers):
            return [Fraction(number) for number in numbers]
    except ZeroDivisionError:
        pass
    raise InvalidValue("--weights", text, "numbers with commas between, such as 3,2,1")


def _rank_shown(
    targets: Sequence[Interval],
    most: int,
    least: int,
    period: Interval,
    weights: Sequence[Fraction] | None,
    by: Literal["cents", "share"],
) -> list[Division]:
    """Rank divisions with a progress bar on a terminal, and none in a pipe."""
    if not sys.stderr.isatty():
        return rank_divisions(targets, most, least=least, period=period, weights=weights, by=by)
    from rich.console import Console  # noqa: PLC0415  loaded when it is seen
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("ranking", total=None)
        return rank_divisions(
            targets,
            most,
            least=least,
            period=period,
            weights=weights,
            by=by,
            on_progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
