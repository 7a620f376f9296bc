"""What `meantide carry` shows: for people as tables, for programs as JSON."""

import math
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from meantide.pitch import Interval, Scale, Tuning
from meantide.pitch.midi_tuning import Carried, CarriedKey, Placed, Recovered, explain
from meantide.pitch.midi_tuning.fields import KEYS, channels_text
from meantide.pitch.midi_tuning.message import ALL_DEVICES, Message

MIDDLE_KEY = 60


def written_json(out: Path, tuning: Tuning, carried: Carried) -> dict[str, Any]:
    """Return what was written, every number exact, keys without a pitch with null."""
    worst = carried.worst
    return {
        "file": str(out),
        "bytes": len(carried.to_bytes()),
        "messages": [_message_json(message) for message in carried.messages],
        "scale": tuning.scale.to_mapping(),
        "anchor": tuning.anchor.to_mapping(),
        "layout": tuning.layout.to_mapping(),
        "worst_key": None if worst is None else worst.key,
        "worst_cents": None if worst is None else worst.error_cents,
        "left_out": [key.key for key in carried.left_out],
        "keys": [
            {
                "key": key.key,
                "wanted_hz": key.wanted_hz,
                "sent_hz": key.sent_hz,
                "error_cents": key.error_cents,
                "why": key.why,
            }
            for key in carried.keys
        ],
    }


def print_written(out: Path, tuning: Tuning, carried: Carried, every_key: bool) -> None:
    """Say what was written, what the rounding cost, and which keys could not be encoded."""
    for message in carried.messages:
        click.echo(f"{out}: {len(message.to_bytes())} bytes: {describe(message)}")
    if not carried.keys:
        return
    click.echo(f"tuning: {tuning.scale.label}, {tuning.anchor.label} Hz, {tuning.layout.label}")
    worst = carried.worst
    if worst is not None and worst.error_cents is not None:
        click.echo(
            f"cost: at most {abs(worst.error_cents):.4f} cents; key {worst.key} wants "
            f"{worst.wanted_hz:.4f} Hz and gets {worst.sent_hz:.4f}"
        )
    if every_key:
        _print_keys(carried.keys)
    for why, group in groupby(carried.left_out, key=lambda key: key.why):
        click.echo(f"not encoded: {_keys_text([key.key for key in group])}: {why}")


def print_bytes(placed: Sequence[Placed]) -> None:
    """Print the bytes of messages, piece by piece, with their offsets and what they say."""
    for each in placed:
        for offset, piece in explain(each):
            data = piece.data.hex(" ").upper()
            click.echo(f"{offset:6d}  {data:<47}  {piece.meaning}")


def read_json(placed: Sequence[Placed], tunings: Sequence[Recovered]) -> dict[str, Any]:
    """Return messages and the tunings they leave, every number exact."""
    return {
        "messages": [
            {"offset": each.offset, "bytes": len(each.data), **_message_json(each.message)}
            for each in placed
        ],
        "tunings": [
            {
                "place": each.place,
                "scale": scale_mapping(each.tuning.scale),
                "anchor": each.tuning.anchor.to_mapping(),
                "layout": each.tuning.layout.to_mapping(),
                "keys": [
                    {"key": key, "degree": degree, "hz": each.tuning.hz_of_degree(degree)}
                    for key, degree in _played(each.tuning, range(KEYS))
                ],
            }
            for each in tunings
        ],
    }


def print_read(placed: Sequence[Placed], tunings: Sequence[Recovered]) -> None:
    """Print which messages there are, and the tuning they leave at each place."""
    for each in placed:
        click.echo(f"offset {each.offset}: {len(each.data)} bytes: {describe(each.message)}")
    for number, found in enumerate(tunings, start=1):
        _print_tuning(number, found)


def describe(message: Message) -> str:
    """Return a message in one line, such as: bulk, program 5 'Slack water', all devices."""
    parts = [message.form_name]
    if message.bank is not None:
        parts.append(f"bank {message.bank}")
    if message.program is not None:
        parts.append(f"program {message.program}")
    if message.name:
        parts.append(repr(message.name))
    if message.channels is not None:
        parts.append(f"channels {channels_text(message.channels)}")
    if message.changes is not None:
        parts.append(_count(len(message.changes), "key"))
    parts.append("all devices" if message.device == ALL_DEVICES else f"device {message.device}")
    if len(message.form.realtime) > 1:
        parts.append("real-time" if message.realtime else "non-real-time")
    return ", ".join(parts)


