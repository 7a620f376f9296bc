"""What the log of a take says of FM voices: their sidebands, as far as they can be listed."""

from functools import lru_cache

import numpy as np

from meantide.offline.partials import Reals
from meantide.offline.sidebands import Generators, Sidebands, generators, lines
from meantide.offline.takelog_voice import LoggedPartial
from meantide.voice.course import COLOUR_DB
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.fm_description import FmVoice
from meantide.voice.fm_operators import sum_of_operators
from meantide.voice.fm_points import DEPTH, LEVEL, MOST_PATHS, SHARE, SOURCES
from meantide.voice.fm_prepared import PreparedFm, prepare_fm
from meantide.voice.touch import Source

_RATE = 48_000  # what is asked of a voice here does not depend on it
_UNSURE_DB = 200.0  # envelopes and touch may take any sideband away
_KEY_OCTAVES = 4.0  # above and below middle C


def fm_partials(
    voice: FmVoice, hz: float = 1.0, grid: DegreeGrid | None = None
) -> tuple[LoggedPartial, ...]:
    """Return the lines of an FM voice, of a note at `hz` in the tuning of `grid`.

    None where its operators have too many independent frequencies to list them: nothing can be
    said of its notes then. Lines that do not follow the note at all are left out.
    """
    prepared, found = prepare_fm(voice, _RATE), _lines(voice)
    if found is None:
        return ()
    ratios, offsets_hz = found.places(_generators(prepared, prepared.ratios_for(hz, grid)))
    decay_s = _decay_s(voice)
    with np.errstate(divide="ignore"):
        levels_db = 20.0 * np.log10(found.amplitude)
    return tuple(
        LoggedPartial(
            float(ratio),
            float(level_db),
            decay_s,
            quieter_db=_UNSURE_DB,
            offset_hz=float(offset_hz),
            turns=bool(turns),
        )
        for ratio, offset_hz, level_db, turns in zip(
            ratios, offsets_hz, levels_db, found.turns, strict=True
        )
        if ratio > 0.0
    )


def fm_quieter_db(voice: FmVoice) -> float:
    """Return how much fainter than its level a note may be by its operators' own scaling."""
    heard = [each for each in voice.operators if each.level_db is not None]
    least = []
    for each in heard:
        stays_db = 0.0 if _decay_s(voice) else min(-each.envelope.sustain_db, _UNSURE_DB)
        waits_db = _UNSURE_DB if each.envelope.delay_s else 0.0
        least.append(each.velocity_db + abs(each.key_db) * _KEY_OCTAVES + max(stays_db, waits_db))
    return max(least)


def _decay_s(voice: FmVoice) -> float | None:
    """Return in how many seconds a held note falls by 60 dB, None if it does not die."""
    envelopes = [each.envelope for each in voice.operators if each.level_db is not None]
    if any(each.sustain > 0.0 or each.repeats for each in envelopes):
        return None
    return max(each.delay_s + each.attack_s + each.hold_s + each.decay_s for each in envelopes)


def _generators(prepared: PreparedFm, ratios: Reals) -> Generators:
    """Return what the operators are made of; those that the scale places stand by themselves.

    So the lines of a voice are the same combinations in any tuning.
    """
    used = range(prepared.count)
    follows = [bool(prepared.following[k]) for k in used]
    by_scale = [k for k in used if not np.isnan(prepared.degrees[k])]
    fixed = generators(
        [float(ratios[k]) if follows[k] and k not in by_scale else None for k in used],
        [None if follows[k] else float(ratios[k]) * _RATE for k in used],
    )
    if not by_scale:
        return fixed
    # those of the scale were taken for a fixed frequency of 0 Hz: each gets a place of its own
    keep = sorted({fixed.of[k] for k in used if k not in by_scale})
    of = [len(keep) + by_scale.index(k) if k in by_scale else keep.index(fixed.of[k]) for k in used]
    return Generators(
        tuple(of),
        fixed.steps,
        (*(fixed.ratio[g] for g in keep), *(float(ratios[k]) for k in by_scale)),
        (*(fixed.hz[g] for g in keep), *(0.0 for _ in by_scale)),
    )


@lru_cache(maxsize=64)
def _lines(voice: FmVoice) -> Sidebands | None:
    prepared = prepare_fm(voice, _RATE)
    count = prepared.count
    levels, feedback = (prepared.shape[at : at + count] for at in (LEVEL, SHARE))
    indices = prepared.shape[DEPTH : DEPTH + MOST_PATHS]
    colour = sum(max(voice.response.of(source).colour, 0.0) for source in Source)
    fuller = 10.0 ** (colour * COLOUR_DB / 20.0)
    sources = [min(source, count - 1) for source in SOURCES]

    def sound(cycles: Reals, shares: Reals) -> Reals:
        return sum_of_operators(
            cycles + prepared.phases[:count, None],
            (levels * shares)[:, None],
            np.clip(feedback * shares * fuller, -1.0, 1.0)[:, None],
            (indices * shares[sources] * fuller)[:, None],
        )

    return lines(_generators(prepared, prepared.ratios), sound)
