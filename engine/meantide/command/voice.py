"""`meantide voice`: what a voice is, as a table and as a picture, and how it sounds in a tuning."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from meantide.catalogue import Catalogue
from meantide.command.kernel_choice import kernel_option, notice
from meantide.command.tables import Printed, print_table
from meantide.command.voice_cost import Cost, cost_of
from meantide.command.voice_match import print_match
from meantide.errors import InvalidValue
from meantide.offline.audition import audition, middle_degree
from meantide.offline.figure_file import check_figure_path
from meantide.offline.render import DEFAULT_RATE, Settings, log_path, render
from meantide.offline.score import DEFAULT_ANCHOR, DEFAULT_SCALE, DEFAULT_VELOCITY
from meantide.offline.timeline import lay_out
from meantide.offline.voice_components import Component, components_of, whole_to_hz
from meantide.offline.voice_loudness import matched, measured
from meantide.offline.voice_picture import draw_voice
from meantide.offline.voice_study import HELD_S, Struck, VoiceStudy, study
from meantide.offline.voice_words import serves_words, words_of
from meantide.pitch import Tuning
from meantide.voice.kernels import kernel_named
from meantide.voice_files import voice_to_mapping

MOST_ROWS = 24


@click.command("voice")
@click.argument("name")
@click.option("--scale", default=DEFAULT_SCALE, show_default=True, help="Scale: a name or a path.")
@click.option(
    "--anchor", default=DEFAULT_ANCHOR, show_default=True, help="Anchor: a name, a path, or A4=432."
)
@click.option(
    "--note", help="The note to look at, such as D4; by default the anchored one, midway."
)
@click.option("--degree", type=int, help="The degree to look at, in place of a note.")
@click.option(
    "--velocity",
    type=float,
    default=DEFAULT_VELOCITY,
    show_default=True,
    help="How hard that note is struck, 0.01 to 1.",
)
@click.option(
    "--rate",
    type=click.IntRange(8_000, 192_000),
    default=DEFAULT_RATE,
    show_default=True,
    help="Samples a second.",
)
@click.option(
    "--picture", type=click.Path(path_type=Path), help="Draw it to a .png, .svg or .pdf file."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write an audition: a .wav file, and its log."
)
@click.option(
    "--match", is_flag=True, help="Tell the trims that make it as loud as the voices shipped."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
@kernel_option
def voice(
    *,
    name: str,
    scale: str,
    anchor: str,
    note: str | None,
    degree: int | None,
    velocity: float,
    rate: int,
    picture: Path | None,
    out: Path | None,
    match: bool,
    as_json: bool,
    kernel: str,
) -> None:
    """Tell what the voice NAME (a name, or a path) is: measured from a note of it.

    Levels are in dB re a full-scale sine, the level of the engine being 0 dB. The lines of the
    spectrum are those of half a second in which the note is loud and steady, without vibrato,
    drift and unison. The audition is a short phrase, soft and loud, low and high, and a chord of
    the scale; it is a take, and `meantide assay` proves it. With --match nothing of that is told,
    but how loud the voice is over its range (BS.1770), and the fields that bring it to where all
    others are.

    \b
    meantide voice harbour-bell --picture bell.png
    meantide voice plain-reed --match
    meantide voice plain-reed --scale 31-equal --anchor A4=435 --note D4 --out reed.wav
    """
    catalogue = Catalogue()
    sound = catalogue.voice(name)
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor))
    place = _place(tuning, note, degree)
    if picture is not None:
        check_figure_path(picture)
    if out is not None and out.suffix.lower() != ".wav":
        raise InvalidValue("out", str(out), "a name that ends in .wav")
    player = kernel_named(kernel, notice)
    if match:
        print_match(measured(sound, player), matched(sound, player), as_json=as_json)
        return
    struck = Struck(tuning, place, velocity, rate=rate)
    found = study(sound, struck, player)
    cost = cost_of(sound, struck.hz, rate, player)
    if picture is not None:
        draw_voice(picture, found)
    if out is not None:
        render(lay_out(audition(sound, tuning), rate), out, Settings(rate), name, player)
    if as_json:
        click.echo(json.dumps(_as_json(found, cost), indent=2, allow_nan=False))
        return
    _print(found, cost)
    if picture is not None:
        click.echo(f"{picture}: the picture")
    if out is not None:
        click.echo(f"{out}: the audition; prove it with  meantide assay {out}  ({log_path(out)})")


def _place(tuning: Tuning, note: str | None, degree: int | None) -> int:
    """Return the degree to look at."""
    if note is not None and degree is not None:
        raise InvalidValue("--degree", degree, "one of --note and --degree")
    if note is not None:
        return tuning.degree_of_name(note)
    return middle_degree(tuning) if degree is None else degree


def _as_json(found: VoiceStudy, cost: Cost) -> dict[str, Any]:
    sound, struck, course = found.voice, found.struck, found.course
    return {
        "kind": "voice",
        "name": sound.name,
        "about": sound.about,
        "source": sound.source,
        "voice": voice_to_mapping(sound),
        "note": {
            "name": struck.name,
            "degree": struck.degree,
            "hz": struck.hz,
            "scale": struck.tuning.scale.label,
            "anchor": struck.tuning.anchor.label,
            "velocity": struck.velocity,
            "held_s": struck.held_s,
            "rate": struck.rate,
        },
        "level": {
            "peak_db": found.peak_db,
            "steady_db": found.rms_db,
            "loudest_s": course.loudest_s,
            "loudest_db": course.loudest_db,
            "let_go_db": course.let_go_db,
            "falls_60_db_s": course.falls_s,
        },
        "spectrum_from_s": found.spectrum.from_s,
        "highest_hz": found.highest_hz,
        "whole_to_hz": whole_to_hz(found),
        "cost": asdict(cost),
        "components": [asdict(each) for each in components_of(found)],
    }


def _print(found: VoiceStudy, cost: Cost) -> None:
    sound, struck = found.voice, found.struck
    click.echo(f"{sound.name}: {sound.about}" if sound.about else sound.name)
    rows = [
        ("source", sound.source or "not stated"),
        (
            "looked at",
            f"{struck.name} = {struck.hz:.6g} Hz in {struck.tuning.scale.label}, "
            f"{struck.tuning.anchor.label}; velocity {struck.velocity:g}, held {HELD_S:g} s",
        ),
        ("serves", serves_words(sound)),
        *words_of(found),
        ("cost", _cost_words(cost)),
    ]
    width = max(len(label) for label, _ in rows)
    for label, text in rows:
        click.echo(f"  {label:<{width}}  {text}")
    _print_components(components_of(found), struck.name)


def _cost_words(cost: Cost) -> str:
    return (
        f"a note as {cost.plain_partials:.0f} plain partials, {100.0 * cost.share:.2f} % of a "
        f"block of {cost.block} (measured here, {cost.kernel} kernel)"
    )


def _print_components(components: Sequence[Component], note: str) -> None:
    """Print the strongest components by rising frequency."""

    def strength(each: Component) -> tuple[float, float]:
        return -1e9 if each.level_db is None else each.level_db, -each.ratio

    shown = sorted(sorted(components, key=strength)[-MOST_ROWS:], key=lambda each: each.ratio)
    rows = [
        (
            f"{each.ratio:.4f}",
            _number(each.cents, 1),
            f"{each.hz:.2f}",
            _number(each.level_db, 1),
            _number(each.stated_db, 1),
            _number(each.attack_s, 3),
            _number(each.decay_s, 2),
        )
        for each in shown
    ]
    headings = ("ratio", "cents", "Hz", "dB", "stated dB", "attack s", "decay s")
    notes = ["dB re the strongest; -: not within 80 dB of it, hidden in noise, or not stated"]
    if len(shown) < len(components):
        left = len(components) - len(shown)
        notes.append(f"{left} more; --json has all")
    print_table(Printed(f"components over {note}, the strongest", tuple(notes), headings, rows))


def _number(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{round(value, digits) + 0.0:.{digits}f}"
