"""Read one note in one zone: each of its partials measured, or the reason why it cannot be."""

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_masking import Crowd, Sounding, pressure
from meantide.offline.assay_windows import LONGEST_WINDOW_S, Steady, Window, candidates
from meantide.offline.partials import MAIN_LOBE_BINS, Reals, Stretch, noise_of_density

SEARCH_CENTS = 60.0
HIGHEST_OF_RATE = 0.42  # above this part of the rate a voice may already fade its partials out
FAINTEST_DB = 12.0  # a partial may stand so far under what the log says of it
# The noise is itself estimated, from some tens of bins; this covers the scatter of that estimate.
_NOISE_MARGIN = 1.2
_OVER_NOISE = 5.0  # amplitude over the floor's; noise alone comes so high in e^-25 of all bins
_OVER_LEAK = 2.0
_DEAD = 1e-6  # amplitude over the strongest partial's, under which a partial tells no level
_RIVAL = 0.01  # amplitude over a partial's own from which a neighbour bounds the search for it
_SHOULDER_BINS = 2.0 * MAIN_LOBE_BINS  # nearer than this main lobes meet


class Fate(StrEnum):
    """What became of a partial."""

    RESOLVED = "resolved"
    MISSING = "missing"
    MASKED = "masked"
    SHORT = "too short"
    QUIET = "too quiet"
    UNSTEADY = "unsteady"


