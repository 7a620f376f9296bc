"""What an additive voice is, as frozen values."""

import math
from dataclasses import dataclass, field

from meantide.errors import InvalidValue
from meantide.voice.envelope import Envelope, check_range
from meantide.voice.purpose import check_purpose, trim_at
from meantide.voice.touch import Response, Vibrato

MOST_PARTIALS = 256
MOST_FORMANTS = 8
QUIETEST_DB = -120.0
"""Partials are no quieter than that: silent, in effect."""


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial: its place over the fundamental, its level, and how it comes and goes.

    `decay_s` is the time in which it falls 60 dB; None means that it does not die by itself.
    `attack_s` is the time in which it comes to 90 % after the note has begun; None means at once.
    """

    ratio: float
    level_db: float = 0.0
    decay_s: float | None = None
    attack_s: float | None = None

    def __post_init__(self) -> None:
        check_range("ratio", self.ratio, 0.01, 1024.0)
        check_range("level_db", self.level_db, QUIETEST_DB, 24.0)
        if self.decay_s is not None:
            check_range("decay_s", self.decay_s, 0.01, 600.0)
        if self.attack_s is not None:
            check_range("attack_s", self.attack_s, 0.001, 60.0)


@dataclass(frozen=True, slots=True)
class Law:
    """A time that depends on a partial's ratio r: `seconds` · r^`power`, for those that state none.

    As a decay with a negative power it lets high partials die sooner.
    """

    seconds: float
    power: float = 0.0

    def __post_init__(self) -> None:
        check_range("seconds", self.seconds, 0.001, 600.0)
        check_range("power", self.power, -4.0, 4.0)

    def at(self, ratio: float, shortest: float, longest: float) -> float:
        """Return the time of a partial at `ratio`, within the two bounds."""
        return min(max(self.seconds * float(ratio**self.power), shortest), longest)


@dataclass(frozen=True, slots=True)
class SecondTable:
    """Other levels for the same partials, towards which the voice's colour leads.

    `levels_db`, one a partial, are in place of the first table's; empty: they are the same.
    """

    levels_db: tuple[float, ...] = ()
    tilt_db: float = 0.0
    even_db: float = 0.0

    def __post_init__(self) -> None:
        for place, level_db in enumerate(self.levels_db, start=1):
            check_range(f"levels_db item {place}", level_db, QUIETEST_DB, 24.0)
        check_range("tilt_db", self.tilt_db, -48.0, 48.0)
        check_range("even_db", self.even_db, -60.0, 24.0)


@dataclass(frozen=True, slots=True)
class Formant:
    """A peak that stands at a frequency, whatever is played: `gain_db` / (1 + (2(f - hz)/width)²).

    The gains of all formants add, in dB; the highest point of the sum is no gain and all else lies
    below it.
    """

    hz: float
    width_hz: float
    gain_db: float

    def __post_init__(self) -> None:
        check_range("hz", self.hz, 10.0, 24_000.0)
        check_range("width_hz", self.width_hz, 1.0, 24_000.0)
        check_range("gain_db", self.gain_db, -48.0, 48.0)


@dataclass(frozen=True, slots=True)
class Drift:
    """A slow wandering of each partial by itself: a sine of its own rate and phase.

    The rates lie between half of `rate_hz` and one and a half of it.
    """

    cents: float = 0.0
    level_db: float = 0.0
    rate_hz: float = 0.3

    def __post_init__(self) -> None:
        check_range("cents", self.cents, 0.0, 100.0)
        check_range("level_db", self.level_db, 0.0, 12.0)
        check_range("rate_hz", self.rate_hz, 0.001, 10.0)


@dataclass(frozen=True, slots=True)
class Unison:
    """Every partial `count` times, evenly over `spread_cents`, which lie around its place."""

    count: int = 1
    spread_cents: float = 0.0

    def __post_init__(self) -> None:
        if isinstance(self.count, bool) or not isinstance(self.count, int):
            raise InvalidValue("count", self.count, "a whole number from 1 to 16")
        check_range("count", self.count, 1, 16)
        check_range("spread_cents", self.spread_cents, 0.0, 200.0)

    def offsets_cents(self) -> tuple[float, ...]:
        """Return where each copy lies, in cents."""
        if self.count == 1:
            return (0.0,)
        step = self.spread_cents / (self.count - 1)
        return tuple(step * copy - self.spread_cents / 2.0 for copy in range(self.count))


@dataclass(frozen=True, slots=True)
class Breath:
    """Noise under the note's own envelope: a hump at `hz`, `octaves` wide where it is 4 dB down.

    `level_db` is its power relative to that of the partials at full level; the quietest is none.
    """

    level_db: float = QUIETEST_DB
    hz: float = 2000.0
    octaves: float = 3.0

    def __post_init__(self) -> None:
        check_range("level_db", self.level_db, QUIETEST_DB, 12.0)
        check_range("hz", self.hz, 40.0, 20_000.0)
        check_range("octaves", self.octaves, 0.5, 10.0)


@dataclass(frozen=True, slots=True)
class AdditiveVoice:
    """A sum of sine partials under one envelope.

    A partial written n has the number n, from which follows where it sounds:

    - `stretch` S puts it at S^log2(n): octaves of partials are S instead of 2;
    - `inharmonicity` B multiplies that, r, by √((1 + B·r²)/(1 + B)), as the stiffness of a string
      does (Fletcher, JASA 36 (1964) 203), n = 1 staying at the pitch asked for;
    - `drawn` moves it that share (0..1) of the way, in cents, to the nearest degree of the scale.

    To its level `tilt_db` is added for every octave that n lies above 1, and `even_db` if n is an
    even whole number. `colour`, 0 to 1, is how far the levels stand from the first table towards
    the second one; touch moves it. A note's level is its velocity to the power
    `velocity_exponent`; `level_db` trims the voice, and `trims_db` by pitch, evenly from the
    lowest to the highest note that it is meant for.
    """

    name: str
    partials: tuple[Partial, ...]
    envelope: Envelope = field(default_factory=Envelope)
    tilt_db: float = 0.0
    even_db: float = 0.0
    stretch: float = 2.0
    inharmonicity: float = 0.0
    drawn: float = 0.0
    decay: Law | None = None
    attack: Law | None = None
    second: SecondTable | None = None
    colour: float = 0.0
    formants: tuple[Formant, ...] = ()
    drift: Drift = field(default_factory=Drift)
    unison: Unison = field(default_factory=Unison)
    breath: Breath = field(default_factory=Breath)
    vibrato: Vibrato = field(default_factory=Vibrato)
    response: Response = field(default_factory=Response)
    velocity_exponent: float = 1.5
    level_db: float = 0.0
    trims_db: tuple[float, ...] = ()
    family: str = ""
    lowest_hz: float = 20.0
    highest_hz: float = 2000.0
    about: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        copies = self.unison.count
        if not 1 <= len(self.partials) * copies <= MOST_PARTIALS:
            got = len(self.partials) if copies == 1 else f"{len(self.partials)} times {copies}"
            raise InvalidValue("partials", got, f"1 to {MOST_PARTIALS} partials")
        check_range("tilt_db", self.tilt_db, -48.0, 48.0)
        check_range("even_db", self.even_db, -60.0, 24.0)
        check_range("stretch", self.stretch, 1.5, 3.0)
        check_range("inharmonicity", self.inharmonicity, 0.0, 0.1)
        check_range("drawn", self.drawn, 0.0, 1.0)
        check_range("colour", self.colour, 0.0, 1.0)
        check_range("velocity_exponent", self.velocity_exponent, 0.0, 4.0)
        check_range("level_db", self.level_db, -60.0, 12.0)
        check_purpose(self.family, self.lowest_hz, self.highest_hz, self.trims_db)
        if len(self.formants) > MOST_FORMANTS:
            raise InvalidValue("formants", len(self.formants), f"at most {MOST_FORMANTS}")
        second = self.second
        if second is not None and len(second.levels_db) not in (0, len(self.partials)):
            allowed = f"{len(self.partials)}, one for each partial"
            raise InvalidValue("second", f"{len(second.levels_db)} levels", allowed)

    def sounding_partials(self) -> tuple[Partial, ...]:
        """Return the partials as they sound: true ratio to the note's pitch, level, times.

        Levels are those of a note at velocity 1, colour at rest, before formants and the voice's
        trim: their powers add up to that of a sine at full scale, so that voices of any brightness
        are comparable. Of a unison the middle stands for all; partials are not drawn to a scale.
        """
        first, second = self.table_levels()
        levels = [a + (b - a) * self.colour for a, b in zip(first, second, strict=True)]
        return tuple(
            Partial(
                self._placed(p.ratio),
                max(20.0 * math.log10(max(level, 1e-9)), QUIETEST_DB),
                self._time(p.decay_s, self.decay, p.ratio, 0.01, 600.0),
                self._time(p.attack_s, self.attack, p.ratio, 0.001, 60.0),
            )
            for p, level in zip(self.partials, levels, strict=True)
        )

    def table_levels(self) -> tuple[list[float], list[float]]:
        """Return the amplitudes of both tables, each with the power of a sine at full scale."""
        own = [p.level_db for p in self.partials]
        first = self._normalised(own, self.tilt_db, self.even_db)
        if self.second is None:
            return first, first
        second = self.second
        levels = list(second.levels_db) or own
        return first, self._normalised(levels, second.tilt_db, second.even_db)

    @property
    def gone_s(self) -> float:
        """Seconds from a note's release until it is silent."""
        return self.envelope.gone_s

    def note_gain(self, velocity: float, hz: float) -> float:
        """Return the factor on a note's level at `velocity`, above 0 to 1, with the trims."""
        trim_db = trim_at(self.trims_db, self.lowest_hz, self.highest_hz, hz)
        return float(velocity**self.velocity_exponent * 10.0 ** ((self.level_db + trim_db) / 20.0))

    def _normalised(self, levels_db: list[float], tilt_db: float, even_db: float) -> list[float]:
        tilted = [
            level + tilt_db * math.log2(p.ratio) + (even_db if p.ratio % 2.0 == 0.0 else 0.0)
            for p, level in zip(self.partials, levels_db, strict=True)
        ]
        loudest = max(tilted)  # first, so that no power is too small or large for a float
        amplitudes = [10.0 ** (max(level - loudest, -240.0) / 20.0) for level in tilted]
        whole = math.sqrt(sum(a * a for a in amplitudes))
        return [a / whole for a in amplitudes]

    def _placed(self, n: float) -> float:
        ratio = n if self.stretch == 2.0 else float(self.stretch ** math.log2(n))
        b = self.inharmonicity
        return ratio * math.sqrt((1.0 + b * ratio * ratio) / (1.0 + b))

    def _time(
        self, own: float | None, law: Law | None, n: float, shortest: float, longest: float
    ) -> float | None:
        if own is not None or law is None:
            return own
        return law.at(n, shortest, longest)
