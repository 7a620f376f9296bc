"""What `meantide listen` says to people: a table of the tones, remarks, and the anchor."""

from collections.abc import Sequence

import click

from meantide.command.tables import Printed, print_table, signed
from meantide.offline.listen import Tone
from meantide.offline.listen_scale import MeasuredScale
from meantide.offline.listen_tuning import AnchorFit, PlacedTone
from meantide.pitch import Anchor, Tuning

_DRIFT_CENTS = 0.3  # from which a drift is worth a word
_SCATTER_CENTS = 0.5
_SPREAD_CENTS = 0.1


def print_answer(
    heard: Sequence[tuple[str, Tone]],
    fit: AnchorFit,
    compared: Tuning,
    measured: MeasuredScale | None,
) -> None:
    """Print everything that was found; `heard` are names of recordings and their tones."""
    rows = [
        (
            name,
            f"{tone.start_s:.2f}",
            f"{tone.end_s:.2f}",
            f"{tone.hz:.{_digits(tone.hz, tone.uncertainty_cents)}f}",
            doubt_text(tone.uncertainty_cents),
            placed.name or f"degree {placed.degree}",
            signed(placed.cents, 2),
        )
        for (name, tone), placed in zip(heard, fit.tones, strict=True)
    ]
    headings = ("recording", "from s", "to s", "Hz", "± cents", "note", "cents off")
    notes = [
        f"{name}, {tone.start_s:.2f} s: {remark}"
        for (name, tone), placed in zip(heard, fit.tones, strict=True)
        for remark in remarks(tone, placed)
    ]
    anchor = fit.tuning.anchor
    title = f"{fit.tuning.scale.label}, {_short(anchor)} Hz"
    left = frozenset({"recording", "note"})
    print_table(Printed(title, tuple(notes), headings, rows, left))
    click.echo(_sentence(fit, compared))
    if measured is not None:
        heights = ", ".join(f"{measured.scale.interval(each).cents:.2f}" for each in _all(measured))
        click.echo(f"scale as it sounded, from {measured.hz:.3f} Hz: {heights} cents")
        if measured.spread_cents > _SPREAD_CENTS:
            click.echo(
                f"tones taken as one degree differ by up to {measured.spread_cents:.1f} cents, "
                "periods aside; their mean is told"
            )


def remarks(tone: Tone, placed: PlacedTone) -> list[str]:
    """Return a sentence for each thing about a tone that a listener should know."""
    said = []
    if placed.outlier:
        said.append("far off the others, and left out of the fit")
    if tone.vibrato is not None:
        said.append(
            f"vibrato, {tone.vibrato.rate_hz:.1f} a second, "
            f"{tone.vibrato.width_cents:.1f} cents to either side; the pitch is its middle"
        )
    if abs(tone.drift_cents) > max(_DRIFT_CENTS, 3.0 * tone.uncertainty_cents):
        said.append(f"drifts by {signed(tone.drift_cents, 1)} cents from beginning to end")
    if tone.stiffness is not None:
        said.append(
            f"partials stretched as a stiff string's, B = {tone.stiffness:.3g} "
            f"± {tone.stiffness_uncertainty:.1g}; the pitch is the first partial's"
        )
    if tone.scatter_cents > _SCATTER_CENTS:
        said.append(f"partials scatter by {tone.scatter_cents:.1f} cents about their places")
    if tone.partials and tone.partials[0].number > 1:
        said.append("the first partial is not there; the others tell it")
    if tone.rival is not None:
        how = "weaker" if tone.rival.level_db <= 0.0 else "stronger"
        said.append(
            f"something else sounds at {tone.rival.hz:.1f} Hz, {abs(tone.rival.level_db):.0f} dB "
            f"{how}: another tone, or partials that are no whole multiples"
        )
    if tone.clipped:
        said.append(
            f"clipped: {100.0 * tone.clipped:.0f} % of the samples stand at the limit; "
            "the pitch holds, the timbre does not"
        )
    return said


def _sentence(fit: AnchorFit, compared: Tuning) -> str:
    """Return the anchor that fits, its uncertainty, and how it compares."""
    used = [tone for tone in fit.tones if not tone.outlier]
    anchor = fit.tuning.anchor
    said = f"anchor: {_short(anchor)} Hz ± {doubt_text(fit.uncertainty_cents)} cents"
    said += f", {signed(fit.cents, 2)} cents from {_short(compared.anchor)} Hz"
    if len(used) > 1:
        worst = max(used, key=lambda tone: abs(tone.cents))
        said += (
            f"\nover {len(used)} tones, which scatter by {fit.scatter_cents:.2f} cents; the worst "
            f"is {worst.name or f'degree {worst.degree}'} by {signed(worst.cents, 2)} cents"
        )
    a4 = _a4(fit.tuning)
    if a4 is not None:
        said += f"\nthat makes A4 {a4:.3f} Hz in {fit.tuning.scale.label}"
    return said


def _a4(tuning: Tuning) -> float | None:
    """Return where A4 lies, if the scale has it and it is not the anchored note itself."""
    named = tuning.scale.fifth is not None or "A" in (tuning.scale.names or ())
    if not named or str(tuning.anchor.note) == "A4":
        return None
    return tuning.hz_of_name("A4")


def _short(anchor: Anchor) -> str:
    """Return an anchor with three decimals."""
    return f"{anchor.degree if anchor.note is None else anchor.note}={anchor.hz:.3f}"


def _digits(hz: float, uncertainty_cents: float) -> int:
    """Return how many decimals of a frequency its uncertainty leaves, from 2 to 6."""
    doubt_hz = hz * uncertainty_cents / 1731.0
    return next((digits for digits in range(2, 6) if doubt_hz > 2.0 * 10.0**-digits), 6)


def doubt_text(cents: float) -> str:
    """Return an uncertainty in cents with one or two figures."""
    return "under 0.0001" if cents < 1e-4 else f"{cents:.2g}"


def _all(measured: MeasuredScale) -> range:
    return range(measured.scale.size + 1)
