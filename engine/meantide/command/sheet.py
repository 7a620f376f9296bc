"""`meantide sheet`: a tuning for players, for keys, or for programs, and as a picture."""

import json
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import click

from meantide.catalogue import Catalogue
from meantide.command.tables import Printed, print_csv, print_markdown, print_table, signed
from meantide.errors import InvalidValue
from meantide.offline.tuning_sheet import (
    LARGEST_PARTIAL,
    PRIME_LIMIT,
    TUNER_HZ,
    WITHIN_CENTS,
    KeyRow,
    PlayerRow,
    Row,
    key_rows,
    note_text,
    player_rows,
    rows_of_degrees,
    rows_of_keys,
)
from meantide.pitch import Tuning
from meantide.pitch.nearness.numbers import LARGEST_LIMIT

MAX_ROWS = 200_000
MIDDLE_KEY = 60
KEYBOARD = range(36, 97)  # five octaves, as most keyboards have them

_RANGE = re.compile(r"(-?[0-9]{1,9})(?:\.\.(-?[0-9]{1,9}))?")


@click.command("sheet")
@click.option("--scale", default="12-equal", show_default=True, help="A scale's name or path.")
@click.option(
    "--anchor", default="A4=440", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option("--layout", default="linear", show_default=True, help="A layout's name or path.")
@click.option("--keys", metavar="LOW..HIGH", help="Keys to list; by default one period.")
@click.option("--degrees", metavar="LOW..HIGH", help="Degrees to list, in place of keys.")
@click.option(
    "--for",
    "whom",
    type=click.Choice(["everyone", "players", "keyboard"]),
    default="everyone",
    show_default=True,
    help="Which columns: see above.",
)
@click.option(
    "--tuner-hz", default=TUNER_HZ, show_default=True, help="A4 of the players' tuners, in Hz."
)
@click.option(
    "--within", default=WITHIN_CENTS, show_default=True, help="Cents a nearest ratio may be off."
)
@click.option(
    "--limit",
    type=click.IntRange(2, LARGEST_LIMIT),
    default=PRIME_LIMIT,
    show_default=True,
    help="The largest prime in a nearest ratio.",
)
@click.option(
    "--as",
    "form",
    type=click.Choice(["table", "markdown", "csv", "json"]),
    help="How to print; by default as a table.",
)
@click.option("--json", "as_json", is_flag=True, help="The same as --as json.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Draw one page, FILE.pdf, .svg or .png, in place of a table.",
)
def sheet(
    *,
    scale: str,
    anchor: str,
    layout: str,
    keys: str | None,
    degrees: str | None,
    whom: str,
    tuner_hz: float,
    within: float,
    limit: int,
    form: str | None,
    as_json: bool,
    picture: Path | None,
) -> None:
    """List the pitches of a tuning: key, degree, name, Hz and cents.

    For players: the note and cents that a tuner shows, Hz, and the ratio and the beats each note
    makes with the anchored one. For a keyboard: what each key plays. A picture is a page for the
    music stand; for players it shows what their tuners show.

    \b
    meantide sheet --scale 31-equal --anchor A4=435
    meantide sheet --scale 31-equal --for players --as markdown
    meantide sheet --scale 31-equal --for players --picture stand.pdf
    """
    if as_json and form not in {None, "json"}:
        raise InvalidValue("--json", form, "one of --json and --as")
    form = "json" if as_json else form or "table"
    if picture and (as_json or form != "table"):
        raise InvalidValue("--picture", str(picture), "either a picture or a table")
    if keys and degrees:
        raise InvalidValue("--degrees", degrees, "either --keys or --degrees")
    if whom == "keyboard" and (degrees or picture):
        raise InvalidValue("--for", whom, "--keys, and no picture, for a keyboard")
    catalogue = Catalogue()
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    asked = Asked(
        tuning,
        read_range("--keys", keys) if keys else None,
        read_range("--degrees", degrees) if degrees else None,
    )
    if picture:
        _draw(picture, asked, tuner_hz if whom == "players" else None)
    elif whom == "keyboard":
        found = key_rows(tuning, asked.keys or KEYBOARD)
        _print(form, tuning, KeyRow, found, _for_keyboard(tuning, found))
    elif whom == "players":
        players = player_rows(tuning, asked.pitches(), tuner_hz, within, limit)
        page = _for_players(tuning, players, tuner_hz)
        _print(form, tuning, PlayerRow, players, page)
    else:
        rows = asked.rows()
        _print(form, tuning, Row, rows, _for_everyone(tuning, rows))


@dataclass(frozen=True, slots=True)
class Asked:
    """Which pitches of a tuning are asked for: of keys, of degrees, or else of one period."""

    tuning: Tuning
    keys: range | None
    degrees: range | None

    def pitches(self) -> Sequence[int]:
        """Return their degrees; one period goes from what middle C's key plays to its upper end."""
        if self.keys is None:
            first = self.tuning.degree_of_key(MIDDLE_KEY) or 0
            return self.degrees or range(first, first + self.tuning.scale.size + 1)
        played = (self.tuning.degree_of_key(key) for key in self.keys)
        found = sorted({degree for degree in played if degree is not None})
        if not found:
            raise InvalidValue("--keys", f"{self.keys[0]}..{self.keys[-1]}", "keys that play")
        return found

    def rows(self) -> list[Row]:
        """Return their rows for everyone."""
        if self.keys is None:
            return rows_of_degrees(self.tuning, self.pitches())
        return rows_of_keys(self.tuning, self.keys)


def read_range(field: str, text: str) -> range:
    """Return the whole numbers that `LOW..HIGH`, both included, or one number stands for."""
    match = _RANGE.fullmatch(text)
    low = int(match[1]) if match else 0
    high = int(match[2] or match[1]) if match else -1
    if not 0 <= high - low < MAX_ROWS:
        raise InvalidValue(field, text, f"LOW..HIGH, such as 60..72, at most {MAX_ROWS} of them")
    return range(low, high + 1)


def _for_everyone(tuning: Tuning, rows: Sequence[Row]) -> Printed:
    """Return the table of keys, degrees, Hz and cents."""
    anchor = tuning.anchor.label
    first = note_text(tuning, 0) or "degree 0"
    return Printed(
        title_of(tuning),
        (f"12-equal: cents from the nearest of twelve equal notes with {anchor}",),
        ("key", "degree", "name", "Hz", f"cents above {first}", "12-equal"),
        [
            (
                "-" if row.key is None else str(row.key),
                str(row.degree),
                row.name or "-",
                f"{row.hz:.4f}",
                f"{row.cents_above_degree_0:.3f}",
                signed(row.cents_from_twelve_equal, 3),
            )
            for row in rows
        ],
    )


def _for_players(tuning: Tuning, rows: Sequence[PlayerRow], tuner_hz: float) -> Printed:
    """Return the table of what tuners show, ratios and beats."""
    degree = tuning.anchor_degree
    note = note_text(tuning, degree) or f"degree {degree}"
    return Printed(
        title_of(tuning),
        (
            f"tuner: the note and cents that a tuner with A4 at {tuner_hz:g} Hz shows",
            f"ratio: the simplest near the frequency over that of {note}, and how far above it",
            f"beats: a second, of the note's and {note}'s nearest partials, up to the "
            f"{LARGEST_PARTIAL}th; over some twenty they are heard as roughness",
        ),
        ("name", "tuner", "Hz", "ratio", "off", "beats", "partials"),
        [
            (
                row.name or str(row.degree),
                f"{row.tuner_note} {signed(row.tuner_cents, 1)}",
                f"{row.hz:.2f}",
                row.ratio or "-",
                "" if row.ratio_cents is None else signed(row.ratio_cents, 1),
                "-" if row.beats_hz is None else f"{row.beats_hz:.2f}",
                "" if row.partial is None else f"{row.partial} on {row.anchor_partial}",
            )
            for row in rows
        ],
    )


def _for_keyboard(tuning: Tuning, rows: Sequence[KeyRow]) -> Printed:
    """Return the table of what each key plays."""
    layout = tuning.layout.name or str(tuning.layout.to_mapping()["kind"])
    return Printed(
        f"{title_of(tuning)}, layout {layout}",
        ("written: what commonly stands on the key; -: the key is silent",),
        ("key", "written", "degree", "name", "Hz"),
        [
            (
                str(row.key),
                row.key_name,
                "-" if row.degree is None else str(row.degree),
                row.name or "-",
                "-" if row.hz is None else f"{row.hz:.2f}",
            )
            for row in rows
        ],
        left=frozenset({"written", "name"}),
    )


def title_of(tuning: Tuning) -> str:
    """Return a tuning in a few words."""
    return f"{tuning.scale.label}, {tuning.anchor.label} Hz"


def _print(
    form: str, tuning: Tuning, kind: type[Any], rows: Sequence[Any], printed: Printed
) -> None:
    """Print rows for people, rounded, or for programs, every number exact."""
    if form == "json":
        answer = {
            "scale": tuning.scale.to_mapping(),
            "anchor": tuning.anchor.to_mapping(),
            "layout": tuning.layout.to_mapping(),
            "rows": [asdict(row) for row in rows],
        }
        click.echo(json.dumps(answer, indent=2, allow_nan=False))
    elif form == "csv":
        print_csv(kind, rows)
    elif form == "markdown":
        print_markdown(printed)
    else:
        print_table(printed)


def _draw(path: Path, asked: Asked, tuner_hz: float | None) -> None:
    """Draw the picture, and say what is on it."""
    from meantide.offline.sheet_picture import draw_sheet  # noqa: PLC0415  tables need none of it

    page = draw_sheet(path, asked.tuning, asked.pitches(), tuner_hz)
    click.echo(f"{path}: {len(page.labelled)} of {len(page.notes)} notes named")
