"""A short audition of a voice in a tuning: a score, so that a take of it can be proved.

The same for every voice, so that voices can be compared:

1. the middle note, soft and short, then loud and held, so that its decay and vibrato are heard;
2. the low and the high note, some two octaves to either side;
3. a chord of the scale, quietly: 4:5:6 or 3:5:7, whichever the scale comes nearer to;
4. with a voice that answers to pressure or timbre, the middle note once more for each of the two
   that it answers to, swept all the way up and down.

Each begins when the one before has died away, or after `LONGEST_WAIT_S`; a voice that comes slowly
is held by so much longer (`LONGEST_RISE_S` at most).
"""

import math
from collections.abc import Iterator
from fractions import Fraction

from meantide.offline.score import Score, ScoreNote, ScorePart, ScoreTouch
from meantide.perform.event import Kind, Pitch, PitchKind
from meantide.pitch import Interval, Scale, Tuning
from meantide.pitch.nearness import nearest_degree
from meantide.voice.description import AdditiveVoice
from meantide.voice.touch import RESTING_TIMBRE, Answer
from meantide.voice.voices import Voice

MIDDLE_HZ = 261.6
"""The middle note is the anchored one, in that period in which it comes nearest to here."""
AWAY_OCTAVES = 2.0
SOFT, MIDDLING, LOUD = 0.25, 0.5, 0.9
LONGEST_WAIT_S = 3.0
LONGEST_RISE_S = 4.0
SWEEP_S = Fraction(5)
CHORDS = (
    (Interval.ratio(5, 4), Interval.ratio(3, 2)),
    (Interval.ratio(5, 3), Interval.ratio(7, 3)),
)


def audition(voice: Voice, tuning: Tuning) -> Score:
    """Return the score of the audition, some twenty seconds long."""
    middle = middle_degree(tuning)
    away = round(AWAY_OCTAVES / tuning.scale.period.octaves) * tuning.scale.size
    phrase: tuple[tuple[tuple[int, ...], Fraction, float], ...] = (
        ((middle,), Fraction(1), SOFT),
        ((middle,), Fraction(4), LOUD),
        ((middle - away,), Fraction(2), MIDDLING),
        ((middle + away,), Fraction(2), MIDDLING),
        (chord(tuning.scale, middle), Fraction(3), MIDDLING),
    )
    longer_s = _tenths(min(rise_s(voice), LONGEST_RISE_S))
    wait_s = _tenths(min(voice.gone_s, LONGEST_WAIT_S)) + Fraction(1, 10)
    notes: list[ScoreNote] = []
    start_s = Fraction(0)
    for degrees, held_s, velocity in phrase:
        length_s = held_s + longer_s
        for degree in degrees:
            pitch = Pitch(PitchKind.DEGREE, float(degree))
            notes.append(ScoreNote(start_s, length_s, pitch, {"degree": degree}, velocity))
        start_s += length_s + wait_s
    for kind, sweep in _sweeps(voice):
        pitch = Pitch(PitchKind.DEGREE, float(middle))
        touches = tuple(
            ScoreTouch(kind, start_s + longer_s + at_s, amount, over_s)
            for at_s, amount, over_s in sweep
        )
        asked = {"degree": middle}
        length_s = SWEEP_S + longer_s
        notes.append(ScoreNote(start_s, length_s, pitch, asked, MIDDLING, touches=touches))
        start_s += length_s + wait_s
    title = f"audition of {voice.name} in {tuning.scale.label}"
    return Score(title, tuning, (ScorePart("audition", voice, tuple(notes)),))


Sweep = tuple[tuple[Fraction, float, Fraction], ...]
"""Seconds after the note has risen, what it goes to from then on, and within how long."""


def _sweeps(voice: Voice) -> Iterator[tuple[Kind, Sweep]]:
    """Give the touches that the voice answers to.

    Pressure goes from rest to all of it and back, timbre from its middle to all, none, and back.
    """
    s = Fraction(1, 2)
    if voice.response.pressure != Answer():
        yield Kind.PRESSURE, ((s, 1.0, 4 * s), (6 * s, 0.0, 2 * s))
    if voice.response.timbre != Answer():
        yield (
            Kind.TIMBRE,
            ((s, 1.0, 2 * s), (4 * s, 0.0, 3 * s), (8 * s, RESTING_TIMBRE, s)),
        )


def rise_s(voice: Voice) -> float:
    """Return the seconds until a note, and every operator of it that is heard, has risen."""
    if isinstance(voice, AdditiveVoice):
        envelopes = [voice.envelope]
    else:
        envelopes = [each.envelope for each in voice.operators if each.level_db is not None]
    return max(each.delay_s + each.attack_s for each in envelopes)


def _tenths(seconds: float) -> Fraction:
    return Fraction(math.ceil(10.0 * seconds), 10)


def middle_degree(tuning: Tuning) -> int:
    """Return the degree of the middle note."""
    octaves = math.log2(MIDDLE_HZ / tuning.anchor.hz)
    periods = round(octaves / tuning.scale.period.octaves)
    return tuning.anchor_degree + periods * tuning.scale.size


def chord(scale: Scale, root: int) -> tuple[int, int, int]:
    """Return the degrees of a chord of three notes over `root`.

    It is that of `CHORDS` whose intervals, counted from degree 0, the scale comes nearer to.
    """

    def error(ratios: tuple[Interval, Interval]) -> float:
        return sum(abs(nearest_degree(scale, ratio)[1].cents) for ratio in ratios)

    third, fifth = (nearest_degree(scale, ratio)[0] for ratio in min(CHORDS, key=error))
    return root, root + third, root + fifth
