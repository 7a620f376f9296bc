"""What `meantide assay` says of a recording without a log: a table of degrees, and the anchor."""

from dataclasses import asdict
from pathlib import Path

import click

from meantide import __version__
from meantide.command.tables import Printed, print_table, signed
from meantide.offline.scale_assay import Finding, ScaleAssay
from meantide.pitch import Tuning


def print_scale_assay(found: ScaleAssay, tuning: Tuning, *, anchored: bool) -> None:
    """Print it; `anchored` says that the anchor of `tuning` was asked for."""
    rows = [
        (
            row.name or "-",
            str(row.degree),
            str(row.notes),
            signed(row.cents, 3),
            f"{row.uncertainty_cents:.2g}",
            "out" if row.out else "",
        )
        for row in found.degrees
    ]
    headings = ("name", "degree", "notes", "cents off", "± cents", "")
    left = frozenset({"name", ""})
    title = f"{len(found.notes)} notes heard, against {tuning.scale.label}"
    print_table(Printed(title, (), headings, rows, left))
    click.echo("\n".join(sentences(found, tuning, anchored=anchored)))


def sentences(found: ScaleAssay, tuning: Tuning, *, anchored: bool) -> list[str]:
    """Return what was found, in sentences."""
    anchor = found.fit.tuning.anchor
    place = anchor.degree if anchor.note is None else anchor.note
    said = [
        f"anchor: {place}={anchor.hz:.4f} Hz ± {found.fit.uncertainty_cents:.2g} cents, "
        f"{signed(found.fit.cents, 3)} cents from {tuning.anchor.hz:g} Hz"
    ]
    if found.steps_alike:
        said.append("all steps are alike, so it may be off by whole steps; the nearest is told")
    if found.set_aside:
        places = ", ".join(f"{note.hz:.2f} Hz at {note.start_s:.1f} s" for note in found.set_aside)
        said.append(
            f"set aside: lone lines beside louder notes, off the scale, perhaps partials of a "
            f"bell: {places}"
        )
    scale, tolerance = tuning.scale.label, f"{found.tolerance_cents:g} cents"
    out = [row for row in found.degrees if row.out]
    names = ", ".join(row.name or f"degree {row.degree}" for row in out[:8])
    if found.finding is Finding.WRONG:
        said.append(
            f"wrong scale: {len(out)} of {len(found.degrees)} degrees lie over {tolerance} "
            f"from {scale} wherever it is anchored ({names}), and the rest fits no better"
            if len(out) * 2 < len(found.degrees)
            else f"wrong scale: {len(out)} of {len(found.degrees)} degrees lie over {tolerance} "
            f"from {scale} wherever it is anchored ({names})"
        )
    elif found.finding is Finding.NOTES_OUT:
        said.append(f"{scale} fits to {tolerance}, but for {names}")
    elif found.finding is Finding.UNDECIDED:
        said.append(
            f"undecided: all lie within {tolerance} of {scale}, but so would "
            f"{100.0 * found.chance:.0f} of 100 sets of pitches at random; "
            "more notes, or a smaller --tolerance, would tell"
        )
    else:
        said.append(
            f"{scale} fits to {tolerance}; pitches at random would with probability "
            f"{found.chance:.1g}"
        )
    if anchored and not anchor_holds(found):
        said.append(f"the anchor is not that asked for, to {tolerance}")
    return said


def anchor_holds(found: ScaleAssay) -> bool:
    """Tell whether the anchor that fits is the one asked for, to the tolerance."""
    return abs(found.fit.cents) <= found.tolerance_cents + 2.0 * found.fit.uncertainty_cents


def scale_assay_json(
    take: Path, found: ScaleAssay, tuning: Tuning, *, passed: bool
) -> dict[str, object]:
    """Return everything, every number exact."""
    return {
        "meantide": __version__,
        "kind": "scale assay",
        "take": str(take),
        "scale": tuning.scale.to_mapping(),
        "tolerance_cents": found.tolerance_cents,
        "passed": passed,
        "finding": found.finding.value,
        "chance": found.chance,
        "anchor": found.fit.tuning.anchor.to_mapping(),
        "anchor_cents": found.fit.cents,
        "anchor_uncertainty_cents": found.fit.uncertainty_cents,
        "anchor_up_to_steps": found.steps_alike,
        "set_aside": [asdict(note) for note in found.set_aside],
        "degrees": [asdict(row) for row in found.degrees],
        "notes": [
            asdict(note) | {"placed": asdict(tone)}
            for note, tone in zip(found.notes, found.fit.tones, strict=True)
        ],
    }
