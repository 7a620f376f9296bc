"""A note's life cut where it begins or ceases to move, and its partials in each piece."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Reals
from meantide.offline.takelog_note import LoggedNote
from meantide.offline.takelog_voice import LoggedPartial

LN_60_DB = 3.0 * np.log(10.0)  # nepers in 60 dB
_RISING = -np.log(1.0 - np.sqrt(0.9))  # (1 - e^-x)^2 is 0.9 at this x


@dataclass(frozen=True, slots=True)
class Section:
    """Between the samples `first` and `last` a note's frequency stays in `low_hz`..`high_hz`.

    Its partials are those of the one spectrum named (None: the voice's own), or on their way
    between several.
    """

    first: int
    last: int
    low_hz: float
    high_hz: float
    spectra: tuple[str | None, ...] = (None,)

    @property
    def steady(self) -> bool:
        """Say whether the frequency stands still, and its partials with it."""
        return self.low_hz == self.high_hz and len(self.spectra) == 1


def sections(note: LoggedNote) -> tuple[Section, ...]:
    """Cut a note's life, from start to end, where its frequency begins or ceases to move."""
    found: list[Section] = []
    now_hz = note.pitches[0].hz
    now_spectra: tuple[str | None, ...] = (note.pitches[0].spectrum,)
    for place, pitch in enumerate(note.pitches):
        later = note.pitches[place + 1].sample if place + 1 < len(note.pitches) else note.end
        stop = min(later, note.end)
        glide_end = min(pitch.sample + pitch.glide_samples, stop)
        spectrum = now_spectra[-1] if pitch.spectrum is None else pitch.spectrum
        if glide_end > pitch.sample and (pitch.hz != now_hz or (spectrum,) != now_spectra):
            reached = (glide_end - pitch.sample) / pitch.glide_samples
            next_hz = pitch.hz if reached == 1.0 else now_hz * (pitch.hz / now_hz) ** reached
            low, high = sorted((now_hz, next_hz))
            passed = tuple(dict.fromkeys((*now_spectra, spectrum)))
            found.append(Section(pitch.sample, glide_end, low, high, passed))
            now_hz = next_hz
            now_spectra = (spectrum,) if reached == 1.0 else passed
        else:
            glide_end = pitch.sample
        if stop > glide_end:
            now_hz, now_spectra = pitch.hz, (spectrum,)
            before = found[-1] if found else None
            still = Section(glide_end, stop, now_hz, now_hz, now_spectra)
            if before and _goes_on(before, still):
                still = Section(before.first, stop, now_hz, now_hz, now_spectra)
                found[-1] = still
            else:
                found.append(still)
    return tuple(found)


def _goes_on(before: Section, after: Section) -> bool:
    same = before.low_hz == after.low_hz and before.spectra == after.spectra
    return before.steady and same and before.last == after.first


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Partials as arrays.

    `ratio` and `offset_hz` say where they lie; `gain` is the most of their amplitude over the
    note's, `least` what touch must leave of that; `loss` nepers lost a second; `rise` the x of
    (1 - e^-x)^2 gained a second, infinite where there is no attack; `turns` those whose phase may
    turn by itself.
    """

    ratio: Reals
    offset_hz: Reals
    gain: Reals
    least: Reals
    loss: Reals
    rise: Reals
    turns: NDArray[np.bool_]

    @classmethod
    def of(cls, partials: tuple[LoggedPartial, ...]) -> "Spectrum":
        """Take the partials of a log."""

        def column(values: list[float]) -> Reals:
            return np.array(values, dtype=np.float64)

        return cls(
            column([each.ratio for each in partials]),
            column([each.offset_hz for each in partials]),
            10.0 ** (column([each.level_db for each in partials]) / 20.0),
            10.0 ** (-column([each.quieter_db for each in partials]) / 20.0),
            column([LN_60_DB / each.decay_s if each.decay_s else 0.0 for each in partials]),
            column([_RISING / each.attack_s if each.attack_s else np.inf for each in partials]),
            np.array([each.turns for each in partials], dtype=np.bool_),
        )

    def hz(self, note_hz: float) -> Reals:
        """Return where the partials of a note at `note_hz` lie."""
        hz: Reals = self.ratio * note_hz + self.offset_hz
        return hz

    def shapes(self, age_s: Reals) -> Reals:
        """Return (partials, ages): what is there of each partial by its own decay and attack."""
        ages = np.maximum(age_s, 0.0)
        shapes: Reals = np.exp(-np.multiply.outer(self.loss, ages))
        rising = np.isfinite(self.rise)
        if rising.any():
            shapes[rising] *= -np.expm1(-np.multiply.outer(self.rise[rising], ages))
            shapes[rising] *= -np.expm1(-np.multiply.outer(self.rise[rising], ages))
        return shapes
