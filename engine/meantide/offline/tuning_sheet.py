"""Sheets: the pitches of a tuning as rows, for whoever programs, tunes and plays, or has keys."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, Interval, Scale, Tuning, name_of
from meantide.pitch.nearness import near_ratios

MIDI_KEYS = range(128)
TUNER_HZ = 440.0  # of A4, as ISO 16:1975 has it
LEAST_TUNER_HZ, MOST_TUNER_HZ = 200.0, 900.0
WITHIN_CENTS = 16.0
"""How far a nearest ratio may lie: just enough for 5/4 and 6/5 in twelve equal parts."""
PRIME_LIMIT = 11
LARGEST_PARTIAL = 10
"""Of the partials that are heard to beat (common practice, no source)."""

_TWELVE = Scale.equal(12)
_A4_DEGREE = 9
_MOST_GIVEN = 10**6  # numerator times denominator of a ratio that the scale has itself
_MOST_NEAR = 10**4  # and of one that is only near it
_STANDS_STILL = 1e-9  # of the frequency: a beat as slow as that may be rounding


@dataclass(frozen=True, slots=True)
class Row:
    """One pitch of a sheet.

    `cents_above_degree_0` is its height in the scale. `cents_from_twelve_equal` is how far it lies
    from the nearest of twelve equal notes to the octave that share its anchor, above -50 to 50.
    """

    key: int | None
    degree: int
    name: str | None
    hz: float
    cents_above_degree_0: float
    cents_from_twelve_equal: float


@dataclass(frozen=True, slots=True)
class PlayerRow:
    """One pitch as someone tunes and plays it.

    A tuner shows `tuner_note` and `tuner_cents`, above -50 to 50. `ratio` is that of its frequency
    to the anchored note's, None if there is no simple one near, and `ratio_cents` how far the
    pitch lies above that. Of the first ten partials of both notes its partial `partial` and the
    anchored note's `anchor_partial` lie nearest, and beat `beats_hz` times a second; they are None
    if the notes lie too far apart.
    """

    degree: int
    name: str | None
    tuner_note: str
    tuner_cents: float
    hz: float
    ratio: str | None
    ratio_cents: float | None
    partial: int | None
    anchor_partial: int | None
    beats_hz: float | None


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One key: what is commonly written on it, and what it plays; all None if it is silent."""

    key: int
    key_name: str
    degree: int | None
    name: str | None
    hz: float | None


def rows_of_keys(tuning: Tuning, keys: Iterable[int]) -> list[Row]:
    """Return a row for each key that plays."""
    played = ((key, tuning.degree_of_key(key)) for key in keys)
    return [_row(tuning, key, degree) for key, degree in played if degree is not None]


def rows_of_degrees(tuning: Tuning, degrees: Iterable[int]) -> list[Row]:
    """Return a row for each degree, with the lowest MIDI key that plays it, if there is one."""
    key_of = {tuning.degree_of_key(key): key for key in reversed(MIDI_KEYS)}
    return [_row(tuning, key_of.get(degree), degree) for degree in degrees]


def key_rows(tuning: Tuning, keys: Iterable[int]) -> list[KeyRow]:
    """Return a row for each key, the silent ones too."""
    rows = []
    for key in keys:
        degree = tuning.degree_of_key(key)
        name = None if degree is None else note_text(tuning, degree)
        hz = None if degree is None else tuning.hz_of_degree(degree)
        rows.append(KeyRow(key, str(name_of(_TWELVE, key - 60)), degree, name, hz))
    return rows


def player_rows(
    tuning: Tuning,
    degrees: Iterable[int],
    tuner_hz: float = TUNER_HZ,
    within_cents: float = WITHIN_CENTS,
    limit: int = PRIME_LIMIT,
) -> list[PlayerRow]:
    """Return a row for each degree, as a tuner whose A4 is `tuner_hz` shows it.

    A ratio that the scale itself has is given as it is, if its numbers' product is at most a
    million. Others get the simplest one (product up to 10,000, no prime over `limit`) within
    `within_cents` and within a third of the way to the next degree, so that no two share one.
    Raises InvalidValue.
    """
    if not 0 <= within_cents <= 100:
        raise InvalidValue("within", within_cents, "cents from 0 to 100")
    rows = []
    for degree in degrees:
        interval = tuning.interval_of_degree(degree)
        hz = tuning.hz_of_degree(degree)
        note, cents = tuner_reading(tuning, interval, tuner_hz)
        within = min(within_cents, _room_cents(tuning.scale, degree))
        ratio, ratio_cents = nearest_ratio(interval, within, limit)
        beat = slowest_beat(interval, hz, tuning.anchor.hz)
        rows.append(
            PlayerRow(degree, note_text(tuning, degree), note, cents, hz, ratio, ratio_cents, *beat)
        )
    return rows


