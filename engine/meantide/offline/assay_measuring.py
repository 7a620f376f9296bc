"""Measure partials of a note in windows: which to choose, what is found there, how surely.

Where the note moves by a known law, each of its partials is looked at in samples from which the
law has been taken out.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_law import Law
from meantide.offline.assay_masking import Crowd, Sounding, pressure, stilled
from meantide.offline.assay_skirts import skirts
from meantide.offline.assay_windows import Window
from meantide.offline.partials import (
    MAIN_LOBE_BINS,
    Lines,
    Reals,
    Stretch,
    joined,
    noise_of_density,
)

SEARCH_CENTS = 60.0
# The noise is itself estimated, from some tens of bins; this covers the scatter of that estimate.
NOISE_MARGIN = 1.2
OVER_NOISE = 5.0  # amplitude over the floor's; noise alone comes so high in e^-25 of all bins
OVER_LEAK = 2.0
_RIVAL = 0.01  # amplitude over a partial's own from which a neighbour bounds the search for it
_SHOULDER_BINS = 2.0 * MAIN_LOBE_BINS  # nearer than this main lobes meet
_MIRROR_BINS = 8  # both main lobes of a line whose amplitude changes its sign
_STILL = 0.02  # asymmetry; one of two peaks has a quarter or more
_SURE = 4.0  # uncertainties
_FAR_OFF_CENTS = 0.005  # a line so far off is looked at again, under the law as it moves that line

Samples = Callable[[Window], Reals]
"""Gives the samples of a window."""


@dataclass(frozen=True, slots=True)
class Task:
    """The note at `place` of the log at one frequency, and which of its partials to measure.

    They are of the spectrum named, at `hz` without the law; `followed_hz` is the part of that
    which moves with the note.
    """

    sounding: Sounding
    place: int
    spectrum: str | None
    partials: NDArray[np.int64]
    hz: Reals
    followed_hz: Reals

    @property
    def law(self) -> Law:
        """The law by which the note moves."""
        return self.sounding.laws[self.place]


@dataclass(frozen=True, slots=True)
class Plan:
    """A window, all that sounds in it, what the partials should amount to and be pushed by."""

    window: Window
    crowd: Crowd
    own: NDArray[np.bool_]
    amplitude: Reals
    push_hz: Reals


@dataclass(frozen=True, slots=True)
class Raw:
    """What windows told of some partials: arrays of one length; `expected` is an amplitude.

    A `crowded` partial has no peak of its own to be missed; `random_hz`, `drift_hz` and `push_hz`
    are the uncertainty's parts, `masker` the place in the log of the note that pushes most and
    `masking` the partial of it; `held` says that the window ends by the note's release.
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
    masking: NDArray[np.int64]
    held: NDArray[np.bool_]
    first: NDArray[np.int64]
    last: NDArray[np.int64]


def hopeless(plans: list[Plan], task: Task, limit_cents: float) -> bool:
    """Say whether no plan can resolve any partial to `limit_cents`, or miss one.

    Each lies in the midst of others then, as copies do that drift over each other. What is planned
    is the most that a partial comes to: fainter, it would only be less sure.
    """
    limit_hz = task.hz * np.expm1(limit_cents * np.log(2.0) / 1200.0)
    for each in plans:
        bin_hz = task.sounding.rate / (each.window.last - each.window.first)
        crowded = _crowded(each.crowd, each.own, task.hz, each.amplitude, bin_hz)
        if not crowded.all() or np.any(each.push_hz <= limit_hz):
            return False
    return True


def measure_all(task: Task, plans: list[Plan], samples: Samples) -> Raw:
    """Measure each partial by that of `plans` that promises to leave the least doubt about it."""
    density = _density(task, plans[0], samples)
    doubt = np.stack([_doubt_hz(each, density, task.sounding.rate) for each in plans])
    chosen = np.argmin(doubt, axis=0)
    groups = [np.flatnonzero(chosen == choice) for choice in range(len(plans))]
    raws = [
        measure(task, group, each, samples)
        for group, each in zip(groups, plans, strict=True)
        if len(group)
    ]
    return _join(raws, np.concatenate(groups))


def plan(task: Task, window: Window) -> Plan:
    """Return what is to be expected in a window."""
    sounding, law = task.sounding, task.law
    crowd = sounding.crowd(window.first, window.last)
    is_own = (crowd.note == task.place) & (crowd.low_hz + crowd.high_hz > 0.0)
    own = is_own & (crowd.partial == task.partials[:, None])
    if law.moves:
        share = law.vibrato_share(window.first, window.last)
        crowd = stilled(crowd, law, sounding.kin[task.place], share, task.hz)
    levels = sounding.amplitudes(task.place, task.spectrum, window.first, window.last)
    amplitude = levels[task.partials]
    bin_hz = sounding.rate / (window.last - window.first)
    pushed = pressure(crowd, task.hz, own, bin_hz).all_push
    return Plan(window, crowd, own, amplitude, pushed / np.maximum(amplitude, 1e-300) * bin_hz)


