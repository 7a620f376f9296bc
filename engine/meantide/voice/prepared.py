"""Additive voices made ready for one sample rate: read-only arrays, built on the control side."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.voice.breath_noise import band_gains
from meantide.voice.course import NEPERS_PER_CENT, NEPERS_PER_DB, CourseTemplate
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import MOST_FORMANTS, QUIETEST_DB, AdditiveVoice
from meantide.voice.envelope import SIXTY_DB
from meantide.voice.kernel import F32, F64

PADDED_COUNTS = (16, 32, 48, 64, 96, 128, 192, 256)
"""Partials are computed in rows of these lengths, the unused ones silent."""
FADE_FROM, FADE_TO = 0.90, 0.98
"""Partials fade out between these shares of the Nyquist frequency, and are silent above."""
GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
RISING = -math.log(1.0 - math.sqrt(0.9))
"""(1 - e^-x)² is 0.9 at this x: what a partial's attack time is measured by."""


ADDITIVE = np.dtype(
    [
        (name, np.float64)
        for name in (
            "ratio_arrive", "former_slope", "former_arrive", "drift_nepers", "drift_level",
            "former_drift", "former_drift_level",
            "formant_top", "decaying", "rising", "drifting", "shaped", "breathing",
        )
    ]
)  # fmt: skip
"""One note's numbers beside its course: ages in samples, drift in nepers of pitch and of level,
and flags (0 or 1) that say what it has; see `NoteTable`."""


@dataclass(frozen=True, slots=True)
class PreparedVoice:
    """A voice made ready for one sample rate: arrays of shape (padded partials,), read only."""

    voice: AdditiveVoice
    rate: int
    count: int
    """The padded count of partials, one of `PADDED_COUNTS`."""
    ratios: F64
    detunes: F64
    """Factors that spread the copies of a unison."""
    levels: F32
    """Amplitudes at velocity 1 relative to full scale, by the first table."""
    second_levels: F32
    decays: F32
    """Nepers a sample."""
    rises: F32
    """The x of (1 - e^-x)² a sample; 0 for a partial that is there at once."""
    phases: F64
    """Starting phases, cycles."""
    drift_rates: F64
    """Cycles a sample."""
    formants: F64
    """(MOST_FORMANTS, 3): place in cycles a sample, 1 / half width, gain in nepers."""
    breath: F32
    """Amplitudes of the bands of `breath_noise`, of unit power together."""
    record: NDArray[np.void]
    """An `ADDITIVE` record as its notes begin with."""
    course: CourseTemplate

    @property
    def bank(self) -> tuple[str, int]:
        """Which notes can share a bank."""
        return ("additive", self.count)

    @property
    def drifts(self) -> bool:
        """Tell whether partials drift."""
        return bool(self.record["drifting"])

    @property
    def follows_scale(self) -> bool:
        """Tell whether partials are drawn to degrees."""
        return self.voice.drawn > 0.0

    def drift_phases_for(self, seed: int) -> F64:
        """Return where the drift of each partial begins, in cycles, in the note of that seed."""
        phases: F64 = (self.phases * 7.0 + seed * math.pi) % 1.0
        return phases

    def ratios_for(self, hz: float, grid: DegreeGrid | None) -> F64:
        """Return the partials' ratios over a note at `hz`; the first stays at the pitch itself."""
        if grid is None or not self.follows_scale:
            return self.ratios * self.detunes
        drawn = grid.drawn(hz, self.ratios, self.voice.drawn)
        ratios: F64 = np.where(self.ratios == 1.0, 1.0, drawn) * self.detunes
        return ratios


