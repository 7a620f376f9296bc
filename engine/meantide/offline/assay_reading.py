"""Read one note in one zone: each of its partials measured, or the reason why it cannot be."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_masking import Sounding
from meantide.offline.assay_measuring import (
    OVER_LEAK,
    OVER_NOISE,
    Raw,
    Samples,
    Task,
    hopeless,
    is_one_line,
    measure_all,
    plan,
)
from meantide.offline.assay_sections import Spectrum
from meantide.offline.assay_wander import Wander, wander
from meantide.offline.assay_windows import LONGEST_WINDOW_S, Steady, Window, candidates
from meantide.offline.partials import Reals

HIGHEST_OF_RATE = 0.42  # above this part of the rate a voice may already fade its partials out
FAINTEST_DB = 12.0  # a partial may stand so far under what the log says of it
FAINTEST_SIDEBAND = 10.0 ** (-90.0 / 20.0)
"""Amplitude over the note's strongest line. Where a sideband is that faint, or gone, what is seen
there may be what no log tells of: rounding, and images of envelopes that run straight."""
_DEAD = 1e-6  # amplitude over the strongest partial's, under which a partial tells no level


class Fate(StrEnum):
    """What became of a partial."""

    RESOLVED = "resolved"
    MISSING = "missing"
    MASKED = "masked"
    SHORT = "too short"
    QUIET = "too quiet"
    UNSTEADY = "unsteady"
    TURNING = "sidebands on each other"
    UNISON = "a unison not told apart"


@dataclass(frozen=True, slots=True)
class PartialReading:
    """One partial, numbered from 1: what was expected, what was measured, and how surely.

    Of a unison each copy, numbered from 1, is read by itself.
    `measured_hz`, `cents` and `uncertainty_cents` (a standard deviation, what else sounds taken at
    its worst) are None where nothing was found; `level_db` is re full scale; `by` is the id of the
    note that masks it; `first` and `last` are the samples it was measured between.
    """

    number: int
    fate: Fate
    expected_hz: float
    measured_hz: float | None
    cents: float | None
    uncertainty_cents: float | None
    level_db: float | None
    by: int | None
    first: int
    last: int
    copy: int = 1

    @property
    def name(self) -> str:
        """Its number, and which copy it is where there are several."""
        return str(self.number) if self.copy == 1 else f"{self.number} (copy {self.copy})"


class Audio(Protocol):
    """Mono samples by their place in the take."""

    def read(self, first: int, last: int) -> Reals:
        """Return the samples from `first` up to `last`, float64."""


def read_zone(
    sounding: Sounding, place: int, zone: Steady, audio: Audio, tolerance_cents: float
) -> tuple[tuple[PartialReading, ...], Wander | None]:
    """Measure the note at `place` of the log in one zone; no reading at all if it is too short.

    Of a note that moves by a known law it is also told whether it does so throughout.

    Each partial is measured in the window that promises to leave the least doubt about it.
    """
    spectrum = sounding.spectrum(place, zone.spectrum)
    expected_hz = spectrum.hz(zone.hz)
    highest = HIGHEST_OF_RATE * sounding.rate
    partials = np.flatnonzero((expected_hz > 0.0) & (expected_hz < highest))
    events = sounding.events(place, zone.first, max(zone.last, zone.tail))
    windows = candidates(zone, events, sounding.rate, dying=bool(spectrum.loss.any()))
    if not windows or not len(partials):
        return (), None
    followed_hz = spectrum.ratio[partials] * zone.hz
    task = Task(sounding, place, zone.spectrum, partials, expected_hz[partials], followed_hz)
    plans = [plan(task, window) for window in windows]
    copies = sounding.voice(place).copies
    if copies > 1 and hopeless(plans, task, tolerance_cents / 2.0):
        return _not_apart(task, windows[0], copies), None
    offset = min(window.first for window in windows)
    samples = audio.read(offset, max(window.last for window in windows))

    def of(window: Window) -> Reals:
        return samples[window.first - offset : window.last - offset]

    raw = measure_all(task, plans, of)
    readings = _judge(task, raw, tolerance_cents)
    if sounding.voice(place).sidebands:
        readings = _confirmed(task, raw, readings, of, tolerance_cents)
    if not task.law.moves:
        return readings, None
    resolved = np.flatnonzero([each.fate is Fate.RESOLVED for each in readings])
    return readings, wander(task, raw, resolved, of, tolerance_cents)


def _judge(task: Task, raw: Raw, tolerance_cents: float) -> tuple[PartialReading, ...]:
    faintest = 10.0 ** (-FAINTEST_DB / 20.0)
    seen = (
        raw.found
        & (raw.amplitude >= OVER_NOISE * raw.floor)
        & (raw.amplitude >= OVER_LEAK * raw.leak)
    )
    spectrum = task.sounding.spectrum(task.place, task.spectrum)
    if task.sounding.voice(task.place).sidebands:
        seen &= raw.amplitude >= FAINTEST_SIDEBAND * raw.amplitude[seen].max(initial=0.0)
    left = spectrum.least[task.partials]
    gain = _gain(task, raw, seen, left)
    least = raw.expected * left * gain * faintest
    stands_out = (least >= OVER_NOISE * raw.floor) & (least >= OVER_LEAK * raw.leak)
    due = raw.held & stands_out & ~raw.crowded
    if task.sounding.voice(task.place).sidebands and not seen.any():
        due = _one_is_due(raw, spectrum, task.partials, gain * faintest)
    # Where nothing of it could be seen any more, what is seen is something else.
    its_own = stands_out | (raw.amplitude <= raw.expected * gain / faintest / left)
    there = seen & its_own & (raw.amplitude >= least)
    cents_a_hz = 1200.0 / np.log(2.0) / task.hz
    cents = 1200.0 * np.log2(np.where(there, raw.hz, task.hz) / task.hz)
    # What drifts unknown to us may turn its phase so far: that is the tolerance's to allow for.
    allowed_hz = task.law.untold_drift_cents / cents_a_hz
    unsteady_hz = np.maximum(raw.drift_hz - allowed_hz, 0.0)
    uncertainty = (np.hypot(raw.random_hz, unsteady_hz) + raw.push_hz) * cents_a_hz
    limit = tolerance_cents / 2.0
    copies = task.sounding.voice(task.place).copies
    readings = []
    for line, partial in enumerate(task.partials):
        by = None
        if due[line] and not there[line]:
            fate = Fate.MISSING
        elif there[line] and spectrum.turns[partial]:
            fate = Fate.TURNING
        elif there[line] and uncertainty[line] <= limit:
            fate = Fate.RESOLVED
        else:
            unsteady = bool(there[line] and unsteady_hz[line] > raw.random_hz[line])
            limit_hz = limit / cents_a_hz[line]
            fate, by = _obstacle(
                task, raw, line, limit_hz, there=bool(there[line]), unsteady=unsteady
            )
        measured = there[line]
        readings.append(
            PartialReading(
                int(partial) // copies + 1,
                fate,
                float(task.hz[line]),
                float(raw.hz[line]) if measured else None,
                float(cents[line]) if measured else None,
                float(uncertainty[line]) if measured else None,
                float(20.0 * np.log10(raw.amplitude[line])) if measured else None,
                by,
                int(raw.first[line]),
                int(raw.last[line]),
                int(partial) % copies + 1,
            )
        )
    return tuple(readings) if copies == 1 else _whole_unisons(tuple(readings))


def _confirmed(
    task: Task, raw: Raw, readings: tuple[PartialReading, ...], samples: Samples, most_cents: float
) -> tuple[PartialReading, ...]:
    """Let a sideband be off its place, by more than `most_cents`, only if it is one line there.

    One whose amplitude changes its sign within the window has two peaks, beside where it lies.
    """
    return tuple(
        replace(each, fate=Fate.TURNING)
        if each.fate is Fate.RESOLVED
        and abs(each.cents or 0.0) > most_cents
        and not is_one_line(task, raw, line, samples, abs(each.cents or 0.0) - most_cents)
        else each
        for line, each in enumerate(readings)
    )


def _gain(task: Task, raw: Raw, seen: NDArray[np.bool_], left: Reals) -> float:
    """Return how much louder than logged the note as a whole is, by the partials that are there.

    Those speak whose level touch leaves alone, if any are there. A note that shows none is judged
    as if it were as faint as is allowed.
    """
    alive = seen & (raw.expected > _DEAD * raw.expected.max())
    alone = alive & (left == 1.0)
    if alone.any():
        alive = alone
    if alive.any():
        return float(np.median(raw.amplitude[alive] / raw.expected[alive]))
    note = task.sounding.notes[task.place]
    return float(10.0 ** (-(FAINTEST_DB + note.quieter_db) / 20.0))


def _one_is_due(
    raw: Raw, spectrum: Spectrum, partials: NDArray[np.int64], gain: float
) -> NDArray[np.bool_]:
    """Say of lines of which none is seen whether one must be: all of them, or none, are due.

    However FM shares the power of a note among its sidebands, one has the mean of it or more.
    """
    whole = float(np.max(raw.expected / spectrum.gain[partials])) * gain
    mean = whole / np.sqrt(len(spectrum.gain))
    clear = (mean >= OVER_NOISE * raw.floor) & (mean >= OVER_LEAK * raw.leak) & raw.held
    all_in_reach = len(partials) == len(spectrum.gain)
    return np.full(len(partials), bool(clear.all()) and all_in_reach)


def _not_apart(task: Task, window: Window, copies: int) -> tuple[PartialReading, ...]:
    """Return what is said of a unison whose copies no window can tell apart: it is not measured."""
    return tuple(
        PartialReading(
            int(partial) // copies + 1,
            Fate.UNISON,
            float(hz),
            None,
            None,
            None,
            None,
            None,
            window.first,
            window.last,
            int(partial) % copies + 1,
        )
        for partial, hz in zip(task.partials, task.hz, strict=True)
    )


def _whole_unisons(readings: tuple[PartialReading, ...]) -> tuple[PartialReading, ...]:
    """Let copies of a partial count only where all of them do.

    A unison that is off by the distance of its copies has most lines where lines should be.
    """
    partly = {each.number for each in readings if each.fate is not Fate.RESOLVED}
    return tuple(
        replace(each, fate=Fate.UNISON)
        if each.number in partly and each.fate is not Fate.MISSING
        else each
        for each in readings
    )


def _obstacle(
    task: Task, raw: Raw, line: int, limit_hz: float, *, there: bool, unsteady: bool
) -> tuple[Fate, int | None]:
    """Say why a partial was not resolved, and by which note it is masked if it is."""
    floor, random_hz, drift_hz = raw.floor[line], raw.random_hz[line], raw.drift_hz[line]
    masked = OVER_LEAK * raw.leak[line] > max(raw.amplitude[line], floor)
    masked |= raw.crowded[line] and raw.expected[line] >= OVER_NOISE * floor
    if masked or (there and raw.push_hz[line] > max(random_hz, drift_hz)):
        masker = int(raw.masker[line])
        if masker == task.place:  # its own partials come apart in a longer window
            return Fate.SHORT, None
        return Fate.MASKED, task.sounding.notes[masker].id
    if unsteady:
        return Fate.UNSTEADY, None
    length = (raw.last[line] - raw.first[line]) / (LONGEST_WINDOW_S * task.sounding.rate)
    if there and random_hz * length**1.5 <= limit_hz:
        return Fate.SHORT, None
    return Fate.QUIET, None
