"""What an additive voice is, as frozen values, and its tables made ready for one sample rate."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meantide.errors import InvalidValue
from meantide.voice.envelope import SIXTY_DB, Envelope, check_range

MOST_PARTIALS = 256
PADDED_COUNTS = (16, 32, 48, 64, 96, 128, 192, 256)
"""Partials are computed in rows of these lengths, the unused ones silent."""
FADE_FROM, FADE_TO = 0.90, 0.98
"""Partials fade out between these shares of the Nyquist frequency, and are silent above."""


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial: its place over the fundamental, its level, and how long it rings.

    `decay_s` is the time in which it falls 60 dB; None means that it does not die by itself.
    """

    ratio: float
    level_db: float = 0.0
    decay_s: float | None = None

    def __post_init__(self) -> None:
        check_range("ratio", self.ratio, 0.01, 1024.0)
        check_range("level_db", self.level_db, -120.0, 24.0)
        if self.decay_s is not None:
            check_range("decay_s", self.decay_s, 0.01, 600.0)


@dataclass(frozen=True, slots=True)
class AdditiveVoice:
    """A sum of sine partials under one envelope.

    `tilt_db` is added for every octave that a partial lies above the fundamental. With an
    inharmonicity B the partial written n sounds at n·f0·√(1 + B·n²) (stiff string: Fletcher,
    JASA 36 (1964) 203), f0 being such that n = 1 sounds at the pitch asked for. A note's level
    is its velocity to the power `velocity_exponent`.
    """

    name: str
    partials: tuple[Partial, ...]
    envelope: Envelope = field(default_factory=Envelope)
    tilt_db: float = 0.0
    inharmonicity: float = 0.0
    velocity_exponent: float = 1.5
    about: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        if not 1 <= len(self.partials) <= MOST_PARTIALS:
            raise InvalidValue("partials", len(self.partials), f"1 to {MOST_PARTIALS} partials")
        check_range("tilt_db", self.tilt_db, -48.0, 48.0)
        check_range("inharmonicity", self.inharmonicity, 0.0, 0.1)
        check_range("velocity_exponent", self.velocity_exponent, 0.0, 4.0)

    def sounding_partials(self) -> tuple[Partial, ...]:
        """Return the partials as they sound: true ratio to the note's pitch, and level.

        Levels are those of a note at velocity 1: their powers add up to that of a sine at full
        scale, so that voices of any brightness are comparable.
        """
        levels = [p.level_db + self.tilt_db * math.log2(p.ratio) for p in self.partials]
        power_db = 10.0 * math.log10(sum(10.0 ** (level / 10.0) for level in levels))
        return tuple(
            Partial(self._stretched(p.ratio), max(level - power_db, -120.0), p.decay_s)
            for p, level in zip(self.partials, levels, strict=True)
        )

    def velocity_gain(self, velocity: float) -> float:
        """Return the factor on a note's level at `velocity`, 0..1."""
        return float(velocity**self.velocity_exponent)

    def _stretched(self, ratio: float) -> float:
        b = self.inharmonicity
        return ratio * math.sqrt((1.0 + b * ratio * ratio) / (1.0 + b))


@dataclass(frozen=True, slots=True)
class PreparedVoice:
    """A voice made ready for one sample rate: arrays of shape (padded partials,), read only."""

    voice: AdditiveVoice
    rate: int
    count: int
    """The padded count of partials, one of `PADDED_COUNTS`."""
    ratios: NDArray[np.float64]
    levels: NDArray[np.float32]
    """Amplitudes at velocity 1 relative to full scale."""
    decays: NDArray[np.float32]
    """Nepers a sample."""
    phases: NDArray[np.float64]
    """Starting phases, cycles."""


GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


def prepare(voice: AdditiveVoice, rate: int) -> PreparedVoice:
    """Make `voice` ready for `rate` samples a second: control side, not the audio callback.

    Starting phases follow the golden section, which keeps the peaks of bright spectra low.
    """
    partials = voice.sounding_partials()
    count = next(c for c in PADDED_COUNTS if c >= len(partials))
    ratios = np.ones(count)
    levels, decays = np.zeros(count, np.float32), np.zeros(count, np.float32)
    phases = np.arange(count, dtype=np.float64)
    phases *= GOLDEN
    phases %= 1.0
    for k, partial in enumerate(partials):
        ratios[k] = partial.ratio
        levels[k] = 10.0 ** (partial.level_db / 20.0)
        decays[k] = SIXTY_DB / (partial.decay_s * rate) if partial.decay_s else 0.0
    prepared = PreparedVoice(
        voice,
        rate,
        count,
        ratios,
        levels,
        decays,
        phases,
    )
    for array in (prepared.ratios, prepared.levels, prepared.decays, prepared.phases):
        array.flags.writeable = False
    return prepared


def nyquist_fade(frequencies: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return the factor, 1 to 0, on partials at `frequencies` (cycles a sample, any shape)."""
    place = (frequencies * 2.0 - FADE_FROM) * (1.0 / (FADE_TO - FADE_FROM))
    np.clip(place, 0.0, 1.0, out=place)
    fade: NDArray[np.float64] = np.cos(0.5 * math.pi * place) ** 2
    fade[place >= 1.0] = 0.0
    return fade.astype(np.float32)
