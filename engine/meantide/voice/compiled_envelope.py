"""The law of `EnvelopeTable`, compiled: one envelope's level at one age."""

import math
from typing import Any

from meantide.voice.compiling import inlined
from meantide.voice.envelope import (
    APPROACH,
    DECIBEL,
    EASED,
    LEVEL,
    RELEASE_FLOOR,
    SIXTY_DB,
    SIXTY_DB_DOWN,
    Stage,
)
from meantide.voice.kernel import F64

Record = Any
"""One of `EnvelopeTable.records`."""

HELD, SILENCED = int(Stage.HELD), int(Stage.SILENCED)
FULLY_DECAYED = -60.0
"""Nepers below which nothing is added to a sustain level in float64."""


@inlined
def level_at(envelope: Record, age: int, silencing: float) -> float:
    """Return the level of a note `age` samples old; silencing takes `silencing` samples."""
    level: float
    if envelope.stage == HELD:
        level = held_at(envelope, age)
    elif envelope.stage == SILENCED:
        share = min((age - envelope.stage_age) / silencing, 1.0)
        level = envelope.stage_level * math.cos(0.5 * math.pi * share) ** 2
        if share >= 1.0:
            level = 0.0
    else:
        level = envelope.stage_level * left_of_release(envelope, age - envelope.stage_age)
    return level


@inlined
def runs_from(envelope: Record, age: int, silencing: float, samples: int, run: F64) -> bool:
    """Tell whether from `age` on a level is `run[0] + run[1]`, but never below nothing.

    The latter is to be multiplied by `run[2]` every `samples` samples.
    """
    even, base, rest, factor = False, 0.0, 0.0, 0.0
    since = age - envelope.stage_age
    if envelope.stage == HELD:
        base = envelope.sustain
        after = age - envelope.delay - envelope.attack - envelope.hold
        if envelope.decay_curve == APPROACH:
            even = after >= 0.0 and envelope.turn == math.inf
            rest = (1.0 - base) * math.exp(-SIXTY_DB * after / envelope.decay)
            factor = math.exp(-SIXTY_DB * samples / envelope.decay)
        else:
            even = after >= envelope.decay and envelope.turn == math.inf
    elif envelope.stage == SILENCED:
        even = since >= silencing
    elif envelope.release_curve == DECIBEL:
        even = True
        whole = envelope.stage_level / (1.0 - RELEASE_FLOOR)
        base = -whole * RELEASE_FLOOR
        rest = whole * math.exp(-SIXTY_DB * since / envelope.release)
        factor = math.exp(-SIXTY_DB * samples / envelope.release)
    else:
        even = since >= envelope.release
    run[0], run[1], run[2] = base, rest, factor
    return even


@inlined
def held_at(envelope: Record, age: int) -> float:
    """Return the level of a note that is held."""
    since, low = max(age - envelope.delay, 0.0), 0.0
    if since >= envelope.turn:
        since, low = since % envelope.turn, envelope.foot
    level: float = envelope.sustain
    after = max(since - envelope.attack - envelope.hold, 0.0)
    if envelope.decay_curve == APPROACH:
        nepers = -SIXTY_DB * after / envelope.decay
        if nepers > FULLY_DECAYED:
            level += (1.0 - level) * math.exp(nepers)
    elif after < envelope.decay:
        to_go = 1.0 - after / envelope.decay
        level += (1.0 - level) * grown(to_go, envelope.decay_curve, envelope.sustain)
    if since < envelope.attack:
        level *= low + (1.0 - low) * grown(since / envelope.attack, envelope.attack_curve, low)
    return level


@inlined
def left_of_release(envelope: Record, since: float) -> float:
    """Return the share of its level that a note has `since` samples after its release."""
    left = 0.0
    if envelope.release_curve == DECIBEL:
        left = math.exp(-SIXTY_DB * since / envelope.release) - RELEASE_FLOOR
        left = max(left, 0.0) / (1.0 - RELEASE_FLOOR)
    elif since < envelope.release:
        left = grown(1.0 - since / envelope.release, envelope.release_curve, 0.0)
    return left


@inlined
def grown(share: float, curve: float, low: float) -> float:
    """Return the way from nothing to full, 0..1, after `share` of it; `low` is what nothing is."""
    way = share
    if curve == EASED:
        way = math.sin(0.5 * math.pi * share) ** 2
    elif curve != LEVEL:
        floor = low if 0.0 < low < 1.0 else SIXTY_DB_DOWN
        way = (floor ** (1.0 - share) - floor) / (1.0 - floor)
    return way
