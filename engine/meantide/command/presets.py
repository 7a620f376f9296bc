"""`meantide presets`: the scales, anchors, layouts and voices there are."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from meantide.catalogue import KINDS, Catalogue
from meantide.errors import MeantideError


@dataclass(frozen=True, slots=True)
class Preset:
    """One entry of the catalogue; `error` tells what is wrong with a file that cannot be read."""

    kind: str
    name: str
    about: str
    source: str
    file: str
    error: str


@click.command("presets")
@click.argument("kind", type=click.Choice(KINDS), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def presets(kind: str | None, as_json: bool) -> None:
    """List the presets, the user's own and those that come with Meantide."""
    catalogue = Catalogue()
    kinds = KINDS if kind is None else (kind,)
    found = [preset for each in kinds for preset in list_presets(catalogue, each)]
    if as_json:
        click.echo(json.dumps([asdict(preset) for preset in found], indent=2))
        return
    console = Console(markup=False, highlight=False, emoji=False)
    for each in kinds:
        table = Table("name", "about", "source", title=each, title_justify="left")
        for preset in found:
            if preset.kind == each:
                table.add_row(preset.name, preset.error or preset.about, preset.source)
        console.print(table)


def list_presets(catalogue: Catalogue, kind: str) -> list[Preset]:
    """Return the presets of one kind; one that cannot be read is listed with its error."""
    readers: dict[str, Callable[[Path], object]] = {
        "scales": catalogue.scale,
        "anchors": catalogue.anchor,
        "layouts": catalogue.layout,
        "voices": catalogue.voice,
    }
    found = []
    for name in catalogue.names(kind):
        file = catalogue.find(kind, name)
        about = source = error = ""
        try:
            labels = dict(catalogue.definition(kind, file).value.entries())
            about = labels["about"].text() if "about" in labels else ""
            source = labels["source"].text() if "source" in labels else ""
            readers[kind](file)
        except MeantideError as problem:
            error = str(problem)
        found.append(Preset(kind, name, about, source, str(file), error))
    return found
