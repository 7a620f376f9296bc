"""Two tunings side by side, note by note: what moves, and which intervals change.

Another anchor moves every note by the same cents and changes no interval; another scale changes
intervals. Which of the two it is is decided exactly.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from meantide.errors import NotFound
from meantide.offline.tuning_sheet import note_text
from meantide.pitch import OCTAVE, UNISON, Scale, Tuning
from meantide.pitch.nearness import nearest_degree

By = Literal["name", "degree", "nearest"]

_PARTS_OF_A_CENT = 10**6  # to which a pitch is known when the nearest to it is looked for


@dataclass(frozen=True, slots=True)
class NoteDifference:
    """A note of the first tuning and its partner in the other, found by `paired_by`.

    `cents` and `difference_hz` are how far the partner lies above it, `interval_cents` how much
    wider (or narrower) its interval above the first tuning's anchored note becomes.
    """

    name: str | None
    degree: int
    other_degree: int
    paired_by: By
    hz: float
    other_hz: float
    cents: float
    difference_hz: float
    interval_cents: float


@dataclass(frozen=True, slots=True)
class TuningDifference:
    """Notes side by side; `common_cents` is how far all of them move if no interval changes.

    It is None where one does.
    """

    notes: tuple[NoteDifference, ...]
    common_cents: float | None


def difference(first: Tuning, other: Tuning, degrees: Iterable[int]) -> TuningDifference:
    """Return how `degrees` of the first tuning, and their partners in the other, differ.

    Raises InvalidValue for a pitch that is out of all range.
    """
    anchors_cents = 1200 * math.log2(other.anchor.hz / first.anchor.hz)
    reference = other.interval_of_degree(partner(first, other, first.anchor_degree)[0])
    notes = []
    unchanged = True
    for degree in degrees:
        other_degree, paired_by = partner(first, other, degree)
        moved = other.interval_of_degree(other_degree) - first.interval_of_degree(degree)
        change = moved - reference
        unchanged = unchanged and change == UNISON
        hz, other_hz = first.hz_of_degree(degree), other.hz_of_degree(other_degree)
        notes.append(
            NoteDifference(
                note_text(first, degree),
                degree,
                other_degree,
                paired_by,
                hz,
                other_hz,
                anchors_cents + moved.cents,
                other_hz - hz,
                change.cents,
            )
        )
    return TuningDifference(tuple(notes), anchors_cents + reference.cents if unchanged else None)


def partner(first: Tuning, other: Tuning, degree: int) -> tuple[int, By]:
    """Return the degree of the other tuning that stands for one of the first, and how it is found.

    By its name if the other has that, else by its degree if both scales have the same size and
    period, else by pitch: the nearest.
    """
    name = first.name_of_degree(degree)
    if name is not None and has_names(other.scale):
        try:
            return other.degree_of_name(name), "name"
        except NotFound:
            pass  # the other lists its names, and this is none of them
    if (first.scale.size, first.scale.period) == (other.scale.size, other.scale.period):
        return degree, "degree"
    cents = 1200 * math.log2(first.hz_of_degree(degree) / other.anchor.hz)
    pitch = OCTAVE * Fraction(round(cents * _PARTS_OF_A_CENT), 1200 * _PARTS_OF_A_CENT)
    above = pitch + other.scale.interval(other.anchor_degree)
    return nearest_degree(other.scale, above)[0], "nearest"


def has_names(scale: Scale) -> bool:
    """Tell whether a scale has note names."""
    return scale.fifth is not None or scale.names is not None
