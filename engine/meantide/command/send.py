"""`meantide send`: one OSC message to a running engine, and what it answers."""

import json
import math
import time
from collections.abc import Callable, Mapping

import click

from meantide.client import Client, Reply
from meantide.client.conversation import DEFAULT_HOST, DEFAULT_PORT, PATIENCE_S
from meantide.errors import InvalidValue
from meantide.osc.stream import Framing
from meantide.osc.values import Argument, Character, Colour, MidiMessage, Timetag, ntp
from meantide.osc.writing import encode, encode_bundle, encode_typed


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("address")
@click.argument("arguments", nargs=-1)
@click.option("--host", default=DEFAULT_HOST, show_default=True, help="Where the engine is.")
@click.option("--port", type=click.IntRange(1, 65535), default=DEFAULT_PORT, show_default=True)
@click.option(
    "--over",
    type=click.Choice(["udp", "slip", "length"]),
    default="udp",
    show_default=True,
    help="UDP, or TCP with SLIP or with lengths.",
)
@click.option("--types", help="Type tags, one a word, such as sfi; T F N I stand for their words.")
@click.option("--in", "in_s", type=click.FloatRange(0.0, 60.0), help="Act in so many seconds.")
@click.option("--patience", type=click.FloatRange(0.01, 600.0), default=PATIENCE_S)
@click.option("--json", "as_json", is_flag=True, help="Print the replies as JSON.")
def send(
    address: str,
    arguments: tuple[str, ...],
    host: str,
    port: int,
    over: str,
    types: str | None,
    in_s: float | None,
    patience: float,
    as_json: bool,
) -> None:
    """Send one OSC message; print what is answered.

    Words that are numbers are sent as numbers, others as text; --types says otherwise. Exits 0 when
    it was obeyed, 2 when it was refused, 3 when nobody answers.

    \b
    meantide send /note/on C#5 0.6 1
    meantide send /ask/state --json
    """
    if types is None:
        packet = encode(address, *map(_guessed, arguments), pattern=True)
    else:
        packet = encode_typed(address, types, _typed(types, arguments))
    if in_s is not None:
        packet = encode_bundle(ntp(time.time() + in_s), packet)
    framing = None if over == "udp" else Framing(over)
    with Client(host, port, framing, patience) as client:
        replies = client.ask_packet(packet)
    _print(replies, as_json)


def _print(replies: list[Reply], as_json: bool) -> None:
    if as_json:
        said = [{"address": each.address, "arguments": each.arguments} for each in replies]
        click.echo(json.dumps(said, default=repr))
        return
    for reply in replies:
        click.echo(" ".join([reply.address, *map(_shown, reply.arguments)]))


def _shown(argument: Argument) -> str:
    if isinstance(argument, str):
        plain = argument.isprintable() and argument and " " not in argument
        return argument if plain else ascii(argument)
    return f"{argument:.9g}" if isinstance(argument, float) else str(argument)


def _guessed(word: str) -> Argument:
    """Return a word as the number it is, or as text; "nan" and "1_000" are text."""
    if "_" not in word:
        for kind in (int, float):
            try:
                number = kind(word)
            except ValueError:
                continue
            return number if math.isfinite(number) else word
    return word


def _typed(types: str, words: tuple[str, ...]) -> tuple[Argument, ...]:
    if len(types) != len(words):
        raise InvalidValue("--types", types, f"one letter for each of {len(words)} words")
    return tuple(_as(tag, word) for tag, word in zip(types, words, strict=True))


def _as(tag: str, word: str) -> Argument:
    try:
        return READERS.get(tag, str)(word)
    except (ValueError, TypeError):
        raise InvalidValue("argument", word, f"what the type {tag} holds (bytes in hex)") from None


READERS: Mapping[str, Callable[[str], Argument]] = {
    "i": int,
    "h": int,
    "f": float,
    "d": float,
    "b": bytes.fromhex,
    "r": lambda word: Colour(*bytes.fromhex(word)),
    "m": lambda word: MidiMessage(*bytes.fromhex(word)),
    "t": lambda word: Timetag(int(word, 16)),
    "c": Character,
}
"""How words become arguments where the types are given; text otherwise."""
