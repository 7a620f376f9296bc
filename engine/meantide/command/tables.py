"""Tables as commands print them: for a terminal, as Markdown, or as CSV (RFC 4180)."""

import csv
import sys
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from typing import Any

import click

WHOLE_WIDTH = 2000  # characters; a pipe has no width, and rows stay whole for grep


@dataclass(frozen=True, slots=True)
class Printed:
    """A table for people, rounded; `left` are the headings of columns of words."""

    title: str
    notes: tuple[str, ...]
    headings: tuple[str, ...]
    rows: Sequence[Sequence[str]]
    left: frozenset[str] = frozenset({"name"})


def print_table(printed: Printed) -> None:
    """Print a table as wide as it is; on a terminal too narrow its cells are broken at spaces."""
    from rich.console import Console  # noqa: PLC0415  not needed for the other forms
    from rich.table import Table  # noqa: PLC0415

    console = Console(markup=False, highlight=False, emoji=False)
    columns = list(zip(printed.headings, *printed.rows, strict=True))
    needed = 1 + sum(max(map(len, column)) + 3 for column in columns)
    broken = console.is_terminal and needed > console.width
    console.width = WHOLE_WIDTH
    click.echo(printed.title)
    table = Table()
    for heading in printed.headings:
        table.add_column(heading, justify="left" if heading in printed.left else "right")
    for row in printed.rows:
        table.add_row(*("\n".join(cell.split()) if broken else cell for cell in row))
    console.print(table)
    for note in printed.notes:
        console.print(note)


def print_markdown(printed: Printed) -> None:
    """Print a table as Markdown, with its title as a heading and its notes below."""
    rules = ("---" if heading in printed.left else "---:" for heading in printed.headings)
    lines = [printed.headings, tuple(rules), *printed.rows]
    click.echo(f"## {printed.title}\n")
    for cells in lines:
        click.echo("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    for note in printed.notes:
        click.echo(f"\n{note}")


def print_csv(kind: type[Any], rows: Sequence[Any]) -> None:
    """Print dataclasses of one kind as CSV, every number exact, what is missing left empty."""
    writer = csv.writer(sys.stdout)
    writer.writerow([field.name for field in fields(kind)])
    writer.writerows(astuple(row) for row in rows)


def signed(value: float, digits: int) -> str:
    """Return a number with its sign, never as minus nought."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"
