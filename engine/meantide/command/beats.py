"""`meantide beats`: how fast two or more notes beat against each other."""

import json
from dataclasses import asdict, dataclass
from itertools import combinations

import click

from meantide.catalogue import Catalogue
from meantide.command.additive_voice import additive_voice
from meantide.command.tables import Printed, print_table
from meantide.errors import InvalidValue
from meantide.pitch import Tuning
from meantide.voice.beats import WIDEST_HZ, Beat
from meantide.voice.beats import beats as find_beats

MOST_NOTES = 12
STANDS_STILL_HZ = 1e-6  # eleven days and more a beat


@dataclass(frozen=True, slots=True)
class Row:
    """A beat as it is told: of which two notes, which partials, where, how fast, how strong.

    `interval` says whether the notes are wide or narrow of the pure interval at which these
    partials would coincide, or pure.
    """

    lower: str
    upper: str
    lower_partial: float
    upper_partial: float
    at_hz: float
    beats_hz: float
    interval: str
    level_db: float


@click.command("beats")
@click.argument("notes", nargs=-1, required=True, metavar="NOTE NOTE...")
@click.option("--scale", default="12-equal", show_default=True, help="Scale: a name or a path.")
@click.option(
    "--anchor", default="A4=440", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option("--layout", default="linear", show_default=True, help="Layout: a name or a path.")
@click.option("--voice", default="plain-reed", show_default=True, help="Voice: a name or a path.")
@click.option(
    "--within",
    type=float,
    default=WIDEST_HZ,
    show_default=True,
    help="Leave out what is faster, in Hz; above about 20 it is heard as roughness.",
)
@click.option(
    "--rows",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    help="The most to list of each two notes.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs, with every beat.")
def beats(
    *,
    notes: tuple[str, ...],
    scale: str,
    anchor: str,
    layout: str,
    voice: str,
    within: float,
    rows: int,
    as_json: bool,
) -> None:
    """Say how fast the notes of a dyad or chord beat: for each two, the strongest first.

    A NOTE is a name (C4, Eb3), a key (60), or a frequency (438.5hz).

    \b
    meantide beats F3 C4
    meantide beats C4 E4 G4 --scale 31-equal --anchor A4=435
    """
    if not 2 <= len(notes) <= MOST_NOTES:
        raise InvalidValue("notes", f"{len(notes)} of them", f"2 to {MOST_NOTES} notes")
    catalogue = Catalogue()
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    sound = additive_voice(catalogue, voice)
    pitches = sorted(((hz_of(tuning, note), note) for note in notes), key=lambda pitch: pitch[0])
    found = []
    for (lower_hz, lower), (upper_hz, upper) in combinations(pitches, 2):
        pair = [_row(lower, upper, beat) for beat in find_beats(sound, lower_hz, upper_hz, within)]
        found.append((f"{lower} {upper}", pair))
    if as_json:
        answer = {
            "scale": tuning.scale.label,
            "anchor": tuning.anchor.label,
            "voice": sound.name,
            "notes": [{"note": note, "hz": hz} for hz, note in pitches],
            "beats": [asdict(row) for _, pair in found for row in pair],
        }
        click.echo(json.dumps(answer, indent=2, allow_nan=False))
        return
    title = f"{sound.name} in {tuning.scale.label}, {tuning.anchor.label} Hz"
    _print_table(title, [(name, pair[:rows]) for name, pair in found])


def hz_of(tuning: Tuning, note: str) -> float:
    """Return the Hz of a note name, of a key written as a whole number, or of `438.5hz`."""
    if note.isascii() and note.removeprefix("-").isdigit() and len(note) <= 8:
        return tuning.hz_of_key(int(note))
    if note.lower().endswith("hz"):
        try:
            return float(note[:-2])
        except ValueError:
            raise InvalidValue("note", note, "a frequency such as 438.5hz") from None
    return tuning.hz_of_name(note)


def _row(lower: str, upper: str, beat: Beat) -> Row:
    """Return a beat as it is told."""
    if beat.rate_hz < STANDS_STILL_HZ:
        interval = "pure"
    else:
        interval = "wide" if beat.difference_hz > 0.0 else "narrow"
    at_hz = (beat.first_hz + beat.second_hz) / 2.0
    return Row(lower, upper, beat.first, beat.second, at_hz, beat.rate_hz, interval, beat.level_db)


def _print_table(title: str, found: list[tuple[str, list[Row]]]) -> None:
    """Print the rows for people, rounded."""
    lines = []
    for name, rows in found:
        if not rows:
            lines.append((name, "-", "-", "none", "-", "-"))
        for place, row in enumerate(rows):
            partials = f"{row.lower_partial:g} : {row.upper_partial:g}"
            rate, level = f"{row.beats_hz:.3f}", f"{row.level_db:.1f}"
            lines.append(
                (
                    name if place == 0 else "",
                    partials,
                    f"{row.at_hz:.1f}",
                    rate,
                    row.interval,
                    level,
                )
            )
    notes = ("dB: the weaker partial's level in a note at full velocity",)
    headings = ("notes", "partials", "near Hz", "beats a second", "interval", "dB")
    print_table(Printed(title, notes, headings, lines, frozenset({"notes"})))
