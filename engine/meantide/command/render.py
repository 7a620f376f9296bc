"""`meantide render`: a score, a MIDI file or a journal to audio and its log."""

import os
import sys
from pathlib import Path

import click

from meantide.catalogue import Catalogue
from meantide.command.kernel_choice import kernel_for_journal, kernel_option, notice
from meantide.errors import InvalidValue
from meantide.journal import read_journal
from meantide.offline.journal_take import render_journal
from meantide.offline.midi_piece import read_midi_score
from meantide.offline.render import (
    DEFAULT_BLOCK,
    DEFAULT_LEVEL_DB,
    DEFAULT_NOTES,
    DEFAULT_RATE,
    Settings,
    log_path,
    no_progress,
)
from meantide.offline.render import (
    render as render_timeline,
)
from meantide.offline.score import Overrides, Score
from meantide.offline.score_reader import read_score
from meantide.offline.takelog import TakeLog
from meantide.offline.timeline import Timeline, lay_out
from meantide.offline.wav import SUBTYPES
from meantide.perform.true_peak import LOWEST_DB
from meantide.voice.kernel import Kernel
from meantide.voice.kernels import kernel_named

MIDI_ENDINGS = (".mid", ".midi", ".smf")
JOURNAL_ENDING = ".jsonl"


@click.command()
@click.argument("score", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="The WAV file to write; its log lies beside it as .json.",
)
@click.option("--scale", help="Scale in place of the score's: a name, or a path.")
@click.option("--anchor", help="Anchor in place of the score's: a name, a path, or A4=432.")
@click.option("--layout", help="Layout in place of the score's.")
@click.option("--voice", help="One voice for all parts.")
@click.option(
    "--rate",
    type=click.IntRange(8_000, 192_000),
    default=DEFAULT_RATE,
    show_default=True,
    help="Samples a second.",
)
@click.option(
    "--block",
    type=click.IntRange(1, 8192),
    default=DEFAULT_BLOCK,
    show_default=True,
    help="Frames made at a time; the sound does not depend on it.",
)
@click.option(
    "--notes",
    type=click.IntRange(1, 1024),
    default=DEFAULT_NOTES,
    show_default=True,
    help="The most notes at once.",
)
@click.option(
    "--level",
    type=click.FloatRange(-100.0, 0.0),
    default=DEFAULT_LEVEL_DB,
    show_default=True,
    help="Level in dB; a note at full velocity is as strong as a sine of this peak.",
)
@click.option(
    "--format",
    "sample_format",
    type=click.Choice(list(SUBTYPES)),
    default="float32",
    show_default=True,
    help="Sample format; the 24 and 16 bit ones are dithered.",
)
@kernel_option
def render(
    score: Path,
    out: Path,
    scale: str | None,
    anchor: str | None,
    layout: str | None,
    voice: str | None,
    rate: int,
    block: int,
    notes: int,
    level: float,
    sample_format: str,
    kernel: str,
) -> None:
    """Render SCORE (a .yaml score, a .mid file, or the .jsonl journal of a live set) in tune.

    Beside the WAV file lies the log that proves it. A journal sounds again just as it was played;
    of the options only --out, --format and --kernel apply to it.

    \b
    meantide render examples/01-first-sound.yaml --out slack-water.wav
    meantide render hymn.mid --scale 19-equal --anchor A4=432 --out hymn-19.wav
    """
    if out.suffix.lower() != ".wav":
        raise InvalidValue("out", str(out), "a name that ends in .wav")
    if score.suffix.lower() == JOURNAL_ENDING:
        journal = read_journal(score)
        played_with = kernel_for_journal(journal.head.kernel, kernel)
        log = render_journal(journal, out, sample_format, readable(score), played_with)
        _report(log, out, 1)
        return
    piece = read_any(score, Overrides(scale, anchor, layout, voice))
    timeline = lay_out(piece, rate)
    for said in timeline.score.notices:
        notice(said)
    settings = Settings(rate, block, notes, level, sample_format)
    log = _render_shown(timeline, out, settings, readable(score), kernel_named(kernel, notice))
    _report(log, out, len(timeline.score.parts))


def readable(path: Path) -> str:
    """Return a path as text that can be written anywhere, whatever bytes its name is made of."""
    return os.fsencode(path).decode("utf-8", "replace")


def read_any(score: Path, overrides: Overrides) -> Score:
    """Read a score of either kind, by its ending."""
    if score.suffix.lower() in MIDI_ENDINGS:
        return read_midi_score(score, Catalogue(), overrides)
    if score.suffix.lower() not in (".yaml", ".yml"):
        raise InvalidValue(
            "score", str(score), "a file ending in .yaml, .yml, .mid, .midi or .jsonl"
        )
    return read_score(score, Catalogue(), overrides)


def _render_shown(
    timeline: Timeline, out: Path, settings: Settings, name: str, kernel: Kernel
) -> TakeLog:
    """Render with a progress bar on a terminal, and none in a pipe."""
    if not sys.stderr.isatty():
        return render_timeline(timeline, out, settings, name, kernel, no_progress)
    from rich.console import Console  # noqa: PLC0415  loaded when it is seen
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"rendering {out.name}", total=None)
        return render_timeline(
            timeline,
            out,
            settings,
            name,
            kernel,
            lambda done, total: bar.update(task, completed=done, total=total),
        )


def _report(log: TakeLog, out: Path, parts: int) -> None:
    click.echo(
        f"{out}: {log.frames / log.rate:.2f} s, {len(log.notes)} notes in {parts} parts, "
        f"{log.rate} Hz {log.format}\n"
        f"{_loudness(log)}\n"
        f"{log_path(out)}: the log; prove it with  meantide assay {out}"
    )
    if log.limited_db > 0.0:
        click.echo(
            f"notice: the limiter took up to {log.limited_db:.1f} dB; "
            "a lower --level keeps the sound as it is",
            err=True,
        )


def _loudness(log: TakeLog) -> str:
    if log.true_peak_dbtp <= LOWEST_DB:
        return "loudness: silent"
    heard = (
        f"{log.loudness_lufs:.1f} LUFS"
        if log.loudness_lufs > LOWEST_DB
        else "too short or too quiet to have one"
    )
    return f"loudness: {heard}; true peak {log.true_peak_dbtp:.1f} dBTP"
