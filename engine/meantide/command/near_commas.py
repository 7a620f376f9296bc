"""`meantide near commas`: what an equal division tempers out."""

import re

import click

from meantide.command.near_shared import (
    count_option,
    json_option,
    limit_option,
    print_found,
    print_json,
    read_cents,
)
from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.pitch.nearness import primes_up_to, steps_of_primes, tempered_commas
from meantide.pitch.scale import MAX_SIZE


@click.command()
@click.argument("parts", type=click.IntRange(1, MAX_SIZE))
@limit_option
@click.option("--primes", help="Primes in place of a limit, such as 3,5,7.")
@click.option("--period", default="2/1", show_default=True, help="The interval that is divided.")
@click.option("--size", default="50", show_default=True, help="Up to so many cents, or interval.")
@click.option(
    "--most",
    type=click.IntRange(1, 10**60),
    default=10**12,
    show_default=True,
    help="Bound on numerator times denominator.",
)
@count_option(24)
@json_option
def commas(
    *,
    parts: int,
    limit: int | None,
    primes: str | None,
    period: str,
    size: str,
    most: int,
    count: int,
    as_json: bool,
) -> None:
    """List the commas that PARTS equal parts temper out, the simplest first.

    Each prime is taken to its nearest step, which the title gives; a comma is a ratio that so
    comes to no steps at all. Without --limit or --primes, primes go to 5.

    \b
    meantide near commas 31 --limit 7
    meantide near commas 13 --period 3/1 --primes 3,5,7
    """
    if limit is not None and primes is not None:
        raise InvalidValue("--primes", primes, "either --limit or --primes")
    chosen = primes_up_to(limit or 5) if primes is None else _read_primes(primes)
    parsed_period = Interval.parse(period)
    steps = steps_of_primes(parts, chosen, parsed_period)
    below = read_cents("--size", size)
    found = tempered_commas(steps, below, most=most, count=count)
    if as_json:
        print_json(
            {
                "parts": parts,
                "period": str(parsed_period),
                "steps": steps,
                "commas": [
                    {
                        "numerator": each.numerator,
                        "denominator": each.denominator,
                        "cents": each.interval.cents,
                        "name": each.name,
                    }
                    for each in found
                ],
            }
        )
        return
    taken = ", ".join(f"{prime} → {step}" for prime, step in steps.items())
    print_found(
        f"{parts} equal parts of {parsed_period}: {taken}",
        ["comma", "cents", "name"],
        [
            [f"{each.numerator}/{each.denominator}", f"{each.interval.cents:.6f}", each.name]
            for each in found
        ],
        f"none up to {below.cents:g} cents with numerator times denominator up to {most}",
    )


def _read_primes(text: str) -> list[int]:
    """Return the numbers of a list such as 3,5,7."""
    numbers = [number.strip() for number in text.split(",")]
    if not all(re.fullmatch("[0-9]{1,3}", number) for number in numbers):
        raise InvalidValue("--primes", text, "primes with commas between, such as 3,5,7")
    return [int(number) for number in numbers]