@dataclass(frozen=True, slots=True)
class PartialReading:
    """One partial, numbered from 1: what was expected, what was measured, and how surely.

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


class Audio(Protocol):
    """Mono samples by their place in the take."""

    def read(self, first: int, last: int) -> Reals:
        """Return the samples from `first` up to `last`, float64."""


@dataclass(frozen=True, slots=True)
class _Task:
    """The note at `place` of the log in one zone, and which of its partials at what Hz."""

    sounding: Sounding
    place: int
    partials: NDArray[np.int64]
    hz: Reals


@dataclass(frozen=True, slots=True)
class _Plan:
    """A window, all that sounds in it, what the partials should amount to and be pushed by."""

    window: Window
    crowd: Crowd
    own: NDArray[np.bool_]
    amplitude: Reals
    push_hz: Reals


@dataclass(frozen=True, slots=True)
class _Raw:
    """What windows told of some partials: arrays of one length; `expected` is an amplitude.

    A `crowded` partial has no peak of its own to be missed; `random_hz`, `drift_hz` and `push_hz`
    are the uncertainty's parts, `masker` the place in the log of the note that pushes most; `held`
    says that the window ends by the note's release.
    """

    expected: Reals
    found: NDArray[np.bool_]
    hz: Reals
    amplitude: Reals
    floor: Reals
    leak: Reals
    crowded: NDArray[np.bool_]
    random_hz: Reals
    drift_hz: Reals
    push_hz: Reals
    masker: NDArray[np.int64]
    held: NDArray[np.bool_]
    first: NDArray[np.int64]
    last: NDArray[np.int64]


def read_zone(
    sounding: Sounding, place: int, zone: Steady, audio: Audio, tolerance_cents: float
) -> tuple[PartialReading, ...]:
    """Measure the note at `place` of the log in one zone; no reading at all if it is too short.

    Each partial is measured in the window that promises to leave the least doubt about it.
    """
    voice = sounding.voices[sounding.notes[place].voice]
    expected_hz = voice.ratio * zone.hz
    partials = np.flatnonzero(expected_hz < HIGHEST_OF_RATE * sounding.rate)
    events = sounding.events(place, zone.first, max(zone.last, zone.tail))
    windows = candidates(zone, events, sounding.rate, dying=bool(voice.loss.any()))
    if not windows or not len(partials):
        return ()
    task = _Task(sounding, place, partials, expected_hz[partials])
    offset = min(window.first for window in windows)
    samples = audio.read(offset, max(window.last for window in windows))

    def stretch(window: Window) -> Stretch:
        return Stretch(samples[window.first - offset : window.last - offset], sounding.rate)

    plans = [_plan(task, window) for window in windows]
    longest = stretch(windows[0])
    density = longest.floor_density(longest.floor(task.hz, _loud_hz(plans[0].crowd)))
    doubt = np.stack([_doubt_hz(plan, density, sounding.rate) for plan in plans])
    chosen = np.argmin(doubt, axis=0)
    groups = [np.flatnonzero(chosen == choice) for choice in range(len(plans))]
    raws = [
        _measure(task, group, plan, stretch(plan.window))
        for group, plan in zip(groups, plans, strict=True)
        if len(group)
    ]
    return _judge(task, _join(raws, np.concatenate(groups)), tolerance_cents)


def _plan(task: _Task, window: Window) -> _Plan:
    sounding = task.sounding
    crowd = sounding.crowd(window.first, window.last)
    is_own = (crowd.note == task.place) & (crowd.low_hz > 0.0)
    own = is_own & (crowd.partial == task.partials[:, None])
    amplitude = sounding.amplitudes(task.place, window.first, window.last)[task.partials]
    bin_hz = sounding.rate / (window.last - window.first)
    pushed = pressure(crowd, task.hz, own, bin_hz).all_push
    return _Plan(window, crowd, own, amplitude, pushed / np.maximum(amplitude, 1e-300) * bin_hz)


def _doubt_hz(plan: _Plan, density: Reals, rate: int) -> Reals:
    """Return the uncertainty in Hz to be expected of each partial in a window."""
    size = plan.window.last - plan.window.first
    return plan.push_hz + _NOISE_MARGIN * noise_of_density(density, plan.amplitude, size, rate)


def _loud_hz(crowd: Crowd) -> Reals:
    """Return where lines stand that could be taken for noise."""
    loud = crowd.amplitude > 1e-6 * crowd.amplitude.max(initial=0.0)
    return np.concatenate([crowd.low_hz[loud], crowd.high_hz[loud]])


def _measure(task: _Task, group: NDArray[np.int64], plan: _Plan, stretch: Stretch) -> _Raw:
    """Measure the partials at the indices `group` of the task in the window of `plan`."""
    window, crowd, own, hz = plan.window, plan.crowd, plan.own[group], task.hz[group]
    pressed = pressure(crowd, hz, own, stretch.bin_hz)
    floor = stretch.floor(hz, _loud_hz(crowd))
    low, high = _regions(crowd, own, hz, plan.amplitude[group], stretch.bin_hz)
    lines = stretch.lines(hz, low, high, floor)
    pushed = pressed.all_push / np.maximum(lines.amplitude, 1e-300) * stretch.bin_hz
    notes, index = np.unique(crowd.note, return_inverse=True)
    pushes = np.stack([pressed.push[:, index == note].sum(axis=1) for note in range(len(notes))])
    held = window.last <= task.sounding.notes[task.place].release
    return _Raw(
        plan.amplitude[group],
        lines.found,
        lines.hz,
        lines.amplitude,
        floor,
        pressed.all_leak,
        _crowded(crowd, own, hz, plan.amplitude[group], stretch.bin_hz),
        _NOISE_MARGIN * lines.noise_hz,
        lines.drift_hz,
        pushed,
        notes[np.argmax(pushes, axis=0)],
        np.full(len(group), held),
        np.full(len(group), window.first),
        np.full(len(group), window.last),
    )


def _join(raws: list[_Raw], order: NDArray[np.int64]) -> _Raw:
    """Put partials measured in several windows, `order` being their indices, in order again."""
    back = np.argsort(order)
    columns = {
        field.name: np.concatenate([getattr(raw, field.name) for raw in raws])[back]
        for field in fields(_Raw)
    }
    return _Raw(**columns)


def _crowded(
    crowd: Crowd, own: NDArray[np.bool_], hz: Reals, amplitude: Reals, bin_hz: float
) -> NDArray[np.bool_]:
    """Say which partials have a neighbour so near that they may be no more than its shoulder."""
    distance = np.maximum(crowd.low_hz - hz[:, None], hz[:, None] - crowd.high_hz) / bin_hz
    rival = ~own & (crowd.amplitude > _RIVAL * amplitude[:, None])
    return np.asarray(np.any(rival & (distance < _SHOULDER_BINS), axis=1))


def _regions(
    crowd: Crowd, own: NDArray[np.bool_], hz: Reals, amplitude: Reals, bin_hz: float
) -> tuple[Reals, Reals]:
    """Return where to search for each partial: 60 cents about it, half way to its neighbours."""
    rival = ~own & (crowd.amplitude > _RIVAL * amplitude[:, None])
    middle = (crowd.low_hz + crowd.high_hz) / 2.0
    halfway = (hz[:, None] + middle) / 2.0
    below = np.where(rival & (middle <= hz[:, None]), halfway, -np.inf).max(axis=1, initial=-np.inf)
    above = np.where(rival & (middle > hz[:, None]), halfway, np.inf).min(axis=1, initial=np.inf)
    reach = 2.0 ** (SEARCH_CENTS / 1200.0)
    low = np.maximum(hz / reach, below)
    high = np.minimum(hz * reach, above)
    return np.minimum(low, hz - bin_hz), np.maximum(high, hz + bin_hz)


def _judge(task: _Task, raw: _Raw, tolerance_cents: float) -> tuple[PartialReading, ...]:
    faintest = 10.0 ** (-FAINTEST_DB / 20.0)
    seen = (
        raw.found
        & (raw.amplitude >= _OVER_NOISE * raw.floor)
        & (raw.amplitude >= _OVER_LEAK * raw.leak)
    )
    # How much louder than logged the note as a whole is, by the partials that are there; a note
    # that shows none is judged as if it were as faint as is allowed.
    alive = seen & (raw.expected > _DEAD * raw.expected.max())
    gain = float(np.median(raw.amplitude[alive] / raw.expected[alive])) if alive.any() else faintest
    least = raw.expected * gain * faintest
    stands_out = (least >= _OVER_NOISE * raw.floor) & (least >= _OVER_LEAK * raw.leak)
    due = raw.held & stands_out & ~raw.crowded
    # Where nothing of it could be seen any more, what is seen is something else.
    its_own = stands_out | (raw.amplitude <= raw.expected * gain / faintest)
    there = seen & its_own & (raw.amplitude >= least)
    cents_a_hz = 1200.0 / np.log(2.0) / task.hz
    cents = 1200.0 * np.log2(np.where(there, raw.hz, task.hz) / task.hz)
    uncertainty = (np.hypot(raw.random_hz, raw.drift_hz) + raw.push_hz) * cents_a_hz
    limit = tolerance_cents / 2.0
    readings = []
    for line, partial in enumerate(task.partials):
        by = None
        if due[line] and not there[line]:
            fate = Fate.MISSING
        elif there[line] and uncertainty[line] <= limit:
            fate = Fate.RESOLVED
        else:
            fate, by = _obstacle(task, raw, line, limit / cents_a_hz[line], there=bool(there[line]))
        measured = there[line]
        readings.append(
            PartialReading(
                int(partial) + 1,
                fate,
                float(task.hz[line]),
                float(raw.hz[line]) if measured else None,
                float(cents[line]) if measured else None,
                float(uncertainty[line]) if measured else None,
                float(20.0 * np.log10(raw.amplitude[line])) if measured else None,
                by,
                int(raw.first[line]),
                int(raw.last[line]),
            )
        )
    return tuple(readings)


def _obstacle(
    task: _Task, raw: _Raw, line: int, limit_hz: float, *, there: bool
) -> tuple[Fate, int | None]:
    """Say why a partial was not resolved, and by which note it is masked if it is."""
    floor, random_hz, drift_hz = raw.floor[line], raw.random_hz[line], raw.drift_hz[line]
    masked = _OVER_LEAK * raw.leak[line] > max(raw.amplitude[line], floor)
    masked |= raw.crowded[line] and raw.expected[line] >= _OVER_NOISE * floor
    if masked or (there and raw.push_hz[line] > max(random_hz, drift_hz)):
        masker = int(raw.masker[line])
        if masker == task.place:  # its own partials come apart in a longer window
            return Fate.SHORT, None
        return Fate.MASKED, task.sounding.notes[masker].id
    if there and drift_hz > random_hz:
        return Fate.UNSTEADY, None
    length = (raw.last[line] - raw.first[line]) / (LONGEST_WINDOW_S * task.sounding.rate)
    if there and random_hz * length**1.5 <= limit_hz:
        return Fate.SHORT, None
    return Fate.QUIET, None
