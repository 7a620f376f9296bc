"""The components of a note that was looked at: what its voice states, beside what was measured."""

import math
from dataclasses import dataclass, replace

import numpy as np

from meantide.offline.partials import Reals
from meantide.offline.voice_study import FAINTEST_DB, STEADY_S, VoiceStudy
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice, Unison
from meantide.voice.prepared import FADE_FROM, prepare_additive

_NEAR_HZ = 2.0 / STEADY_S
"""A line so near to where a partial is stated to be is that partial."""


@dataclass(frozen=True, slots=True)
class Component:
    """One component, by its ratio over the note.

    `level_db` is measured re the strongest, None if it is none of the lines found; what the voice
    states is None where it states nothing. Times are as in `Partial`.
    """

    ratio: float
    cents: float
    hz: float
    level_db: float | None
    stated_db: float | None = None
    attack_s: float | None = None
    decay_s: float | None = None


def components_of(study: VoiceStudy) -> tuple[Component, ...]:
    """Return the components by rising frequency: the partials that an additive voice states.

    Levels stated are re the strongest, too, and before any formants. An FM voice states none, and
    has the lines that were found.
    """
    voice, struck, found = study.voice, study.struck, study.spectrum
    if not isinstance(voice, AdditiveVoice):
        lines = zip(found.hz.tolist(), found.levels_db.tolist(), strict=True)
        return tuple(
            Component(hz / struck.hz, 1200.0 * math.log2(hz / struck.hz), hz, level_db)
            for hz, level_db in lines
        )
    partials = voice.sounding_partials()
    still = replace(voice, unison=Unison())
    grid = DegreeGrid.of(struck.tuning)
    ratios = prepare_additive(still, struck.rate).ratios_for(struck.hz, grid)[: len(partials)]
    loudest_db = max(partial.level_db for partial in partials)
    stated = sorted(zip(ratios.tolist(), partials, strict=True), key=lambda pair: pair[0])
    return tuple(
        Component(
            ratio,
            1200.0 * math.log2(ratio),
            ratio * struck.hz,
            _level_at(ratio * struck.hz, found.hz, found.levels_db),
            partial.level_db - loudest_db,
            partial.attack_s,
            partial.decay_s,
        )
        for ratio, partial in stated
    )


def whole_to_hz(study: VoiceStudy) -> float:
    """Return the highest note at which all is there as it should be.

    Of an additive voice: all partials within 80 dB, none faded out. Those near half the rate are
    faded out, and those above are left out: none ever folds. Of an FM voice, that up to which
    it promises indices that are not held down.
    """
    if not isinstance(study.voice, AdditiveVoice):
        return study.voice.highest_hz
    ratios = [each.ratio for each in components_of(study) if (each.stated_db or 0.0) >= FAINTEST_DB]
    return FADE_FROM * study.struck.rate / 2.0 / max(ratios)


def _level_at(hz: float, lines_hz: Reals, levels_db: Reals) -> float | None:
    """Return the level of the line nearest to `hz`, if there is one."""
    if not len(lines_hz):
        return None
    nearest = int(np.abs(lines_hz - hz).argmin())
    return float(levels_db[nearest]) if abs(lines_hz[nearest] - hz) <= _NEAR_HZ else None