def prepare_additive(voice: AdditiveVoice, rate: int) -> PreparedVoice:
    """Make `voice` ready for `rate` samples a second: control side, not the audio callback.

    Starting phases follow the golden section, which keeps the peaks of bright spectra low.
    """
    offsets = voice.unison.offsets_cents()
    copies = len(offsets)
    partials = voice.sounding_partials()
    used = len(partials) * copies
    count = next(c for c in PADDED_COUNTS if c >= used)

    def padded(values: list[float], rest: float = 0.0) -> F64:
        array = np.full(count, rest)
        array[:used] = np.repeat(np.array(values), copies)
        return array

    share = 1.0 / math.sqrt(copies)
    first, second = voice.table_levels()
    detunes = np.ones(count)
    detunes[:used] = np.tile(np.exp(np.array(offsets) * NEPERS_PER_CENT), len(partials))
    places = np.arange(count, dtype=np.float64)
    phases = places * GOLDEN % 1.0
    drift_rates = voice.drift.rate_hz / rate * (0.5 + (places * math.sqrt(2.0)) % 1.0)
    formants, top = _formants(voice, rate)
    breath = band_gains(voice.breath.hz, voice.breath.octaves, rate)
    prepared = PreparedVoice(
        voice=voice,
        rate=rate,
        count=count,
        ratios=padded([p.ratio for p in partials], 1.0),
        detunes=detunes,
        levels=padded([a * share for a in first]).astype(np.float32),
        second_levels=padded([a * share for a in second]).astype(np.float32),
        decays=padded(
            [SIXTY_DB / (p.decay_s * rate) if p.decay_s else 0.0 for p in partials]
        ).astype(np.float32),
        rises=padded(
            [RISING / (p.attack_s * rate) if p.attack_s else 0.0 for p in partials]
        ).astype(np.float32),
        phases=phases,
        drift_rates=drift_rates,
        formants=formants,
        breath=breath,
        record=_record(voice, top),
        course=CourseTemplate.of(
            voice.vibrato, voice.response, voice.colour, rate, voice.breath.level_db
        ),
    )
    for name in ("ratios", "detunes", "levels", "second_levels", "decays", "rises", "phases",
                 "drift_rates", "formants", "breath"):  # fmt: skip
        getattr(prepared, name).flags.writeable = False
    return prepared


def _record(voice: AdditiveVoice, formant_top: float) -> NDArray[np.void]:
    times = voice.sounding_partials()
    record = np.zeros((), ADDITIVE)
    record["formant_top"] = formant_top
    record["shaped"] = bool(voice.formants)
    record["drift_nepers"] = voice.drift.cents * NEPERS_PER_CENT
    record["drift_level"] = voice.drift.level_db * NEPERS_PER_DB
    record["drifting"] = voice.drift.cents > 0.0 or voice.drift.level_db > 0.0
    record["breathing"] = voice.breath.level_db > QUIETEST_DB
    record["decaying"] = any(p.decay_s for p in times)
    record["rising"] = any(p.attack_s for p in times)
    return record


def _formants(voice: AdditiveVoice, rate: int) -> tuple[F64, float]:
    """Return the table of formants, and the highest point of their sum in nepers."""
    table = np.zeros((MOST_FORMANTS, 3))
    for row, formant in zip(table, voice.formants, strict=False):
        row[:] = formant.hz / rate, 2.0 * rate / formant.width_hz, formant.gain_db * NEPERS_PER_DB
    if not voice.formants:
        return table, 0.0
    centres = [formant.hz for formant in voice.formants]
    frequencies = np.concatenate([np.geomspace(10.0, 24_000.0, 4096), centres])
    return table, float(formant_nepers(table, frequencies / rate).max())


def formant_nepers(table: F64, frequencies: F64) -> F64:
    """Return the gains, in nepers, that formants give at `frequencies` (cycles a sample).

    `table` (.., MOST_FORMANTS, 3), `frequencies` (.., partials).
    """
    place, by_half_width, gain = (table[..., column][..., None] for column in range(3))
    off = (frequencies[..., None, :] - place) * by_half_width
    nepers: F64 = (gain / (1.0 + off * off)).sum(axis=-2)
    return nepers


def nyquist_fade(frequencies: F64) -> F32:
    """Return the factor, 1 to 0, on partials at `frequencies` (cycles a sample, any shape)."""
    place = (frequencies * 2.0 - FADE_FROM) * (1.0 / (FADE_TO - FADE_FROM))
    np.clip(place, 0.0, 1.0, out=place)
    fade: NDArray[np.float64] = np.cos(0.5 * math.pi * place) ** 2
    fade[place >= 1.0] = 0.0
    return fade.astype(np.float32)
