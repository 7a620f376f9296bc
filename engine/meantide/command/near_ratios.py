"""`meantide near ratio` and `meantide near chord`: the simplest ratios near what is heard."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Literal

import click

from meantide.command.near_shared import (
    by_option,
    count_option,
    json_option,
    limit_option,
    print_found,
    print_json,
    read_cents,
    read_intervals,
    tolerance_option,
)
from meantide.pitch import Interval
from meantide.pitch.nearness import near_proportions, near_ratios
from meantide.pitch.nearness.proportions import MAX_NUMBER


@click.command()
@click.argument("interval")
@tolerance_option
@limit_option
@click.option(
    "--most",
    type=click.IntRange(1, 10**12),
    default=10**6,
    show_default=True,
    help="Bound on numerator times denominator.",
)
@by_option
@count_option(12)
@json_option
def ratio(
    *,
    interval: str,
    tolerance: str,
    limit: int | None,
    most: int,
    by: Literal["size", "limit"],
    count: int,
    as_json: bool,
) -> None:
    """List the simplest ratios near INTERVAL: those of the least numerator times denominator.

    \b
    meantide near ratio "386.31 cents" --tolerance 5
    meantide near ratio "10/31 of 2/1" --tolerance 10 --limit 7
    """
    target = Interval.parse(interval)
    within = read_cents("--tolerance", tolerance)
    found = near_ratios(target, within, count=count, most=most, limit=limit, by=by)
    if as_json:
        print_json(
            {
                "target": str(target),
                "cents": target.cents,
                "tolerance_cents": within.cents,
                "ratios": [{**asdict(each), "size": each.size} for each in found],
            }
        )
        return
    print_found(
        f"within {within.cents:g} cents of {interval}",
        ["ratio", "num × den", "limit", "cents", "error"],
        [
            [
                f"{each.numerator}/{each.denominator}",
                str(each.size),
                str(each.limit),
                f"{target.cents + each.error_cents:.3f}",
                f"{each.error_cents:+.3f}",
            ]
            for each in found
        ],
        f"none with numerator times denominator up to {most}; try a greater --most or --tolerance",
    )


@click.command()
@click.argument("intervals", nargs=-1, required=True)
@tolerance_option
@limit_option
@click.option(
    "--most",
    type=click.IntRange(1, MAX_NUMBER),
    default=1000,
    show_default=True,
    help="Bound on the numbers of the proportion.",
)
@by_option
@count_option(12)
@json_option
def chord(
    *,
    intervals: Sequence[str],
    tolerance: str,
    limit: int | None,
    most: int,
    by: Literal["size", "limit"],
    count: int,
    as_json: bool,
) -> None:
    """List the simplest whole-number proportions near a chord: those of the least product.

    INTERVALS are the other notes above the chord's first. All intervals between any two of the
    notes lie within the tolerance.

    \b
    meantide near chord "386 cents" "702 cents" "969 cents" --tolerance 10
    meantide near chord "10/31 of 2/1" "18/31 of 2/1" --tolerance 6 --limit 5
    """
    notes = read_intervals(intervals)
    within = read_cents("--tolerance", tolerance)
    found = near_proportions(notes, within, count=count, most=most, limit=limit, by=by)
    if as_json:
        print_json(
            {
                "notes": [str(note) for note in notes],
                "tolerance_cents": within.cents,
                "proportions": [asdict(each) for each in found],
            }
        )
        return
    print_found(
        f"within {within.cents:g} cents of every interval of the chord",
        ["proportion", "limit", "worst", "errors above the lowest note"],
        [
            [
                ":".join(map(str, each.numbers)),
                str(each.limit),
                f"{each.worst_cents:.3f}",
                "  ".join(f"{error:+.3f}" for error in each.errors_cents[1:]),
            ]
            for each in found
        ],
        f"none with numbers up to {most}; try a greater --most or --tolerance",
    )
