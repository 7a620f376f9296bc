"""The frequency of a pitch as it was asked for, if it can sound."""

import math

from meantide.errors import InvalidValue
from meantide.perform.event import Held, Pitch, PitchKind
from meantide.pitch import NoteName, Tuning

LOWEST_HZ = 0.01


def pitch_hz(tuning: Tuning | None, pitch: Pitch, rate: int) -> float | None:
    """Return the frequency of `pitch` in `tuning`, or None where it has none that can sound."""
    if pitch.kind == PitchKind.HERTZ:
        hz = pitch.value
    elif tuning is None:
        return None
    else:
        try:
            hz = _tuned_hz(tuning, pitch)
        except (InvalidValue, OverflowError):
            return None
    return hz if can_sound(hz, rate) else None


def can_sound(hz: float, rate: int) -> bool:
    """Tell whether a frequency lies between LOWEST_HZ and half of `rate`."""
    return LOWEST_HZ <= hz < rate / 2


def bent(hz: float, cents: float) -> float:
    """Return a frequency moved by `cents`."""
    return hz * math.exp2(cents / 1200.0)


def followed_pitch(
    asked: Pitch, followed: Pitch, held: Held, former: Tuning | None, tuning: Tuning
) -> Pitch:
    """Return by what a note that was `asked` for follows `tuning`, which comes after `former`.

    If the layout is another, a note that stays keeps the degree that its key had, until its key is
    followed under yet another layout. While the layout is the same it goes on as it `followed`.
    """
    if former is None or former.layout == tuning.layout:
        return followed
    if held == Held.FOLLOW:
        return asked
    if followed.kind != PitchKind.KEY:
        return followed
    degree = former.degree_of_key(int(followed.value))
    return followed if degree is None else Pitch(PitchKind.DEGREE, float(degree))


def _tuned_hz(tuning: Tuning, pitch: Pitch) -> float:
    if pitch.kind == PitchKind.KEY:
        return tuning.hz_of_key(int(pitch.value))
    if pitch.kind == PitchKind.DEGREE:
        return tuning.hz_of_degree(int(pitch.value))
    if pitch.kind == PitchKind.NAME:
        return tuning.hz_of_name(NoteName.from_chain(int(pitch.value), pitch.octave))
    return tuning.anchor.hz * math.exp2(pitch.value)
