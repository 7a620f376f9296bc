"""A spectrum for a scale: a voice's partials drawn to the nearest degrees.

Where the partials of two notes coincide, roughness is least. If every partial lies on a degree of
an equal division, then so does the interval between any two partials, and the voice is smoothest
at intervals that the scale has. In a scale of unequal steps that holds from degree 0 only.
"""

import bisect
import math
from dataclasses import dataclass

from meantide.pitch import Scale
from meantide.voice.description import AdditiveVoice, Partial

_QUIETEST_DB = -120.0  # of a partial: the least that a voice holds


@dataclass(frozen=True, slots=True)
class Drawn:
    """One partial drawn to a degree: its place before (over the fundamental), the degree, the move.

    `moved_cents` is positive for a partial that moved up.
    """

    ratio: float
    degree: int
    moved_cents: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """A voice whose partials all lie on degrees, and how each partial of the first one got there.

    Its partials are fewer than `drawn` where several met on one degree.
    """

    voice: AdditiveVoice
    drawn: tuple[Drawn, ...]

    @property
    def widest_cents(self) -> float:
        """The farthest that a partial moved, in cents."""
        return max(abs(each.moved_cents) for each in self.drawn)


def fitted(voice: AdditiveVoice, scale: Scale, name: str, source: str) -> Fitted:
    """Return `voice` with each partial, as it sounds, moved to the nearest degree of `scale`.

    Degree 0 lies on the note's pitch; degrees go on over as many periods as the partials reach.
    Partials that meet are merged: their powers add, and the strongest one's decay is kept. The
    envelope and the response to velocity stay. A partial halfway goes to the lower degree.
    """
    drawn, meeting = [], dict[int, list[Partial]]()
    for partial in voice.sounding_partials():
        degree = degree_near(scale, partial.ratio)
        moved = 1200.0 * (scale.octaves(degree) - math.log2(partial.ratio))
        drawn.append(Drawn(partial.ratio, degree, moved))
        meeting.setdefault(degree, []).append(partial)
    partials = tuple(
        _merged(math.exp2(scale.octaves(degree)), meeting[degree]) for degree in sorted(meeting)
    )
    made = AdditiveVoice(
        name=name,
        partials=partials,
        envelope=voice.envelope,
        velocity_exponent=voice.velocity_exponent,
        about=f"the spectrum of {voice.name or 'a voice'}, drawn to {scale.label}",
        source=source,
    )
    return Fitted(made, tuple(drawn))


def degree_near(scale: Scale, ratio: float) -> int:
    """Return the degree nearest in pitch to a frequency ratio above degree 0; of two, the lower."""
    octaves = math.log2(ratio)
    start = math.floor(octaves / scale.period.octaves) * scale.size
    place = bisect.bisect_left(
        range(scale.size), octaves, key=lambda step: scale.octaves(start + step)
    )
    near = range(start + place - 1, start + place + 2)
    return min(near, key=lambda degree: abs(scale.octaves(degree) - octaves))


def _merged(ratio: float, partials: list[Partial]) -> Partial:
    """Return the partials that met at `ratio` as one."""
    power = sum(10.0 ** (partial.level_db / 10.0) for partial in partials)
    strongest = max(partials, key=lambda partial: partial.level_db)
    level_db = max(10.0 * math.log10(power), _QUIETEST_DB)
    return Partial(ratio, level_db, strongest.decay_s)
