"""What the commands of `meantide near` share: options, reading of arguments, tables."""

import json
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import click

from meantide.command.tables import Printed, print_table
from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.pitch.nearness.numbers import LARGEST_LIMIT

MAX_COUNT = 100_000

Command = TypeVar("Command", bound=Callable[..., Any])

_CENTS = re.compile(r"[0-9]{1,6}(\.[0-9]{1,15})?")

tolerance_option = click.option(
    "--tolerance", default="5", show_default=True, help="In cents, or an interval."
)
limit_option = click.option(
    "--limit", type=click.IntRange(2, LARGEST_LIMIT), help="No prime over this one."
)
by_option = click.option(
    "--by",
    type=click.Choice(["size", "limit"]),
    default="size",
    show_default=True,
    help="Sort by size, or by prime limit and then size.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")


def count_option(default: int) -> Callable[[Command], Command]:
    """Make the option that bounds the rows of a table."""
    return click.option(
        "--count",
        type=click.IntRange(1, MAX_COUNT),
        default=default,
        show_default=True,
        help="The most rows.",
    )


def read_cents(field: str, text: str) -> Interval:
    """Return the interval that a bare number of cents, or an interval, stands for."""
    try:
        return Interval.parse(f"{text} cents" if _CENTS.fullmatch(text) else text)
    except InvalidValue:
        raise InvalidValue(field, text, "cents such as 5 or 0.25, or an interval") from None


def read_intervals(texts: Iterable[str]) -> list[Interval]:
    """Return the intervals of all arguments, each of which may list several between commas."""
    return [Interval.parse(part) for text in texts for part in text.split(",")]


def print_found(
    title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], otherwise: str
) -> None:
    """Print rows for people; `otherwise` says what to make of there being none."""
    if not rows:
        click.echo(f"{title}: {otherwise}")
        return
    print_table(Printed(title, (), tuple(headings), rows))


def print_json(answer: dict[str, Any]) -> None:
    """Print an answer for programs, every number exact."""
    click.echo(json.dumps(answer, indent=2, allow_nan=False))
