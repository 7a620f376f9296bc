"""`meantide contrast`: two tunings side by side, note by note and chord by chord."""

import json
from collections.abc import Sequence
from dataclasses import asdict

import click

from meantide.catalogue import Catalogue
from meantide.command.sheet import read_range, title_of
from meantide.command.tables import Printed, print_markdown, print_table, signed
from meantide.errors import InvalidValue
from meantide.offline.chord_difference import (
    ChordDifference,
    chord_differences,
    read_chord,
    triads,
)
from meantide.offline.tuning_difference import NoteDifference, TuningDifference, difference
from meantide.pitch import Tuning

ROUNDING_CENTS = 1e-9  # what is less comes of reckoning Hz in floats
_NEAREST = "≈: no such name or degree in the other; its nearest pitch"


@click.command("contrast")
@click.option("--scale", default="12-equal", show_default=True, help="A scale's name or path.")
@click.option(
    "--anchor", default="A4=440", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option("--against-scale", help="The other tuning's scale, if it is another.")
@click.option("--against-anchor", help="The other tuning's anchor, if it is another.")
@click.option("--degrees", metavar="LOW..HIGH", help="Of the first scale; by default one period.")
@click.option(
    "--chord",
    "chords",
    multiple=True,
    metavar="C4,E4,G4",
    help="A chord, with =4:5:6 for what is just; by default the triads on each name. Repeatable.",
)
@click.option("--as", "form", type=click.Choice(["table", "markdown", "json"]), default="table")
@click.option("--json", "as_json", is_flag=True, help="The same as --as json.")
def contrast(
    *,
    scale: str,
    anchor: str,
    against_scale: str | None,
    against_anchor: str | None,
    degrees: str | None,
    chords: tuple[str, ...],
    form: str,
    as_json: bool,
) -> None:
    """Set one tuning against another: what moves, which intervals change, how chords fare.

    Notes are paired by name where both tunings have names, else by degree if both scales are of
    one size, else by pitch. Another anchor alone moves every note alike and changes no interval.

    \b
    meantide contrast --scale 31-equal --against-scale 12-equal
    meantide contrast --anchor A4=440 --against-anchor A4=435
    meantide contrast --scale 19-equal --against-scale 31-equal --chord C4,E4,G4,A#4=4:5:6:7
    """
    if against_scale is None and against_anchor is None:
        raise InvalidValue("--against-scale", "nothing", "another scale, or --against-anchor")
    catalogue = Catalogue()
    first = Tuning(catalogue.scale(scale), catalogue.anchor(anchor))
    other = Tuning(
        catalogue.scale(against_scale or scale), catalogue.anchor(against_anchor or anchor)
    )
    period = range(first.scale.size + 1)
    asked = read_range("--degrees", degrees) if degrees else period
    roots = asked if degrees else period[:-1]
    wanted = [read_chord(text) for text in chords] or triads(first, other, roots)
    moved = difference(first, other, asked)
    heard = list(chord_differences(first, other, wanted))
    if as_json or form == "json":
        _print_json(first, other, moved, heard)
        return
    printing = print_markdown if form == "markdown" else print_table
    printing(_notes_table(first, other, moved))
    if heard:
        printing(_chords_table(heard))


def summary(moved: TuningDifference) -> str:
    """Return what the difference comes to, in a sentence."""
    if moved.common_cents is not None:
        if abs(moved.common_cents) < ROUNDING_CENTS:
            return "The two tunings are the same."
        cents = signed(moved.common_cents, 3)
        return f"Every note moves by {cents} cents; no interval changes, only the anchor."
    least = min(moved.notes, key=lambda note: note.interval_cents)
    most = max(moved.notes, key=lambda note: note.interval_cents)
    return (
        "Intervals change: above the anchored note by "
        f"{signed(least.interval_cents, 3)} ({_word(least)}) to "
        f"{signed(most.interval_cents, 3)} cents ({_word(most)})."
    )


def _notes_table(first: Tuning, other: Tuning, moved: TuningDifference) -> Printed:
    """Return the table of notes."""
    notes = [summary(moved)]
    if any(note.paired_by == "nearest" for note in moved.notes):
        notes.append(_NEAREST)
    return Printed(
        f"1: {title_of(first)}; 2: {title_of(other)}",
        tuple(notes),
        ("name", "degree 1", "degree 2", "Hz 1", "Hz 2", "Hz moved", "cents moved", "interval"),
        [
            (
                note.name or "-",
                str(note.degree),
                ("≈ " if note.paired_by == "nearest" else "") + str(note.other_degree),
                f"{note.hz:.3f}",
                f"{note.other_hz:.3f}",
                signed(note.difference_hz, 3),
                signed(note.cents, 3),
                signed(note.interval_cents, 3),
            )
            for note in moved.notes
        ],
    )


def _chords_table(heard: Sequence[ChordDifference]) -> Printed:
    """Return the table of chords, a row for each tuning."""
    rows = []
    for chord in heard:
        for number, reading in ((1, chord.first), (2, chord.other)):
            rows.append(
                (
                    " ".join(chord.notes) if number == 1 else "",
                    ":".join(map(str, chord.just)) if number == 1 else "",
                    str(number),
                    " ".join(f"{cents:.1f}" for cents in reading.cents),
                    " ".join(signed(cents, 1) for cents in reading.from_just_cents),
                    " ".join(f"{hz:.2f}" for hz in reading.beats_hz),
                    "" if number == 1 else " ".join(signed(c, 1) for c in chord.change_cents),
                )
            )
    same = not any(cents for chord in heard for cents in chord.change_cents)  # they are exact
    return Printed(
        "chords",
        (
            "cents above the first note; off: how much wider than just; beats a second of each "
            "two notes, in the order 1-2, 1-3, 2-3",
            "No interval of these chords changes." if same else "change: in cents, from 1 to 2",
        ),
        ("chord", "just", "in", "cents", "off", "beats", "change"),
        rows,
        left=frozenset({"chord"}),
    )


def _print_json(
    first: Tuning, other: Tuning, moved: TuningDifference, heard: Sequence[ChordDifference]
) -> None:
    """Print everything, every number exact."""
    answer = {
        "first": {"scale": first.scale.to_mapping(), "anchor": first.anchor.to_mapping()},
        "other": {"scale": other.scale.to_mapping(), "anchor": other.anchor.to_mapping()},
        "summary": summary(moved),
        "common_cents": moved.common_cents,
        "notes": [asdict(note) for note in moved.notes],
        "chords": [asdict(chord) for chord in heard],
    }
    click.echo(json.dumps(answer, indent=2, allow_nan=False))


def _word(note: NoteDifference) -> str:
    """Return what a note is called."""
    return note.name or f"degree {note.degree}"
