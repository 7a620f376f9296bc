"""Assay a recording against a tuning, with no log: its anchor, and how far each degree lies off.

Which scale a recording is in can be told only as far as the scale is coarse: a thousand equal parts
fit everything. So beside a fit stands the chance that notes at random would fit as well.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from meantide.offline.heard_notes import HeardNote
from meantide.offline.listen_tuning import AnchorFit, cents_between, fit_anchor, nearest_degrees
from meantide.pitch import Tuning

TOLERANCE_CENTS = 5.0
LIKELY = 0.05
"""A fit that chance gives so often says nothing (common practice, no source)."""
WRONG_SHARE = 1.0 / 3.0
"""Of the degrees heard: if more are out, it is the scale that is wrong, not some notes."""
_LOOSE = 0.5
"""Of the tolerance: where the degrees that are not out scatter by more, they do not fit either."""
_SURE = 2.0


class Finding(StrEnum):
    """What the assay says of the scale."""

    FITS = "fits"
    NOTES_OUT = "notes out"
    WRONG = "wrong scale"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class DegreeRow:
    """One degree of the scale as it was heard, periods aside.

    `cents` is the mean distance from where the fitted tuning has it, `uncertainty_cents` its
    standard deviation, `notes` how many told it.
    """

    degree: int
    name: str | None
    notes: int
    cents: float
    uncertainty_cents: float
    out: bool


@dataclass(frozen=True, slots=True)
class ScaleAssay:
    """The fitted anchor, the degrees, and what follows.

    `chance` is the probability that pitches at random would all lie within the tolerance.
    `set_aside` are lone lines that begin with a louder note and are off the scale that the others
    fit: they may be partials of a bell or a bar, and are not judged. `steps_alike` says that every
    step of the scale is the same: then the anchor is known only up to whole steps, and the one
    nearest to the tuning's own is told.
    """

    fit: AnchorFit
    notes: tuple[HeardNote, ...]
    set_aside: tuple[HeardNote, ...]
    degrees: tuple[DegreeRow, ...]
    tolerance_cents: float
    chance: float
    finding: Finding
    steps_alike: bool


def assay_scale(
    tuning: Tuning, notes: Sequence[HeardNote], tolerance_cents: float = TOLERANCE_CENTS
) -> ScaleAssay:
    """Return how `notes` fit `tuning`, whatever its anchor; at least one note is needed."""
    kept, aside = _sorted_out(tuning, notes, tolerance_cents)
    fit = _fit(tuning, kept)
    degrees = _degrees(fit, tuning, tolerance_cents)
    chance = _coverage(tuning, tolerance_cents) ** max(len(degrees) - 1, 0)
    out = sum(row.out for row in degrees)
    rest = [row.cents for row in degrees if not row.out]
    if out > WRONG_SHARE * len(degrees) or (out and _scatter(rest) > _LOOSE * tolerance_cents):
        finding = Finding.WRONG
    elif out:
        finding = Finding.NOTES_OUT
    else:
        finding = Finding.UNDECIDED if chance > LIKELY else Finding.FITS
    return ScaleAssay(
        fit, kept, aside, degrees, tolerance_cents, chance, finding, _steps_alike(tuning)
    )


def _fit(tuning: Tuning, notes: Sequence[HeardNote]) -> AnchorFit:
    return fit_anchor(tuning, [note.hz for note in notes], [n.uncertainty_cents for n in notes])


def _sorted_out(
    tuning: Tuning, notes: Sequence[HeardNote], tolerance_cents: float
) -> tuple[tuple[HeardNote, ...], tuple[HeardNote, ...]]:
    """Return the notes to be judged, and those set aside.

    The sure notes say where the scale lies; a doubtful one is judged if it lies on it.
    """
    sure = [note for note in notes if not note.doubtful]
    fitted = _fit(tuning, sure).tuning
    aside = []
    for note in notes:
        if note.doubtful:
            degree = nearest_degrees(fitted, [note.hz])[0]
            off = abs(cents_between(note.hz, fitted.hz_of_degree(degree)))
            if off > tolerance_cents + _SURE * note.uncertainty_cents:
                aside.append(note)
    return tuple(note for note in notes if note not in aside), tuple(aside)


def _degrees(fit: AnchorFit, tuning: Tuning, tolerance_cents: float) -> tuple[DegreeRow, ...]:
    groups: dict[int, list[tuple[float, float]]] = {}
    for tone in fit.tones:
        group = groups.setdefault(tone.degree % tuning.scale.size, [])
        group.append((tone.cents, tone.uncertainty_cents))
    rows = []
    for degree in sorted(groups):
        told = groups[degree]
        weights = [1.0 / max(doubt, 1e-6) ** 2 for _, doubt in told]
        pairs = list(zip(weights, told, strict=True))
        mean = sum(weight * cents for weight, (cents, _) in pairs) / sum(weights)
        doubt = 1.0 / math.sqrt(sum(weights))
        if len(told) > 1:
            variance = sum(weight * (cents - mean) ** 2 for weight, (cents, _) in pairs)
            doubt = max(doubt, math.sqrt(variance / sum(weights) / (len(told) - 1)))
        name = tuning.name_of_degree(degree)
        out = abs(mean) > tolerance_cents + _SURE * doubt
        spelling = None if name is None else name.spelling
        rows.append(DegreeRow(degree, spelling, len(told), mean, doubt, out))
    return tuple(rows)


def _scatter(cents: Sequence[float]) -> float:
    """Return the RMS distance from the mean, 0 for none."""
    mean = sum(cents) / max(len(cents), 1)
    return math.sqrt(sum((each - mean) ** 2 for each in cents) / max(len(cents), 1))


def _coverage(tuning: Tuning, tolerance_cents: float) -> float:
    """Return the share of all pitches that lie within the tolerance of some degree."""
    covered = sum(min(step, 2.0 * tolerance_cents) for step in _steps(tuning))
    return min(covered / tuning.scale.period.cents, 1.0)


def _steps(tuning: Tuning) -> list[float]:
    scale = tuning.scale
    return [
        1200.0 * (scale.octaves(degree + 1) - scale.octaves(degree)) for degree in range(scale.size)
    ]


def _steps_alike(tuning: Tuning) -> bool:
    steps = _steps(tuning)
    return max(steps) - min(steps) < 1e-6
