"""How loud a voice is over its range, and the trims that make it as loud as all others.

A note is struck at velocity 0.7, untouched, one channel's worth of it in the middle, the engine at
0 dB. Its loudness (BS.1770-5) is

- of a voice that dies away though it is held, that of its loudest 400 ms: momentary, the maximum of
  the second after it has risen;
- of any other, that of the 3 s after it has risen: short-term.

A choice of ours: no standard says over how long a note is to be heard.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from meantide.offline.audition import rise_s
from meantide.perform.loudness import STEPS_A_SECOND, Loudness
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice
from meantide.voice.kernel import F64, Kernel
from meantide.voice.purpose import MOST_TRIMS, trim_at
from meantide.voice.voices import Voice, make_bank, prepare

TARGET_LUFS = -14.0
"""What a note of each voice that is shipped has: some 13 LU under that of a full-scale sine in
both channels, so that voices with sharp peaks need not be cut."""
VELOCITY = 0.7
RATE = 48_000
DYING_S, HELD_S = 1, 3
CLOSE_LU = 0.45
"""So close to the target trims are to bring every note measured: under half of 1 LU."""
STEP_CENTS = 200.0
TRIMS_AN_OCTAVE = 4
"""More would follow one note and not its neighbours."""
FOLLOWED = Tuning(Scale.equal(12), Anchor(440.0 * 2.0**-0.75, degree=0))
"""Voices that follow the scale are measured in this one."""


@dataclass(frozen=True, slots=True)
class Matched:
    """A voice with its trims, and the loudness of it at `notes_hz` (notes,), LUFS."""

    voice: Voice
    notes_hz: tuple[float, ...]
    loudness_lufs: tuple[float, ...]

    @property
    def furthest_lu(self) -> float:
        """How far the loudness is from the target at most."""
        return max(abs(each - TARGET_LUFS) for each in self.loudness_lufs)


def dies_away(voice: Voice) -> bool:
    """Tell whether a held note of the voice comes to nothing by itself."""
    if isinstance(voice, AdditiveVoice):
        partials = voice.sounding_partials()
        return voice.envelope.sustain == 0.0 or all(each.decay_s is not None for each in partials)
    heard = (each for each in voice.operators if each.level_db is not None)
    return all(each.envelope.sustain == 0.0 for each in heard)


def loudness_at(voice: Voice, hz: float, kernel: Kernel) -> float:
    """Return the loudness, in LUFS, of a note at `hz`."""
    prepared = prepare(voice, RATE)
    bank = make_bank(prepared, 1, RATE, kernel)
    bank.start(0, prepared, Strike(hz, VELOCITY, DegreeGrid.of(FOLLOWED)))
    step = RATE // STEPS_A_SECOND
    meter = Loudness(RATE, step)
    sound = np.zeros((2, step), np.float32)
    middle = np.full((2, 1), math.sqrt(0.5), np.float32)
    dying = dies_away(voice)
    risen = math.ceil(Fraction(rise_s(voice)) * STEPS_A_SECOND)
    loudest = -math.inf
    for _ in range(risen + (DYING_S if dying else HELD_S) * STEPS_A_SECOND):
        bank.read(np.array([0]), middle, sound)
        meter.read(sound)
        loudest = max(loudest, meter.momentary_lufs)
    return loudest if dying else meter.short_term_lufs


def notes_over(voice: Voice, step_cents: float = STEP_CENTS) -> tuple[float, ...]:
    """Return notes from the lowest to the highest of the voice's range, evenly in cents."""
    octaves = math.log2(voice.highest_hz / voice.lowest_hz)
    count = math.ceil(1200.0 * octaves / step_cents - 1e-9)
    return tuple(
        voice.lowest_hz * 2.0 ** (octaves * place / max(count, 1)) for place in range(count + 1)
    )


def measured(voice: Voice, kernel: Kernel) -> Matched:
    """Return the voice as it is, with its loudness over its range."""
    notes = notes_over(voice)
    return Matched(voice, notes, tuple(loudness_at(voice, hz, kernel) for hz in notes))


def matched(voice: Voice, kernel: Kernel) -> Matched:
    """Return the voice with the trims, as few as it needs, that bring it to the target.

    `level_db` takes what they have in common, as far as it may.
    """
    found = measured(replace(voice, level_db=0.0, trims_db=()), kernel)
    notes = np.log2(np.array(found.notes_hz))
    wanted = TARGET_LUFS - np.array(found.loudness_lufs)
    best = _trimmed(found, (0.0,))
    most = 1 + int(TRIMS_AN_OCTAVE * (notes[-1] - notes[0]) + 1e-9)
    for count in range(1, min(most, MOST_TRIMS) + 1):
        best = _trimmed(found, _fitted(notes, wanted, count))
        if best.furthest_lu <= CLOSE_LU:
            break
    return best


def _fitted(notes: F64, wanted: F64, count: int) -> list[float]:
    """Return the trims, so many evenly over `notes` (octaves), whose line is nearest `wanted`."""
    if count == 1:
        return [float(wanted.max() + wanted.min()) / 2.0]
    corners = np.linspace(notes[0], notes[-1], count)
    hats = np.stack([np.interp(notes, corners, row) for row in np.eye(count)], axis=1)
    fit: list[float] = np.linalg.lstsq(hats, wanted, rcond=None)[0].tolist()
    return fit


def _trimmed(found: Matched, trims_db: Sequence[float]) -> Matched:
    """Return the voice of `found` with trims to a tenth of a dB, the mean of them in its level."""
    level_db = round(float(np.mean(trims_db)), 1)
    apart = tuple(round(each - level_db, 1) + 0.0 for each in trims_db)
    voice = replace(found.voice, level_db=level_db, trims_db=apart if len(apart) > 1 else ())
    ends = voice.lowest_hz, voice.highest_hz
    loudness = (
        heard + level_db + trim_at(voice.trims_db, *ends, hz)
        for hz, heard in zip(found.notes_hz, found.loudness_lufs, strict=True)
    )
    return Matched(voice, found.notes_hz, tuple(loudness))
