"""The contact sheet of `meantide presets voices --sheet`."""

from collections.abc import Sequence
from pathlib import Path

import click

from meantide.catalogue import Catalogue
from meantide.command.presets_facts import Preset
from meantide.errors import InvalidValue
from meantide.offline.audition import middle_degree
from meantide.offline.contact_sheet import HELD_S, SHOWN_S, Entry, draw_contact_sheet
from meantide.offline.render import DEFAULT_RATE
from meantide.offline.score import DEFAULT_ANCHOR, DEFAULT_SCALE
from meantide.offline.voice_study import Struck, sound_of
from meantide.offline.voice_words import counted
from meantide.pitch import Tuning
from meantide.voice.kernel_numpy import NumpyKernel


def write_sheet(path: Path, catalogue: Catalogue, presets: Sequence[Preset]) -> None:
    """Draw the voices that can be read on one page, each by the same note; say what was left out.

    Raises InvalidValue if there is none, or the file cannot be written.
    """
    readable = [preset for preset in presets if not preset.error]
    if not readable:
        raise InvalidValue("--sheet", str(path), "at least one voice that can be read")
    tuning = Tuning(catalogue.scale(DEFAULT_SCALE), catalogue.anchor(DEFAULT_ANCHOR))
    struck = Struck(tuning, middle_degree(tuning), held_s=HELD_S, longest_s=SHOWN_S)
    kernel = NumpyKernel()  # the same page on every machine
    entries = [
        Entry(
            preset.name,
            preset.facts["family"] or preset.facts["voice_kind"],
            sound_of(catalogue.voice(Path(preset.file)), struck, kernel),
            DEFAULT_RATE,
        )
        for preset in readable
    ]
    subtitle = (
        f"{struck.name} = {struck.hz:g} Hz, velocity {struck.velocity:g}, held {HELD_S:g} s to the "
        "dashed line; axes and colours are the same for all"
    )
    draw_contact_sheet(path, entries, struck.hz, counted(len(entries), "voice"), subtitle)
    click.echo(f"{path}: {counted(len(entries), 'voice')}")
    if len(readable) < len(presets):
        left = len(presets) - len(readable)
        told = f"{left} left out that cannot be read; `meantide presets voices` says why"
        click.echo(f"meantide: {told}", err=True)
