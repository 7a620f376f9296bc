"""The tables of `meantide presets`."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from meantide.command.presets_facts import Facts, Preset
from meantide.command.tables import WHOLE_WIDTH

_HEADINGS = {
    "scales": ("degrees",),
    "anchors": ("note", "Hz", "cents", "year", "place", "°C"),
    "layouts": ("kind",),
    "voices": ("family", "Hz", "kind", "made of"),
}
_WORDS = (
    "note",
    "place",
    "family",
    "kind",
    "made of",
)  # columns of text; the others are of numbers


def print_presets(kind: str, presets: Sequence[Preset]) -> None:
    """Print the presets of one kind, with what each is and where it comes from."""
    caption = "cents: from A4 = 440, by twelve equal notes" if kind == "anchors" else ""
    table = _table(kind, caption)
    for heading in _HEADINGS[kind]:
        table.add_column(heading, justify="left" if heading in _WORDS else "right", no_wrap=True)
    table.add_column("about [source]")
    for preset in presets:
        cells = _cells(kind, preset.facts) if preset.facts else [""] * len(_HEADINGS[kind])
        table.add_row(preset.name, *cells, preset.error or _told(preset))
    _print(table)


def print_ranking(scales: Sequence[Preset], targets: Sequence[str]) -> None:
    """Print scales that were measured against targets: the best degree for each, and its error."""
    table = _table("scales", "error: weighted RMS; below each interval its degree and error, cents")
    for heading in ("degrees", "error", *targets):
        table.add_column(heading, justify="right", no_wrap=True)
    for preset in scales:
        nearest = (f"{n['degree']} {n['error_cents']:+.3f}" for n in preset.facts["nearest"])
        error = f"{preset.facts['error_cents']:.3f}"
        table.add_row(preset.name, _degrees(preset.facts), error, *nearest)
    _print(table)


def _cells(kind: str, facts: Facts) -> list[str]:
    """Return the columns that presets of this kind have."""
    if kind == "scales":
        return [_degrees(facts)]
    if kind == "anchors":
        place = facts["degree"] if facts["note"] is None else facts["note"]
        cents = facts["cents_from_a440"]
        return [
            str(place),
            f"{facts['hz']:.8g}",
            "" if cents is None else f"{cents:+.2f}",
            _shown(facts["year"]),
            _shown(facts["place"]),
            "" if facts["celsius"] is None else f"{facts['celsius']:g}",
        ]
    if kind == "layouts":
        return [facts["layout_kind"]]
    made_of = "partials" if "partials" in facts else "operators"
    reach = f"{facts['lowest_hz']:.0f} to {facts['highest_hz']:.0f}"
    return [_shown(facts["family"]), reach, facts["voice_kind"], f"{facts[made_of]} {made_of}"]


def _told(preset: Preset) -> str:
    """Return what is said of a preset; of equal divisions also what they come near to."""
    text = preset.about
    if preset.facts.get("equal"):
        near = ", ".join(
            f"{n['target']} at {n['degree']} ({n['error_cents']:+.2f})"
            for n in preset.facts["nearest"]
        )
        text = f"{text} Nearest, in cents: {near}.".lstrip()
    return f"{text} [{preset.source}]" if preset.source else text


def _degrees(facts: Facts) -> str:
    """Return how many degrees a scale has, and to which period if it is not the octave."""
    return str(facts["size"]) + ("" if facts["period"] == "2/1" else f" to {facts['period']}")


def _shown(value: object) -> str:
    return "" if value is None else str(value)


def _table(title: str, caption: str) -> Table:
    """Return an empty table of presets, which begins with their names."""
    table = Table("name", title=title, title_justify="left", caption=caption or None)
    table.columns[0].no_wrap = True
    return table


def _print(table: Table) -> None:
    """Print a table, or that there is nothing; a pipe has no width, and rows stay whole."""
    console = Console(markup=False, highlight=False, emoji=False)
    if not console.is_terminal:
        console.width = WHOLE_WIDTH
    console.print(table if table.row_count else f"{table.title}: none")
