"""`meantide carry`: tunings to other instruments and back, as MIDI tuning messages."""

import json
import re
from collections.abc import Sequence
from pathlib import Path

import click

from meantide.catalogue import Catalogue
from meantide.command import carry_tables
from meantide.command.definition_file import write_definition
from meantide.command.syx_file import read_syx, write_syx
from meantide.errors import InvalidValue
from meantide.pitch import Tuning
from meantide.pitch.midi_tuning import (
    FORMS,
    Address,
    Recovered,
    read_messages,
    recover,
    select,
    select_next,
    select_previous,
)
from meantide.pitch.midi_tuning import carry as carry_tuning

STEPS = {"next": select_next, "previous": select_previous}

_SPAN = re.compile(r"([0-9]{1,3})(?:(?:-|\.\.)([0-9]{1,3}))?")
_FORMS_HELP = "\b\n" + "\n".join(
    ["The forms, and their bytes:", *(f"  {form.name:<18}{form.about}" for form in FORMS)]
    + [f"  {form.name:<18}{form.layout}" for form in FORMS]
)


@click.group()
def carry() -> None:
    """Carry a tuning to another instrument and back, by the MIDI Tuning Standard.

    \b
    meantide carry write --scale 31-equal --anchor A4=435 --as bulk --out organ.syx
    meantide carry read organ.syx --write-scale organ.yaml --write-anchor organ-a.yaml
    meantide carry select --program 5
    """


