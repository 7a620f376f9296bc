"""The shape of a note's level in time, as laws that can be evaluated at any age.

A stage takes a share x = t/T of its time T, 0..1. Its curve is a way from nothing to full, g(x):

- eased: sin²(π/2 · x), flat at both ends, so that neither a start nor an arrival clicks;
- level: x;
- decibel: (f^(1-x) - f) / (1 - f), straight in dB but for the last bit that takes it to nothing.

Between a low level L and full level, 1, a rise is L + (1-L)·g(x), a fall L + (1-L)·g(1-x). With
f = L the decibel curve is then L^(1-x) or L^x, exactly straight in dB; where L is nothing, f is
60 dB down, and the curve is bent by the least that makes its end exact. A decay may also

- approach its sustain level S: S + (1-S)·10^(-3x), 60 dB of the way in its time, and on.

A release goes from where the envelope stands to nothing: by g(1-x) if eased or level; in dB at
60 dB in the release time, bent likewise, and so on to exactly nothing 90 dB down, at 1.5 times that
time. Silencing, the short fade of a note that must go at once, is eased.
"""

import math
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import NDArray

from meantide.errors import InvalidValue

SIXTY_DB = math.log(1000.0)
"""Nepers in 60 dB: exp(-SIXTY_DB) = 1/1000."""
SIXTY_DB_DOWN = 0.001
RELEASE_SPAN = 1.5
"""A release straight in dB is over after so many release times: 90 dB down."""
RELEASE_FLOOR = math.exp(-SIXTY_DB * RELEASE_SPAN)
SILENCING_S = 0.005
"""Length of the fade that takes a stolen or silenced note away."""

ENVELOPE = np.dtype(
    [
        (name, np.float64)
        for name in (
            "delay", "attack", "hold", "decay", "sustain", "release",
            "attack_curve", "decay_curve", "release_curve", "turn", "foot",
            "stage", "stage_age", "stage_level",
        )
    ]
)  # fmt: skip
"""One note's envelope: lengths in samples, levels as factors, curves by `CURVE_NUMBERS`.

`turn` is the length of one round of a repeating envelope, infinite otherwise; `foot` the level its
decay ends at and its next round rises from. `stage_age` is the note's age at which its release or
silencing began, `stage_level` the level it stood at then.
"""

LONGEST_S = 120.0
SHORTEST_ATTACK_S = 0.001
SHORTEST_RELEASE_S = 0.005

Envelopes = NDArray[np.void]
Levels = NDArray[np.float64]


class Stage(IntEnum):
    """Which law a note's envelope follows."""

    HELD = 0
    RELEASED = 1
    SILENCED = 2


class Curve(StrEnum):
    """How a stage goes from one level to the other; see the top of this file."""

    EASED = "eased"
    LEVEL = "level"
    DECIBEL = "decibel"
    APPROACH = "approach"


CURVE_NUMBERS = {curve: number for number, curve in enumerate(Curve)}
EASED, LEVEL, DECIBEL, APPROACH = CURVE_NUMBERS.values()