def scale_mapping(scale: Scale) -> dict[str, Any]:
    """Return a recovered scale as its YAML mapping, its degrees as exact decimal cents.

    All its intervals are powers of 2 by some number of steps, whose cents always end.
    """
    mapping = scale.to_mapping()
    if scale.steps is not None:
        mapping["degrees"] = [_cents_text(step) for step in scale.steps[1:]]
    return mapping


def _cents_text(interval: Interval) -> str:
    """Return the exact cents of a power of 2."""
    cents: Fraction = 1200 * interval.powers[0][1]
    return f"{Decimal(cents.numerator) / Decimal(cents.denominator):f} cents"


def _message_json(message: Message) -> dict[str, Any]:
    """Return a message: where it goes, and its bytes."""
    return {
        "form": message.form_name,
        "device": message.device,
        "realtime": message.realtime,
        "bank": message.bank,
        "program": message.program,
        "name": message.name,
        "channels": None if message.channels is None else sorted(message.channels),
        "hex": message.to_bytes().hex(" ").upper(),
    }


def _print_keys(keys: Iterable[CarriedKey]) -> None:
    """Print what became of each key."""
    table = Table("key", "wanted Hz", "sent Hz", "error in cents", "not encoded")
    for column in table.columns[:4]:
        column.justify = "right"
    for key in keys:
        numbers = (_shown(key.wanted_hz), _shown(key.sent_hz), _shown(key.error_cents, "+.5f"))
        table.add_row(str(key.key), *numbers, key.why)
    _print(table)


def _print_tuning(number: int, found: Recovered) -> None:
    """Print a tuning's degrees over one period, or every key where a table rules."""
    tuning = found.tuning
    scale = tuning.scale
    kind = tuning.layout.to_mapping()["kind"]
    place = tuning.anchor.note or tuning.anchor.degree
    keys = range(KEYS) if kind == "table" else _one_period(tuning)
    table = Table(
        title=f"{number}: {found.place}: {scale.label}, {place}={tuning.anchor.hz:.4f} Hz",
        caption=f"{_count(scale.size, 'degree')} to {scale.period}, {kind} layout; "
        "12-equal: cents from the nearest of twelve equal notes with A4=440",
    )
    for heading in ("key", "degree", "name", "Hz", "cents above degree 0", "12-equal"):
        table.add_column(heading, justify="left" if heading == "name" else "right")
    for key, degree in _played(tuning, keys):
        name = tuning.name_of_degree(degree)
        hz = tuning.hz_of_degree(degree)
        height = found.heights[key]
        # Rounding the half down makes every exact quarter tone +50, none -50.
        off = None if height is None else 100 * float(height - math.ceil(height - Fraction(1, 2)))
        cents = scale.interval(degree).cents
        table.add_row(
            str(key),
            str(degree),
            "-" if name is None else str(name),
            f"{hz:.4f}",
            f"{cents:.3f}",
            _shown(off, "+.3f"),
        )
    _print(table)


def _one_period(tuning: Tuning) -> range:
    """Return the keys of one period, from the one that plays degree 0, as far as there are keys."""
    root: Mapping[str, int] = tuning.layout.to_mapping()["root"]
    first = root["key"] - root["degree"]
    return range(first, min(first + tuning.scale.size + 1, KEYS))


def _played(tuning: Tuning, keys: Iterable[int]) -> list[tuple[int, int]]:
    """Return the keys that play, with their degrees."""
    asked = ((key, tuning.degree_of_key(key)) for key in keys)
    return [(key, degree) for key, degree in asked if degree is not None]


def _keys_text(keys: Sequence[int]) -> str:
    """Return keys as a list, neighbours joined: keys 0-1, 125-127."""
    spans: list[list[int]] = []
    for key in keys:
        if spans and spans[-1][-1] == key - 1:
            spans[-1].append(key)
        else:
            spans.append([key])
    texts = [f"{span[0]}-{span[-1]}" if len(span) > 1 else f"{span[0]}" for span in spans]
    return ("keys " if len(keys) > 1 else "key ") + ", ".join(texts)


def _count(number: int, thing: str) -> str:
    """Return so many things in words."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def _shown(number: float | None, form: str = ".4f") -> str:
    """Return a number in a table, or a dash."""
    return "-" if number is None else format(number, form)


def _print(table: Table) -> None:
    """Print a table, whole even in a pipe."""
    console = Console(markup=False, highlight=False, emoji=False)
    if not console.is_terminal:
        console = Console(markup=False, highlight=False, emoji=False, width=120)
    console.print(table)