def note_text(tuning: Tuning, degree: int) -> str | None:
    """Return the name of a degree as text, or None if it has none."""
    name = tuning.name_of_degree(degree)
    return None if name is None else str(name)


def tuner_reading(tuning: Tuning, interval: Interval, tuner_hz: float) -> tuple[str, float]:
    """Return the note and the cents that a tuner shows for `interval` above the anchored note.

    The tuner's twelve equal parts are reckoned from its own A4 at `tuner_hz`, 200 to 900 Hz.
    Raises InvalidValue.
    """
    if not LEAST_TUNER_HZ <= tuner_hz <= MOST_TUNER_HZ:
        allowed = f"the tuner's A4 in Hz, from {LEAST_TUNER_HZ:g} to {MOST_TUNER_HZ:g}"
        raise InvalidValue("tuner-hz", tuner_hz, allowed)
    from_a4 = 1200 * math.log2(tuning.anchor.hz / tuner_hz) + interval.cents
    steps = _nearest_step(from_a4)
    return str(name_of(_TWELVE, _A4_DEGREE + steps)), from_a4 - 100 * steps


def nearest_ratio(
    interval: Interval, within_cents: float, limit: int
) -> tuple[str | None, float | None]:
    """Return the ratio a player may think of, and how far the interval lies above it in cents."""
    if (own := own_ratio(interval)) is not None:
        return f"{own[0]}/{own[1]}", 0.0
    tolerance = OCTAVE * Fraction(int(within_cents * 1000), 1_200_000)
    found = near_ratios(interval, tolerance, count=1, most=_MOST_NEAR, limit=limit)
    if not found:
        return None, None
    return f"{found[0].numerator}/{found[0].denominator}", -found[0].error_cents


def own_ratio(interval: Interval) -> tuple[int, int] | None:
    """Return numerator and denominator if the interval is a ratio, their product a million at most.

    None if it is not.
    """
    above = below = 1
    for prime, power in interval.powers:
        if power.denominator != 1 or abs(power) >= _MOST_GIVEN.bit_length():
            return None
        if power > 0:
            above *= prime ** int(power)
        else:
            below *= prime ** int(-power)
    return (above, below) if above * below <= _MOST_GIVEN else None


def slowest_beat(
    interval: Interval, hz: float, other_hz: float
) -> tuple[int, int, float] | tuple[None, None, None]:
    """Return the nearest pair of partials p and q of two notes, and |p·hz − q·other_hz|.

    `interval` is that of the first note above the other, exactly; p and q are the least that can
    be, and at most `LARGEST_PARTIAL`. All are None if that reaches no pair.
    """
    best: tuple[int, int, float] | None = None
    for p in range(1, LARGEST_PARTIAL + 1):
        q = round(p * hz / other_hz)
        rate = abs(p * hz - q * other_hz)
        near = 1 <= q <= LARGEST_PARTIAL and math.gcd(p, q) == 1
        if near and (best is None or rate < best[2]):
            best = p, q, rate
    if best is None:
        return None, None, None
    p, q, rate = best
    if rate < _STANDS_STILL * hz and interval == Interval.ratio(q, p):
        rate = 0.0
    return p, q, rate


def _row(tuning: Tuning, key: int | None, degree: int) -> Row:
    """Return the row of one degree."""
    hz = tuning.hz_of_degree(degree)
    from_anchor = tuning.interval_of_degree(degree).cents
    deviation = from_anchor - 100 * _nearest_step(from_anchor)
    cents = tuning.scale.interval(degree).cents
    return Row(key, degree, note_text(tuning, degree), hz, cents, deviation)


def _nearest_step(cents: float) -> int:
    """Return the nearest of twelve equal steps.

    Rounding the half down makes every exact quarter tone +50, none -50.
    """
    return math.ceil(cents / 100 - 0.5)


def _room_cents(scale: Scale, degree: int) -> float:
    """Return a third of the way from a degree to the nearer of its neighbours, in cents."""
    here = scale.octaves(degree)
    gap = min(scale.octaves(degree + 1) - here, here - scale.octaves(degree - 1))
    return gap * 1200 / 3