CURVES = {
    "attack_curve": (Curve.EASED, Curve.LEVEL, Curve.DECIBEL),
    "decay_curve": (Curve.APPROACH, Curve.LEVEL, Curve.DECIBEL),
    "release_curve": (Curve.DECIBEL, Curve.LEVEL, Curve.EASED),
}
"""The curves that each stage may have, the usual one first."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """The stages of a note's level: their times in seconds, their curves, the sustain in dB.

    After the delay, in which it is silent, a note rises to full level, holds it, and decays to
    the sustain level, where it stays until it is released. `sustain_db` is relative to full, at
    most 0; any value of -100 or less is nothing, so that the note dies away though it is held.
    With `repeats` it does not stay: from where its decay ends it rises again by the curve of the
    attack, holds, decays, and so on for as long as it is held.
    """

    delay_s: float = field(default=0.0, kw_only=True)
    attack_s: float = 0.01
    hold_s: float = field(default=0.0, kw_only=True)
    decay_s: float = 0.1
    sustain_db: float = 0.0
    release_s: float = 0.1
    attack_curve: Curve = field(default=Curve.EASED, kw_only=True)
    decay_curve: Curve = field(default=Curve.APPROACH, kw_only=True)
    release_curve: Curve = field(default=Curve.DECIBEL, kw_only=True)
    repeats: bool = field(default=False, kw_only=True)

    def __post_init__(self) -> None:
        check_range("delay_s", self.delay_s, 0.0, LONGEST_S)
        check_range("attack_s", self.attack_s, SHORTEST_ATTACK_S, LONGEST_S)
        check_range("hold_s", self.hold_s, 0.0, LONGEST_S)
        check_range("decay_s", self.decay_s, SHORTEST_ATTACK_S, LONGEST_S)
        check_range("sustain_db", self.sustain_db, -200.0, 0.0)
        check_range("release_s", self.release_s, SHORTEST_RELEASE_S, LONGEST_S)
        for name, allowed in CURVES.items():
            if (curve := getattr(self, name)) not in allowed:
                raise InvalidValue(name, str(curve), "one of " + ", ".join(allowed))
        if not isinstance(self.repeats, bool):
            raise InvalidValue("repeats", self.repeats, "true or false")

    @property
    def sustain(self) -> float:
        """The sustain level as a factor, 0..1; exactly 0 at -100 dB and below."""
        return 0.0 if self.sustain_db <= -100.0 else float(10.0 ** (self.sustain_db / 20.0))

    @property
    def gone_s(self) -> float:
        """Seconds from a note's release until it is silent."""
        straight = self.release_curve == Curve.DECIBEL
        return self.release_s * RELEASE_SPAN if straight else self.release_s


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
    """Many envelopes, one to a row, evaluated together: those of notes, or of their operators.

    Every method is safe in the audio callback: the temporaries are a few numbers a row. Until a
    note begins in it, a row stands at full level.
    """

    def __init__(self, rows: int, rate: int) -> None:
        self.rate = rate
        self.silencing_samples = SILENCING_S * rate
        self.records: Envelopes = np.ones(rows, ENVELOPE)
        self.records["stage"] = Stage.HELD
        self.records["turn"] = math.inf
        self.records["attack_curve"], self.records["decay_curve"] = EASED, APPROACH

    def start(self, row: int, envelope: Envelope) -> None:
        """Begin a note in `row`."""
        rate, sustain = self.rate, envelope.sustain
        attack, decay = envelope.attack_s * rate, envelope.decay_s * rate
        hold = envelope.hold_s * rate
        approaches = envelope.decay_curve == Curve.APPROACH
        self.records[row] = (
            envelope.delay_s * rate,
            attack,
            hold,
            decay,
            sustain,
            envelope.release_s * rate,
            CURVE_NUMBERS[envelope.attack_curve],
            CURVE_NUMBERS[envelope.decay_curve],
            CURVE_NUMBERS[envelope.release_curve],
            attack + hold + decay if envelope.repeats else math.inf,
            sustain + (1.0 - sustain) * SIXTY_DB_DOWN if approaches else sustain,
            Stage.HELD,
            0.0,
            0.0,
        )

    def move(self, rows: NDArray[np.intp], ages: NDArray[np.int64], stage: Stage) -> None:
        """Bring the notes in `rows`, now `ages` samples old, to `stage` from where they stand."""
        self.records["stage_level"][rows] = self.levels(rows, ages[:, None])[:, 0]
        self.records["stage_age"][rows] = ages
        self.records["stage"][rows] = stage

    def settled(self, rows: NDArray[np.intp], ages: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell which notes are so far that silence means their end.

        They are past their attack, or let go; a repeating one that is held will rise again.
        """
        notes = np.take(self.records, rows)
        risen = (ages > notes["delay"] + notes["attack"]) & np.isinf(notes["turn"])
        settled: NDArray[np.bool_] = (notes["stage"] != Stage.HELD) | risen
        return settled

    def levels(self, rows: NDArray[np.intp], ages: NDArray[np.int64]) -> Levels:
        """Return the levels, 0..1, of the notes in `rows` at `ages` of shape (rows, points)."""
        notes = np.take(self.records, rows)[:, None]
        levels = _held(notes, ages)
        stage = notes["stage"]
        if stage.any():
            since = np.maximum(ages - notes["stage_age"], 0.0)
            levels = np.where(stage == Stage.RELEASED, _released(notes, since), levels)
            silenced = _silenced(notes, since / self.silencing_samples)
            levels = np.where(stage == Stage.SILENCED, silenced, levels)
        return levels


def _held(notes: Envelopes, ages: NDArray[np.int64]) -> Levels:
    """Return the levels of held notes; `notes` has the shape (rows, 1)."""
    attack, decay, sustain = notes["attack"], notes["decay"], notes["sustain"]
    since, low = np.maximum(ages - notes["delay"], 0.0), np.zeros(1)
    later = since >= notes["turn"]
    if later.any():
        since = np.where(later, since % notes["turn"], since)
        low = np.where(later, notes["foot"], 0.0)
    risen = _grown(np.minimum(since / attack, 1.0), notes["attack_curve"], low)
    since = np.maximum(since - attack - notes["hold"], 0.0)
    left = np.exp(since * (-SIXTY_DB / decay))
    curve = notes["decay_curve"]
    if (curve != APPROACH).any():
        to_go = 1.0 - np.minimum(since / decay, 1.0)
        left = np.where(curve == APPROACH, left, _grown(to_go, curve, sustain))
    held: Levels = (low + (1.0 - low) * risen) * (sustain + (1.0 - sustain) * left)
    return held


def _grown(share: Levels, curve: Levels, low: Levels) -> Levels:
    """Return the way from nothing to full, 0..1, after `share` of it; `low` is what nothing is."""
    grown: Levels = np.sin((0.5 * math.pi) * share) ** 2
    if (curve != EASED).any():
        floor = np.where((low > 0.0) & (low < 1.0), low, SIXTY_DB_DOWN)
        straight = (floor ** (1.0 - share) - floor) / (1.0 - floor)
        grown = np.where(curve == LEVEL, share, grown)
        grown = np.where(curve == DECIBEL, straight, grown)
    return grown


def _released(notes: Envelopes, since: Levels) -> Levels:
    left = np.exp(since * (-SIXTY_DB / notes["release"])) - RELEASE_FLOOR
    released: Levels = np.maximum(left, 0.0) * (notes["stage_level"] / (1.0 - RELEASE_FLOOR))
    curve = notes["release_curve"]
    if (curve != DECIBEL).any():
        to_go = 1.0 - np.minimum(since / notes["release"], 1.0)
        shorter = notes["stage_level"] * _grown(to_go, curve, np.zeros(1))
        released = np.where(curve == DECIBEL, released, shorter)
    return released


def _silenced(notes: Envelopes, share: Levels) -> Levels:
    share = np.minimum(share, 1.0)
    silenced: Levels = notes["stage_level"] * np.cos((0.5 * math.pi) * share) ** 2
    silenced[share >= 1.0] = 0.0
    return silenced
