"""Beats: where the partials of two notes of a voice nearly coincide, and how fast they beat.

Partial p of a note at f1 Hz and partial q of one at f2 Hz, both near the same frequency, are heard
as one that swells and fades |p·f1 − q·f2| times a second.
"""

import math
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.voice.description import AdditiveVoice
from meantide.voice.envelope import check_range

WIDEST_HZ = 20.0
"""Faster than about this, beats are heard as roughness (common practice, no source)."""
LOWEST_NOTE_HZ, HIGHEST_NOTE_HZ = 1.0, 20_000.0
HIGHEST_HZ = 20_000.0
"""Partials above are left out: few people hear them."""


@dataclass(frozen=True, slots=True)
class Beat:
    """Two partials that beat, one of each note.

    `first` and `second` are the partials as the voice writes them (3 is the third harmonic),
    `first_hz` and `second_hz` where they sound. `level_db` is the weaker one's level re a note at
    velocity 1: the stronger can swell and fade by no more than the weaker.
    """

    first: float
    second: float
    first_hz: float
    second_hz: float
    level_db: float

    @property
    def difference_hz(self) -> float:
        """How far the second note's partial lies above the first's, in Hz; negative below it."""
        return self.second_hz - self.first_hz

    @property
    def rate_hz(self) -> float:
        """Beats a second."""
        return abs(self.difference_hz)


def beats(
    voice: AdditiveVoice, first_hz: float, second_hz: float, widest_hz: float = WIDEST_HZ
) -> tuple[Beat, ...]:
    """Return the beats of `voice` sounding at two pitches (Hz), the strongest first.

    Of equally strong ones the slower comes first; none is faster than `widest_hz`, and one that
    stands still has a rate of 0. Raises InvalidValue for pitches or a rate out of range.
    """
    check_range("Hz", first_hz, LOWEST_NOTE_HZ, HIGHEST_NOTE_HZ)
    check_range("Hz", second_hz, LOWEST_NOTE_HZ, HIGHEST_NOTE_HZ)
    if not 0.0 < widest_hz <= HIGHEST_HZ or not math.isfinite(widest_hz):
        raise InvalidValue("within", widest_hz, f"a number of Hz above 0, to {HIGHEST_HZ:g}")
    lines = [
        (written.ratio, sounding.ratio, sounding.level_db)
        for written, sounding in zip(voice.partials, voice.sounding_partials(), strict=True)
    ]
    found = [
        Beat(p, q, first_hz * p_ratio, second_hz * q_ratio, min(p_db, q_db))
        for p, p_ratio, p_db in lines
        if first_hz * p_ratio <= HIGHEST_HZ
        for q, q_ratio, q_db in lines
        if second_hz * q_ratio <= HIGHEST_HZ
        and abs(first_hz * p_ratio - second_hz * q_ratio) <= widest_hz
    ]
    return tuple(sorted(found, key=lambda beat: (-beat.level_db, beat.rate_hz)))
