"""The pitch of a tone from all its partials, each measured finely, and how sure that is.

The pitch is that of the first partial. The others tell it too, by the law of a stiff string
(Fletcher, JASA 36, 1964): f_n = n f_1 sqrt((1 + B n^2) / (1 + B)), where B is 0 for a tone that is
held by a reed, a bow or a jet of air. Where they scatter about that law by more than noise allows,
each but the first gets as much more doubt as makes the scatter probable.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_masking import Crowd, pressure
from meantide.offline.listen_fundamental import STIFFEST, Comb
from meantide.offline.listen_peaks import Peaks
from meantide.offline.partials import Reals, Stretch
from meantide.offline.scatter import probable_scatter

_NOISE_MARGIN = 1.2  # for the scatter of the noise's own estimate, as in the assay
_OVER_NOISE = 5.0
_REACH_CENTS = 60.0
_REACH_SPACING = 0.45  # of the distance between partials
_MOST_DOUBT_CENTS = 20.0
_SURE = 4.0  # standard deviations from which a stiffness is told
_LEAST_BEND_CENTS = 0.02  # at the highest partial
_LEAST_DOUBT_CENTS = 1e-6  # what float64 leaves of an estimate of phases
_ASTRAY = 4.0  # robust standard deviations from which a partial is left out
_FEWEST_FOR_ASTRAY = 5
_HALVINGS = 5  # of the window over a dying tone
_CENTS = 1200.0 / np.log(2.0)


@dataclass(frozen=True, slots=True)
class HeardPartial:
    """One partial: its number, Hz, level in dB re full scale, and its uncertainty in cents.

    `cents` is how far it lies from its place above the pitch told, by the law of the stiff string.
    """

    number: int
    hz: float
    level_db: float
    uncertainty_cents: float
    cents: float


@dataclass(frozen=True, slots=True)
class Pitch:
    """The first partial's frequency, its uncertainty (a standard deviation), and what tells it.

    `stiffness` is B, or None where nothing speaks for one; `scatter_cents` what the partials
    differ by beyond what noise does.
    """

    hz: float
    uncertainty_cents: float
    stiffness: float | None
    stiffness_uncertainty: float | None
    scatter_cents: float
    partials: tuple[HeardPartial, ...]


@dataclass(frozen=True, slots=True)
class _Lines:
    """Partials measured: arrays (lines,)."""

    number: Reals
    hz: Reals
    amplitude: Reals
    doubt_cents: Reals

    def only(self, kept: NDArray[np.bool_]) -> "_Lines":
        return _Lines(
            self.number[kept], self.hz[kept], self.amplitude[kept], self.doubt_cents[kept]
        )


@dataclass(frozen=True, slots=True)
class _Fit:
    """Cents of the first partial above a reference, B, their uncertainties, and the scatter."""

    cents: float
    doubt_cents: float
    stiffness: float
    stiffness_doubt: float
    scatter_cents: float
    rest: Reals


def measure_pitch(
    samples: Reals, rate: int, comb: Comb, peaks: Peaks, others: Peaks, *, dying: bool
) -> Pitch | None:
    """Measure the partials of `comb` among `peaks` in `samples`; None if none can be.

    `others` are lines of whatever else sounds. Of a dying tone each partial is measured in the
    window, from the beginning on, that leaves the least doubt.
    """
    sizes = [len(samples) >> halved for halved in range(_HALVINGS if dying else 1)]
    sizes = [size for size in sizes if size >= 64 and size * comb.hz >= 5.0 * rate]
    if not sizes:
        return None
    read = [_read(samples[:size], rate, comb, peaks, others) for size in sizes]
    doubts = np.stack([lines.doubt_cents for lines in read])
    chosen = np.argmin(doubts, axis=0)
    column = np.arange(len(chosen))
    lines = _Lines(
        read[0].number,
        np.stack([each.hz for each in read])[chosen, column],
        np.stack([each.amplitude for each in read])[chosen, column],
        doubts[chosen, column],
    )
    lines = lines.only(lines.doubt_cents <= _MOST_DOUBT_CENTS)
    if not len(lines.number):
        return None
    return _pitch(lines, comb.hz)


def _read(samples: Reals, rate: int, comb: Comb, peaks: Peaks, others: Peaks) -> _Lines:
    """Measure every partial of the comb in one window; the doubt is infinite where it failed."""
    stretch = Stretch(samples, rate)
    expected = peaks.hz[comb.lines]
    floor = stretch.floor(expected, np.concatenate([peaks.hz, others.hz]))
    reach = np.minimum(expected * (2.0 ** (_REACH_CENTS / 1200.0) - 1.0), _REACH_SPACING * comb.hz)
    reach = np.maximum(reach, stretch.bin_hz)
    low, high = _between(expected, peaks.amplitude[comb.lines], others)
    lines = stretch.lines(
        expected, np.maximum(expected - reach, low), np.minimum(expected + reach, high), floor
    )
    push = _push_hz(expected, peaks.amplitude[comb.lines], others, stretch.bin_hz)
    doubt_hz = np.hypot(_NOISE_MARGIN * lines.noise_hz, lines.drift_hz) + push
    seen = lines.found & (lines.amplitude >= _OVER_NOISE * floor)
    doubt = np.where(seen, doubt_hz / expected * _CENTS, np.inf)
    hz = np.where(seen, lines.hz, expected)
    return _Lines(comb.numbers.astype(np.float64), hz, lines.amplitude, doubt)


def _between(expected: Reals, amplitude: Reals, others: Peaks) -> tuple[Reals, Reals]:
    """Return how far to search about each line: half way to any other not much weaker."""
    rival = others.amplitude > 0.1 * amplitude[:, None]
    halfway = (others.hz + expected[:, None]) / 2.0
    below = np.where(rival & (others.hz <= expected[:, None]), halfway, -np.inf)
    above = np.where(rival & (others.hz > expected[:, None]), halfway, np.inf)
    return below.max(axis=1, initial=-np.inf), above.min(axis=1, initial=np.inf)


def _push_hz(hz: Reals, amplitude: Reals, others: Peaks, bin_hz: float) -> Reals:
    """Return how far other lines, which stand still, can push each line in Hz."""
    count = len(others)
    if not count:
        return np.zeros_like(hz)
    none = np.zeros(count)
    places = np.arange(count)
    edges = (none, none, none)
    crowd = Crowd(
        note=places, partial=places, low_hz=others.hz, high_hz=others.hz,
        swing_hz=none, drift_hz=none, kin=np.full(count, -1), amplitude=others.amplitude,
        step=edges, bend=edges, fade=none, death=none,
    )  # fmt: skip
    pushed = pressure(crowd, hz, np.zeros((len(hz), count), dtype=np.bool_), bin_hz)
    push: Reals = pushed.all_push / np.maximum(amplitude, 1e-300) * bin_hz
    return push


def _pitch(lines: _Lines, reference_hz: float) -> Pitch:
    fit = _fit(lines, reference_hz)
    kept = _kept(lines, fit)
    if not kept.all():
        lines = lines.only(kept)
        fit = _fit(lines, reference_hz)
    hz = reference_hz * 2.0 ** (fit.cents / 1200.0)
    partials = tuple(
        HeardPartial(int(number), float(each), float(20.0 * np.log10(amplitude)), float(doubt), off)
        for number, each, amplitude, doubt, off in zip(
            lines.number, lines.hz, lines.amplitude, lines.doubt_cents, fit.rest.tolist(),
            strict=True,
        )
    )  # fmt: skip
    stiff = fit.stiffness > 0.0
    return Pitch(
        hz,
        fit.doubt_cents,
        fit.stiffness if stiff else None,
        fit.stiffness_doubt if stiff else None,
        fit.scatter_cents,
        partials,
    )


def _kept(lines: _Lines, fit: _Fit) -> NDArray[np.bool_]:
    """Leave out partials that stray from where most of them lie; never the first."""
    if len(lines.number) < _FEWEST_FOR_ASTRAY:
        return np.ones(len(lines.number), dtype=np.bool_)
    middle = float(np.median(fit.rest))
    spread = 1.4826 * float(np.median(np.abs(fit.rest - middle)))
    limit = _ASTRAY * np.maximum(spread, lines.doubt_cents)
    near: NDArray[np.bool_] = np.abs(fit.rest - middle) <= limit
    near[lines.number == 1] = True
    return near


def _fit(lines: _Lines, reference_hz: float) -> _Fit:
    """Fit the first partial, and a stiffness if it is significant."""
    plain = _fit_law(lines, reference_hz, stiff=False)
    if len(lines.number) < 3 or lines.number.max() < 3:
        return plain
    stiff = _fit_law(lines, reference_hz, stiff=True)
    bend = 0.5 * _CENTS * stiff.stiffness * (lines.number.max() ** 2 - 1.0)
    sure = stiff.stiffness > _SURE * stiff.stiffness_doubt and bend > _LEAST_BEND_CENTS
    return stiff if sure else plain


def _fit_law(lines: _Lines, reference_hz: float, *, stiff: bool) -> _Fit:
    """Fit cents and B by weighted least squares, Gauss and Newton's steps, with a scatter."""
    number = lines.number
    cents = 1200.0 * np.log2(lines.hz / number / reference_hz)
    doubt = np.maximum(lines.doubt_cents, _LEAST_DOUBT_CENTS)
    others = number > 1

    def widened(scatter: float) -> Reals:
        total: Reals = np.where(others, np.hypot(doubt, scatter), doubt)
        return total

    def excess(scatter: float) -> float:
        total = widened(scatter)
        rest = _solve(number, cents, total, stiff=stiff)[2]
        return float(np.sum((rest / total) ** 2)) - freedom

    freedom = len(number) - (2 if stiff else 1)
    scatter = probable_scatter(excess) if freedom > 0 else 0.0
    parameters, covariance, rest = _solve(number, cents, widened(scatter), stiff=stiff)
    return _Fit(
        float(parameters[0]),
        float(np.sqrt(covariance[0, 0])),
        float(parameters[1]) if stiff else 0.0,
        float(np.sqrt(covariance[1, 1])) if stiff else 0.0,
        scatter,
        rest,
    )


