"""What `meantide voice --match` tells: a voice's loudness over its range, and its trims."""

import json

import click

from meantide.command.tables import Printed, print_table
from meantide.offline.voice_loudness import TARGET_LUFS, VELOCITY, Matched
from meantide.voice_files import voice_to_mapping


def print_match(now: Matched, then: Matched, *, as_json: bool) -> None:
    """Print the loudness of a voice as it is and as its trims would make it, and these trims."""
    mapping = voice_to_mapping(then.voice)
    trims = {key: mapping[key] for key in ("level_db", "trims_db") if key in mapping}
    if as_json:
        told = {
            "kind": "voice match",
            "name": now.voice.name,
            "target_lufs": TARGET_LUFS,
            "velocity": VELOCITY,
            "notes_hz": now.notes_hz,
            "loudness_lufs": now.loudness_lufs,
            "matched_lufs": then.loudness_lufs,
            "furthest_lu": now.furthest_lu,
            "trims": trims,
        }
        click.echo(json.dumps(told, indent=2, allow_nan=False))
        return
    rows = [
        (f"{hz:.2f}", f"{loud:.2f}", f"{loud - TARGET_LUFS:+.2f}", f"{after - TARGET_LUFS:+.2f}")
        for hz, loud, after in zip(now.notes_hz, now.loudness_lufs, then.loudness_lufs, strict=True)
    ]
    title = f"{now.voice.name}: loudness of a note at velocity {VELOCITY:g}"
    notes = (f"off: LU from {TARGET_LUFS:g} LUFS; trimmed: with the fields below",)
    print_table(Printed(title, notes, ("Hz", "LUFS", "off", "trimmed"), rows))
    click.echo(f"furthest off {now.furthest_lu:.2f} LU; trimmed {then.furthest_lu:.2f} LU")
    for key, value in trims.items():
        click.echo(f"{key}: {value}")
