"""`meantide sheet`: a table of a tuning for people, or as CSV or JSON for programs."""

import csv
import json
import math
import re
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

import click
from rich.console import Console
from rich.table import Table

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.pitch import Tuning

MAX_ROWS = 200_000
MIDI_KEYS = range(128)
MIDDLE_KEY = 60

_RANGE = re.compile(r"(-?[0-9]{1,9})(?:\.\.(-?[0-9]{1,9}))?")


@dataclass(frozen=True, slots=True)
class Row:
    """One pitch of a sheet.

    `cents_above_degree_0` is its height in the scale. `cents_from_twelve_equal` is how far it lies
    from the nearest of twelve equal notes to the octave that share its anchor, above -50 to 50.
    """

    key: int | None
    degree: int
    name: str | None
    hz: float
    cents_above_degree_0: float
    cents_from_twelve_equal: float


@click.command("sheet")
@click.option("--scale", default="12-equal", show_default=True, help="A scale's name or path.")
@click.option(
    "--anchor", default="A4=440", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option("--layout", default="linear", show_default=True, help="A layout's name or path.")
@click.option("--keys", metavar="LOW..HIGH", help="Keys to list; by default one period from 60.")
@click.option("--degrees", metavar="LOW..HIGH", help="Degrees to list, in place of keys.")
@click.option(
    "--as", "form", type=click.Choice(["table", "csv", "json"]), default="table", show_default=True
)
def sheet(
    *, scale: str, anchor: str, layout: str, keys: str | None, degrees: str | None, form: str
) -> None:
    """List the pitches of a tuning: key, degree, name, Hz and cents."""
    if keys and degrees:
        raise InvalidValue("--degrees", degrees, "either --keys or --degrees")
    catalogue = Catalogue()
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    if degrees:
        rows = rows_of_degrees(tuning, read_range("--degrees", degrees))
    elif keys:
        rows = rows_of_keys(tuning, read_range("--keys", keys))
    else:
        rows = rows_of_keys(tuning, range(MIDDLE_KEY, MIDDLE_KEY + tuning.scale.size + 1))
    {"table": _print_table, "csv": _print_csv, "json": _print_json}[form](tuning, rows)


def read_range(field: str, text: str) -> range:
    """Return the whole numbers that `LOW..HIGH`, both included, or one number stands for."""
    match = _RANGE.fullmatch(text)
    low = int(match[1]) if match else 0
    high = int(match[2] or match[1]) if match else -1
    if not 0 <= high - low < MAX_ROWS:
        raise InvalidValue(field, text, f"LOW..HIGH, such as 60..72, at most {MAX_ROWS} of them")
    return range(low, high + 1)


def rows_of_keys(tuning: Tuning, keys: Sequence[int]) -> list[Row]:
    """Return a row for each key."""
    return [_row(tuning, key, tuning.layout.degree(key)) for key in keys]


def rows_of_degrees(tuning: Tuning, degrees: Sequence[int]) -> list[Row]:
    """Return a row for each degree, with the lowest MIDI key that plays it, if there is one."""
    key_of = {tuning.layout.degree(key): key for key in reversed(MIDI_KEYS)}
    return [_row(tuning, key_of.get(degree), degree) for degree in degrees]


def _row(tuning: Tuning, key: int | None, degree: int) -> Row:
    """Return the row of one degree."""
    hz = tuning.hz_of_degree(degree)
    name = tuning.name_of_degree(degree)
    from_anchor = tuning.interval_of_degree(degree).cents
    # Rounding the half down makes every exact quarter tone +50, none -50.
    deviation = from_anchor - 100 * math.ceil(from_anchor / 100 - 0.5)
    cents = tuning.scale.interval(degree).cents
    return Row(key, degree, None if name is None else str(name), hz, cents, deviation)


def _print_table(tuning: Tuning, rows: Sequence[Row]) -> None:
    """Print the rows for people, rounded."""
    first = tuning.name_of_degree(0) or "degree 0"
    anchor = tuning.anchor.label
    table = Table(
        title=f"{tuning.scale.label}, {anchor} Hz",
        caption=f"12-equal: cents from the nearest of twelve equal notes with {anchor}",
    )
    for heading in ("key", "degree", "name", "Hz", f"cents above {first}", "12-equal"):
        table.add_column(heading, justify="left" if heading == "name" else "right")
    for row in rows:
        table.add_row(
            "-" if row.key is None else str(row.key),
            str(row.degree),
            row.name or "-",
            f"{row.hz:.4f}",
            f"{row.cents_above_degree_0:.3f}",
            f"{row.cents_from_twelve_equal:+.3f}",
        )
    Console(markup=False, highlight=False, emoji=False).print(table)


def _print_csv(_: Tuning, rows: Sequence[Row]) -> None:
    """Print the rows as CSV (RFC 4180), every number exact, a missing key or name left empty."""
    writer = csv.writer(sys.stdout)
    headings = [field.name for field in fields(Row)]
    writer.writerow(headings)
    writer.writerows([getattr(row, heading) for heading in headings] for row in rows)


def _print_json(tuning: Tuning, rows: Sequence[Row]) -> None:
    """Print the tuning and its rows as JSON, every number exact."""
    answer = {
        "scale": tuning.scale.to_mapping(),
        "anchor": tuning.anchor.to_mapping(),
        "layout": tuning.layout.to_mapping(),
        "rows": [asdict(row) for row in rows],
    }
    click.echo(json.dumps(answer, indent=2, allow_nan=False))