def _solve(number: Reals, cents: Reals, doubt: Reals, *, stiff: bool) -> tuple[Reals, Reals, Reals]:
    """Return (cents, B), their covariance, and what is left of each partial in cents."""
    parameters = np.zeros(2)
    for _ in range(8 if stiff else 1):
        stiffness = parameters[1]
        law = 0.5 * _CENTS * np.log((1.0 + stiffness * number**2) / (1.0 + stiffness))
        by_stiffness = (
            0.5 * _CENTS * (number**2 / (1.0 + stiffness * number**2) - 1.0 / (1.0 + stiffness))
        )
        columns = np.stack([np.ones_like(number), by_stiffness], axis=1)[:, : 2 if stiff else 1]
        weighted = columns / doubt[:, None]
        size = np.linalg.norm(weighted, axis=0)  # B is counted in thousandths, cents in ones
        inverse = np.linalg.pinv((weighted / size).T @ (weighted / size))
        covariance = inverse / np.outer(size, size)
        step = covariance @ (weighted.T @ ((cents - parameters[0] - law) / doubt))
        parameters[: len(step)] += step
        parameters[1] = np.clip(parameters[1], 0.0, STIFFEST)
    law = 0.5 * _CENTS * np.log((1.0 + parameters[1] * number**2) / (1.0 + parameters[1]))
    return parameters, covariance, cents - parameters[0] - law