@carry.command(epilog=_FORMS_HELP, short_help="a tuning to a .syx file, and what it costs")
@click.option("--scale", default="12-equal", show_default=True, help="A scale's name or path.")
@click.option(
    "--anchor", default="A4=440", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option("--layout", default="linear", show_default=True, help="A layout's name or path.")
@click.option(
    "--as",
    "form",
    type=click.Choice([form.name for form in FORMS]),
    default="bulk",
    show_default=True,
    help="The form of message; see below.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="The .syx file to write."
)
@click.option("--program", type=int, help="Tuning program, 0 to 127.  [default: 0]")
@click.option("--bank", type=int, help="Tuning bank, 0 to 127.  [default: 0]")
@click.option("--device", type=int, default=127, show_default=True, help="0 to 127; 127 is all.")
@click.option("--channels", help="Channels, such as 1-8,10.  [default: 1-16]")
@click.option("--name", help="Up to 16 characters.  [default: the scale's name]")
@click.option("--keys", help="Keys to change one by one, such as 60-72,81.  [default: all]")
@click.option("--realtime", is_flag=True, help="Sounding notes change too.")
@click.option("--every-key", is_flag=True, help="Show what became of each key.")
@click.option("--show-bytes", is_flag=True, help="Show the bytes and what they say.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def write(
    *,
    scale: str,
    anchor: str,
    layout: str,
    form: str,
    out: Path,
    program: int | None,
    bank: int | None,
    device: int,
    channels: str | None,
    name: str | None,
    keys: str | None,
    realtime: bool,
    every_key: bool,
    show_bytes: bool,
    as_json: bool,
) -> None:
    """Write a tuning as a file of MIDI tuning messages, and say what that costs.

    Each pitch goes to the nearest the form has. Keys that cannot be encoded are listed, and keep
    what they have in the other instrument.

    \b
    meantide carry write --scale 19-equal --anchor A4=442 --as bulk --program 5 --out tide.syx
    meantide carry write --anchor A4=435 --as single --keys 69 --out a.syx
    """
    catalogue = Catalogue()
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    chosen = None if channels is None else frozenset(read_numbers("--channels", channels, 1, 16))
    address = Address(device, realtime or None, program, bank, chosen, name)
    listed = None if keys is None else read_numbers("--keys", keys, 0, 127)
    carried = carry_tuning(tuning, form, address, listed)
    data = carried.to_bytes()
    write_syx(out, data)
    if as_json:
        click.echo(json.dumps(carry_tables.written_json(out, tuning, carried), indent=2))
        return
    carry_tables.print_written(out, tuning, carried, every_key)
    if show_bytes:
        carry_tables.print_bytes(read_messages(data))


@carry.command(short_help="a .syx file to scales and anchors")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--pick", type=int, help="Which tuning to write, if there are several, from 1.")
@click.option("--write-scale", type=click.Path(path_type=Path), help="Write the scale as YAML.")
@click.option("--write-anchor", type=click.Path(path_type=Path), help="Write the anchor as YAML.")
@click.option("--write-layout", type=click.Path(path_type=Path), help="Write the layout as YAML.")
@click.option("--show-bytes", is_flag=True, help="Show the bytes and what they say.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def read(
    *,
    file: Path,
    pick: int | None,
    write_scale: Path | None,
    write_anchor: Path | None,
    write_layout: Path | None,
    show_bytes: bool,
    as_json: bool,
) -> None:
    """Read a .syx FILE of MIDI tuning messages back into scales and anchors.

    A keyboard whose pitches repeat at the octave gives a scale of one octave; any other gives one
    degree for each pitch. A file that is not sound to its last byte is refused whole.

    \b
    meantide carry read organ.syx --write-scale organ.yaml --write-anchor organ-a.yaml
    """
    placed = read_syx(file)
    tunings = recover(each.message for each in placed)
    if write_scale or write_anchor or write_layout:
        picked = _picked(tunings, pick)
        labels = {"name": printable(file.stem), "source": printable(f"{file.name}, {picked.place}")}
        for path, mapping in (
            (write_scale, carry_tables.scale_mapping(picked.tuning.scale)),
            (write_anchor, picked.tuning.anchor.to_mapping()),
            (write_layout, picked.tuning.layout.to_mapping()),
        ):
            if path:
                write_definition(path, {**labels, **mapping})
    if as_json:
        click.echo(json.dumps(carry_tables.read_json(placed, tunings), indent=2))
        return
    carry_tables.print_read(placed, tunings)
    if show_bytes:
        carry_tables.print_bytes(placed)


@carry.command("select", short_help="the control changes that choose a program")
@click.option("--program", help="A tuning program, 0 to 127, or next or previous.")
@click.option("--bank", help="A tuning bank, 0 to 127, or next or previous.")
@click.option("--channels", default="1", show_default=True, help="Channels, such as 1-8,10.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def select_tuning(program: str | None, bank: str | None, channels: str, as_json: bool) -> None:
    """Print the control changes by which an instrument takes a tuning it holds.

    \b
    meantide carry select --bank 1 --program 5 --channels 1-4
    """
    if program is None and bank is None:
        raise InvalidValue("--program", "nothing", "--program, --bank, or both")
    chosen = {"bank": bank, "program": program}
    rows = [
        (channel, parameter, wanted, _selection(parameter, channel, wanted))
        for channel in read_numbers("--channels", channels, 1, 16)
        for parameter, wanted in chosen.items()
        if wanted is not None
    ]
    if as_json:
        found = [
            {"channel": channel, "parameter": parameter, "to": wanted, "bytes": list(data)}
            for channel, parameter, wanted, data in rows
        ]
        click.echo(json.dumps(found, indent=2))
        return
    for channel, parameter, wanted, data in rows:
        click.echo(f"{data.hex(' ').upper()}   channel {channel}: tuning {parameter} {wanted}")


def read_numbers(field: str, text: str, low: int, high: int) -> list[int]:
    """Return the whole numbers, rising and each once, that a list such as 1-8,10 stands for."""
    found: set[int] = set()
    for part in text.split(","):
        match = _SPAN.fullmatch(part.strip())
        first = int(match[1]) if match else low - 1
        last = int(match[2] or first) if match else high
        if not low <= first <= last <= high:
            raise InvalidValue(field, text, f"numbers from {low} to {high}, such as 1-8,10")
        found.update(range(first, last + 1))
    return sorted(found)


def _selection(parameter: str, channel: int, wanted: str) -> bytes:
    """Return the control changes for a number, or for a step."""
    if wanted in STEPS:
        return STEPS[wanted](parameter, channel)
    if not re.fullmatch("[0-9]{1,3}", wanted):
        raise InvalidValue(f"--{parameter}", wanted, "0 to 127, next or previous")
    return select(parameter, channel, int(wanted))


def printable(text: str) -> str:
    """Return a file's name as a definition can hold it."""
    return "".join(character for character in text if character.isprintable()).strip()


def _picked(tunings: Sequence[Recovered], pick: int | None) -> Recovered:
    """Return the one tuning to write."""
    if not tunings:
        raise InvalidValue("file", "no tuning, only requests", "a message that tunes a key")
    if pick is None and len(tunings) == 1:
        return tunings[0]
    if pick is None or not 1 <= pick <= len(tunings):
        places = ", ".join(f"{at} ({each.place})" for at, each in enumerate(tunings, start=1))
        raise InvalidValue("--pick", "nothing" if pick is None else pick, f"one of {places}")
    return tunings[pick - 1]