def measure(
    task: Task,
    group: NDArray[np.int64],
    plan: Plan,
    samples: Samples,
    standing_hz: Reals | None = None,
) -> Raw:
    """Measure the partials at the indices `group` of the task in the window of `plan`.

    They are searched for; or with `standing_hz` (one each) read by a step from there.
    """
    window, own, hz = plan.window, plan.own[group], task.hz[group]
    crowd, expected = _seen_from(plan.crowd, group), plan.amplitude[group]
    bin_hz = task.sounding.rate / (window.last - window.first)
    pressed = pressure(crowd, hz, own, bin_hz)
    lines, skirt_leak, skirt_push = _lines(task, group, plan, samples, standing_hz)
    most_push = np.maximum(pressed.all_push, skirt_push)
    pushed = most_push / np.maximum(lines.amplitude, 1e-300) * bin_hz
    notes, index = np.unique(crowd.note, return_inverse=True)
    pushes = np.stack([pressed.push[:, index == note].sum(axis=1) for note in range(len(notes))])
    held = window.last <= task.sounding.notes[task.place].release
    return Raw(
        expected,
        lines.found,
        lines.hz,
        lines.amplitude,
        lines.floor,
        np.maximum(pressed.all_leak, skirt_leak),
        _crowded(crowd, own, hz, expected, bin_hz),
        NOISE_MARGIN * lines.noise_hz,
        lines.drift_hz,
        pushed,
        notes[np.argmax(pushes, axis=0)],
        crowd.partial[np.argmax(pressed.push, axis=1)],
        np.full(len(group), held),
        np.full(len(group), window.first),
        np.full(len(group), window.last),
    )


def _lines(
    task: Task,
    group: NDArray[np.int64],
    plan: Plan,
    samples: Samples,
    standing_hz: Reals | None,
) -> tuple[Lines, Reals, Reals]:
    """Find the lines of the partials `group`: at once where the note is still, else one by one.

    With them go the leak and the push of their neighbours' skirts.
    """
    crowd, own, hz = _seen_from(plan.crowd, group), plan.own[group], task.hz[group]
    rate, window = task.sounding.rate, plan.window
    bin_hz = rate / (window.last - window.first)
    low, high = _regions(crowd, own, hz, plan.amplitude[group], bin_hz)
    untold = task.sounding.sidebands(crowd.note)

    def found(stretch: Stretch, line: slice) -> tuple[Lines, Reals, Reals]:
        here = _seen_from(crowd, line)
        floor = stretch.floor(hz[line], _loud_hz(here))
        if standing_hz is not None:
            lines = stretch.lines_at(standing_hz[line], floor)
        else:
            lines = stretch.lines(hz[line], low[line], high[line], floor)
        at_hz = np.where(lines.found, lines.hz, hz[line])
        loud = crowd.amplitude > _RIVAL * plan.amplitude[group[line], None]
        return lines, *skirts(stretch, here, own[line], loud, untold, at_hz)

    if not task.law.moves:
        return found(Stretch(samples(window), rate), slice(None))
    vibrato = task.law.cents(window.first, window.last)
    each_found = []
    for place in range(len(group)):
        line = slice(place, place + 1)
        off = 1.0 if standing_hz is None else float(standing_hz[place] / hz[place])
        one = found(_still(task, int(group[place]), window, samples, vibrato, off), line)
        if standing_hz is None and one[0].found[0]:
            one_hz = float(one[0].hz[0])
            off = one_hz / float(hz[place])
            far = abs(1200.0 * np.log2(off)) > _FAR_OFF_CENTS
            if far and abs(one_hz - hz[place]) > plan.push_hz[group[place]]:
                # The law moves a line by a share of where it is, not of where it should be.
                one = found(_still(task, int(group[place]), window, samples, vibrato, off), line)
        each_found.append(one)
    lines, leaks, pushes = zip(*each_found, strict=True)
    return joined(lines), np.concatenate(leaks), np.concatenate(pushes)


