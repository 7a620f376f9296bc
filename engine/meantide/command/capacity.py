"""`meantide capacity`: how many notes this machine holds, and which block size to choose."""

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict

import click

from meantide.catalogue import Catalogue
from meantide.command.kernel_choice import kernel_option, notice
from meantide.command.tables import Printed, print_table
from meantide.errors import InvalidValue
from meantide.live.capacity import (
    BLOCKS,
    MOST,
    Choice,
    Held,
    choose,
    estimate,
    settle,
    trier,
    unsettled,
)  # fmt: skip
from meantide.live.overload import THIN_ABOVE
from meantide.voice.kernel import Kernel
from meantide.voice.kernels import kernel_named
from meantide.voice.voices import Voice

DEFAULT_BLOCKS = "64,128,256"
SMALLEST_BLOCK, LARGEST_BLOCK = 16, 8192


@click.command()
@click.option("--voice", "voices", multiple=True, help="A voice, by name or path; may be repeated.")
@click.option("--block", default=DEFAULT_BLOCKS, show_default=True, help="Frames a block, a list.")
@click.option(
    "--rate",
    type=click.IntRange(8_000, 192_000),
    default=48_000,
    show_default=True,
    help="Samples a second.",
)
@click.option(
    "--notes",
    type=click.IntRange(1, MOST),
    default=64,
    show_default=True,
    help="How many you want at once; a block size is chosen for them.",
)
@click.option(
    "--quick",
    is_flag=True,
    help="Measure the costliest voice of each block size only; estimate the others.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
@kernel_option
def capacity(
    *,
    voices: tuple[str, ...],
    block: str,
    rate: int,
    notes: int,
    quick: bool,
    as_json: bool,
    kernel: str,
) -> None:
    """Measure how many notes of a voice hold on this machine at each block size.

    So many that 99.9 of 100 blocks take less than half their length, asked for at the pace of a
    device. Without --voice every voice of the catalogue is measured, some ten seconds each. Nothing
    is heard. Measure with the programs running that will run beside it, and no others.

    \b
    meantide capacity --voice plain-reed
    meantide capacity --quick --notes 48
    """
    catalogue = Catalogue()
    sizes = _block_sizes(block)
    sounds = {name: catalogue.voice(name) for name in voices or catalogue.names("voices")}
    player = kernel_named(kernel, notice)
    found = _measure(sounds, sizes, rate, player, quick)
    choice = choose(found, notes)
    if as_json:
        said = {
            "kind": "capacity",
            "rate": rate,
            "kernel": player.name,
            "wanted": notes,
            "held": [asdict(each) for each in found],
            "choose": None if choice is None else asdict(choice),
        }
        click.echo(json.dumps(said, indent=2, allow_nan=False))
        return
    _print(found, rate, player.name)
    click.echo(_advice(choice, notes))
    click.echo(_beyond())


def _block_sizes(text: str) -> list[int]:
    allowed = f"whole numbers from {SMALLEST_BLOCK} to {LARGEST_BLOCK}, with commas between"
    words = text.split(",")
    if not all(word.strip().isascii() and word.strip().isdigit() for word in words):
        raise InvalidValue("--block", text, allowed)
    sizes = sorted({int(word) for word in words})
    if sizes[0] < SMALLEST_BLOCK or sizes[-1] > LARGEST_BLOCK:
        raise InvalidValue("--block", text, allowed)
    return sizes


def _measure(
    voices: Mapping[str, Voice], sizes: Sequence[int], rate: int, kernel: Kernel, quick: bool
) -> list[Held]:
    """Measure every voice, or by `quick` the costliest at each size, and estimate the others."""
    found: list[Held] = []
    for block in sizes:
        tries = {name: trier(voice, rate, block, kernel) for name, voice in voices.items()}
        guesses = {name: estimate(tries[name]) for name in _told(list(tries), block, "estimating")}
        costliest = min(guesses, key=lambda name: guesses[name][0])
        exact = [costliest] if quick else list(guesses)
        found += [
            settle(tries[name], name, block, *guesses[name])
            for name in _told(exact, block, "measuring")
        ]
        found += [
            unsettled(name, block, *guess) for name, guess in guesses.items() if name not in exact
        ]
    order = list(voices)
    return sorted(found, key=lambda each: (order.index(each.voice), each.block))


def _told(names: list[str], block: int, doing: str) -> Iterator[str]:
    """Yield the names, and tell on a terminal where we are."""
    for number, name in enumerate(names, start=1):
        if sys.stderr.isatty():
            line = f"{doing}, {block} frames, {number} of {len(names)}: {name}"
            click.echo(f"\r\x1b[K{line}", err=True, nl=False)
        yield name
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", err=True, nl=False)


def _print(found: Sequence[Held], rate: int, kernel: str) -> None:
    rows = [
        (
            each.voice,
            str(each.block),
            str(each.notes) if each.settled else f"about {each.notes}",
            f"{each.median:.0%}",
            f"{each.high:.0%}" if each.high else "-",
        )
        for each in found
    ]
    notes = [
        f"held: 99.9 of 100 blocks took under half their length ({BLOCKS} blocks, at their own "
        f"pace); at most {MOST} are asked for",
        "median, 99.9 %: what blocks took of their length with so many notes",
    ]
    notes += [
        f"about: unsettled; {why}" for why in sorted({each.why for each in found if each.why})
    ]
    headings = ("voice", "block", "notes held", "median", "99.9 %")
    title = f"notes held on this machine, {rate} Hz, {kernel} kernel"
    print_table(Printed(title, tuple(notes), headings, rows, frozenset({"voice"})))


def _advice(choice: Choice | None, wanted: int) -> str:
    if choice is None:
        return (
            "choose: at no block size could a number of notes be settled for every voice; measure "
            "again when the machine is at rest, without --quick, or with larger blocks"
        )
    if choice.enough:
        return (
            f"choose: --block {choice.block}, the smallest measured in which every voice here "
            f"holds {wanted} notes (it holds {choice.notes})"
        )
    return (
        f"choose: --block {choice.block} --notes {choice.notes}; {wanted} notes of every voice "
        "here hold at no block size measured: try a larger one"
    )


def _beyond() -> str:
    return (
        f"beyond: more notes sound until blocks take {THIN_ABOVE:.0%} of their length, about "
        f"{THIN_ABOVE / 0.5:g} times as many;\nthen the engine fades notes out, those let go "
        "first, the quietest of them, until they hold,\nand says so; with more than --notes the "
        "quietest makes room for each new one"
    )
