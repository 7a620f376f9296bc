"""The shape of a note's level in time, as laws that can be evaluated at any age.

Curves (t in samples since the stage began, all in level, full level = 1):

- attack: sin²(π/2 · t/A), flat at both ends, so that neither a start nor an arrival clicks;
- decay: S + (1 - S) · 10^(-3t/D), 60 dB of the way to the sustain level S in the decay time D;
- release: from where the envelope stands, linear in dB, 60 dB in the release time R, bent by
  the smallest amount that brings it to exactly nothing at 1.5 R (90 dB down);
- silencing: from where it stands, cos²(π/2 · t/F), the short fade of a note that must go at once.
"""

import math
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from meantide.errors import InvalidValue

SIXTY_DB = math.log(1000.0)
"""Nepers in 60 dB: exp(-SIXTY_DB) = 1/1000."""
RELEASE_SPAN = 1.5
"""A release is over after so many release times: 90 dB down."""
RELEASE_FLOOR = math.exp(-SIXTY_DB * RELEASE_SPAN)
SILENCING_S = 0.005
"""Length of the fade that takes a stolen or silenced note away."""

ENVELOPE = np.dtype(
    [
        (name, np.float64)
        for name in ("attack", "decay", "sustain", "release", "stage", "stage_age", "stage_level")
    ]
)
"""One note's envelope; see `EnvelopeTable`."""

LONGEST_S = 120.0
SHORTEST_ATTACK_S = 0.001


Column = NDArray[np.float64]


class Stage(IntEnum):
    """Which law a note's envelope follows."""

    HELD = 0
    RELEASED = 1
    SILENCED = 2


@dataclass(frozen=True, slots=True)
class Envelope:
    """Attack, decay, sustain and release of a voice; times in seconds, sustain in dB.

    `sustain_db` is relative to the attack's peak, at most 0; -inf is written as any value of
    -100 or less, which means that the note dies away though it is held.
    """

    attack_s: float = 0.01
    decay_s: float = 0.1
    sustain_db: float = 0.0
    release_s: float = 0.1

    def __post_init__(self) -> None:
        check_range("attack_s", self.attack_s, SHORTEST_ATTACK_S, LONGEST_S)
        check_range("decay_s", self.decay_s, SHORTEST_ATTACK_S, LONGEST_S)
        check_range("sustain_db", self.sustain_db, -200.0, 0.0)
        check_range("release_s", self.release_s, 0.005, LONGEST_S)

    @property
    def sustain(self) -> float:
        """The sustain level as a factor, 0..1; exactly 0 at -100 dB and below."""
        return 0.0 if self.sustain_db <= -100.0 else float(10.0 ** (self.sustain_db / 20.0))

    @property
    def gone_s(self) -> float:
        """Seconds from a note's release until it is silent."""
        return self.release_s * RELEASE_SPAN


def check_range(field: str, value: object, low: float, high: float) -> float:
    """Return `value` as a float if it is a finite number within [low, high], else raise."""
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not low <= value <= high  # also false for NaN
    ):
        raise InvalidValue(field, value, f"a number from {low:g} to {high:g}")
    return float(value)


class EnvelopeTable:
    """The envelopes of many notes, one row a note, evaluated together.

    Columns are float64 of shape (notes,); lengths are in samples. Every method is safe in the
    audio callback: the temporaries are a few numbers a note.
    """

    def __init__(self, notes: int, rate: int) -> None:
        self.rate = rate
        self.silencing_samples = SILENCING_S * rate
        self.records = np.ones(notes, ENVELOPE)
        """The same numbers as the columns below, one record a note."""
        self.attack: Column = self.records["attack"]
        self.decay: Column = self.records["decay"]
        self.sustain: Column = self.records["sustain"]
        self.release: Column = self.records["release"]
        self.stage: Column = self.records["stage"]
        self.stage[:] = Stage.HELD
        self.stage_age: Column = self.records["stage_age"]
        """The note's age, in samples, at which its release or silencing began."""
        self.stage_level: Column = self.records["stage_level"]
        """The level it stood at then."""

    def start(self, row: int, envelope: Envelope) -> None:
        """Begin a note in `row`."""
        self.attack[row] = envelope.attack_s * self.rate
        self.decay[row] = envelope.decay_s * self.rate
        self.sustain[row] = envelope.sustain
        self.release[row] = envelope.release_s * self.rate
        self.stage[row] = Stage.HELD

    def move(self, rows: NDArray[np.intp], ages: NDArray[np.int64], stage: Stage) -> None:
        """Bring the notes in `rows`, now `ages` samples old, to `stage` from where they stand."""
        self.stage_level[rows] = self.levels(rows, ages[:, None])[:, 0]
        self.stage_age[rows] = ages
        self.stage[rows] = stage

    def settled(self, rows: NDArray[np.intp], ages: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell which notes are past their attack, so that silence means their end."""
        settled: NDArray[np.bool_] = (self.stage[rows] != Stage.HELD) | (ages > self.attack[rows])
        return settled

    def levels(self, rows: NDArray[np.intp], ages: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the levels, 0..1, of the notes in `rows` at `ages` of shape (rows, points)."""
        stage = self.stage[rows]
        levels = self._held(rows, ages)
        if stage.any():
            since = ages - self.stage_age[rows, None]
            start = self.stage_level[rows, None]
            released = np.exp(since * (-SIXTY_DB / self.release[rows, None])) - RELEASE_FLOOR
            np.maximum(released, 0.0, out=released)
            released *= start / (1.0 - RELEASE_FLOOR)
            turn = np.minimum(since / self.silencing_samples, 1.0)
            silenced = start * np.cos(0.5 * math.pi * turn) ** 2
            silenced[turn >= 1.0] = 0.0
            stage = stage[:, None]
            levels = np.where(stage == Stage.RELEASED, released, levels)
            levels = np.where(stage == Stage.SILENCED, silenced, levels)
        return levels

    def _held(self, rows: NDArray[np.intp], ages: NDArray[np.int64]) -> NDArray[np.float64]:
        attack = self.attack[rows, None]
        sustain = self.sustain[rows, None]
        rise = np.sin((0.5 * math.pi) * np.minimum(ages / attack, 1.0)) ** 2
        since = np.maximum(ages - attack, 0.0)
        fall = sustain + (1.0 - sustain) * np.exp(since * (-SIXTY_DB / self.decay[rows, None]))
        held: NDArray[np.float64] = rise * fall
        return held