def is_one_line(task: Task, raw: Raw, line: int, samples: Samples, off_cents: float) -> bool:
    """Say whether the partial at an index of the task is one line, `off_cents` off, where found.

    The phase of one that is, stands still there or turns over. A peak beside the place of a line
    whose amplitude changes its sign does not; nor does what is no line, or is pushed so far.
    """
    window = Window(int(raw.first[line]), int(raw.last[line]))
    hz = float(raw.hz[line])
    if task.law.moves:
        vibrato = task.law.cents(window.first, window.last)
        stretch = _still(task, line, window, samples, vibrato, hz / float(task.hz[line]))
    else:
        stretch = Stretch(samples(window), task.sounding.rate)
    planned = plan(task, window)
    one = np.array([line])
    nearest = apart_bins(planned, one, raw.hz[one], raw.amplitude[one], task.sounding.rate)
    apart = float(nearest[0]) - MAIN_LOBE_BINS
    reach = int(np.clip(apart, 1.0, _MIRROR_BINS))
    read = stretch.lines_at(raw.hz[[line]], raw.floor[[line]])
    # Noise has no symmetry: its share of the power, in a lobe two bins wide, is its own.
    noise = (2 * reach + 1) / 2.0 * float(raw.floor[line] / read.amplitude[0]) ** 2
    pushed_cents = _SURE * float(read.drift_hz[0]) / hz * 1200.0 / np.log(2.0)
    return stretch.asymmetry(hz, reach) <= _STILL + noise and off_cents > pushed_cents


def apart_bins(
    planned: Plan, group: NDArray[np.int64], hz: Reals, amplitude: Reals, rate: int
) -> Reals:
    """Return how many bins from lines at `hz`, the partials `group`, the nearest rival may come."""
    crowd, own = _seen_from(planned.crowd, group), planned.own[group]
    apart_hz = np.maximum(crowd.low_hz - hz[:, None], hz[:, None] - crowd.high_hz)
    rival = ~own & (crowd.amplitude > _RIVAL * amplitude[:, None])
    nearest: Reals = np.where(rival, apart_hz, np.inf).min(axis=1, initial=np.inf)
    return nearest * ((planned.window.last - planned.window.first) / rate)


def _still(
    task: Task, line: int, window: Window, samples: Samples, vibrato: Reals, off: float
) -> Stretch:
    """Return a window in which the line, `off` times its place in frequency, stands still."""
    partial, hz = int(task.partials[line]), off * float(task.followed_hz[line])
    still = task.law.stillness(partial, hz, window.first, window.last, vibrato)
    return Stretch(samples(window) * still, task.sounding.rate)


def _density(task: Task, longest: Plan, samples: Samples) -> Reals:
    """Return the noise at each partial, as the RMS of a sample, by the longest window."""
    window, rate = longest.window, task.sounding.rate
    if not task.law.moves:
        stretch = Stretch(samples(window), rate)
        return stretch.floor_density(stretch.floor(task.hz, _loud_hz(longest.crowd)))
    vibrato = task.law.cents(window.first, window.last)
    found = np.zeros(len(task.hz))
    # Copies of a partial lie so close that the noise beside them is the same.
    partial = task.partials // task.sounding.voice(task.place).copies
    for each in np.unique(partial):
        lines = np.flatnonzero(partial == each)
        stretch = _still(task, int(lines[0]), window, samples, vibrato, 1.0)
        floor = stretch.floor(task.hz[lines], _loud_hz(_seen_from(longest.crowd, lines[:1])))
        found[lines] = stretch.floor_density(floor)
    return found


def _doubt_hz(plan: Plan, density: Reals, rate: int) -> Reals:
    """Return the uncertainty in Hz to be expected of each partial in a window."""
    size = plan.window.last - plan.window.first
    return plan.push_hz + NOISE_MARGIN * noise_of_density(density, plan.amplitude, size, rate)


def _seen_from(crowd: Crowd, lines: NDArray[np.int64] | slice) -> Crowd:
    """Return `crowd` as it is for some of the lines, if it differs between them."""
    if crowd.low_hz.ndim == 1:
        return crowd
    return replace(crowd, low_hz=crowd.low_hz[lines], high_hz=crowd.high_hz[lines])


def _loud_hz(crowd: Crowd) -> Reals:
    """Return where lines stand that could be taken for noise."""
    loud = crowd.amplitude > 1e-6 * crowd.amplitude.max(initial=0.0)
    ends = np.concatenate([crowd.low_hz[..., loud], crowd.high_hz[..., loud]], axis=-1)
    return ends.ravel()


def _join(raws: list[Raw], order: NDArray[np.int64]) -> Raw:
    """Put partials measured in several windows, `order` being their indices, in order again."""
    back = np.argsort(order)
    columns = {
        field.name: np.concatenate([getattr(raw, field.name) for raw in raws])[back]
        for field in fields(Raw)
    }
    return Raw(**columns)


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
