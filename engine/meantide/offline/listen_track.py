"""The pitch of a tone from moment to moment: vibrato, drift, and how sure its mean is."""

from dataclasses import dataclass

import numpy as np

from meantide.offline.partials import Reals, Stretch, fitting_size, window

_PERIODS = 8.0  # in one moment: the partials stand eight bins apart
_SHORTEST_S = 0.03
_FEWEST_SAMPLES = 128
_HOPS_A_MOMENT = 3
_MOST_MOMENTS = 600
_FEWEST_MOMENTS = 8
_PARTIALS = 4
_REACH_CENTS = 150.0
_REACH_SPACING = 0.45  # of the distance between partials
_BLOCKS = 8
_WANDERS = 2.6  # the variance of eight means over what noise makes it: one in a hundred

_SLOWEST_HZ, _FASTEST_HZ = 2.0, 12.0  # of vibrato
_FEWEST_CYCLES = 2.5
_LEAST_RESPONSE = 0.3  # of a moment to a vibrato; less of it is left out as unseen
_SURE = 15.0  # power over the noise's; noise comes so high once in e^15 frequencies
_LEAST_CENTS = 0.3
_SETTLED_SPREADS = 4.0
_SETTLED_CENTS = 0.2


@dataclass(frozen=True, slots=True)
class Vibrato:
    """How often a second a pitch swings, and how far to either side, in cents."""

    rate_hz: float
    width_cents: float


@dataclass(frozen=True, slots=True)
class Motion:
    """What a pitch does over time, in cents about the frequency it was tracked by.

    `mean_cents` and `mean_uncertainty_cents` are of whole swings of the vibrato, if there is one;
    `drift_cents` is the way from beginning to end along a straight line; `wander_cents` the
    standard deviation of eight means in a row beyond what the noise makes them differ. Until
    `settled_s` after the first sample the pitch was still coming to rest.
    """

    mean_cents: float
    mean_uncertainty_cents: float
    drift_cents: float
    wander_cents: float
    vibrato: Vibrato | None
    settled_s: float


def follow(
    samples: Reals, rate: int, numbers: Reals, partials_hz: Reals, amplitude: Reals
) -> Motion | None:
    """Follow the strongest of some partials through `samples`; None if these are too few.

    `numbers`, `partials_hz` and `amplitude` (lines,) are of the partials' places.
    """
    first_hz = float(partials_hz[0] / numbers[0])
    moment_s = max(_PERIODS / first_hz, _SHORTEST_S)
    size = fitting_size(max(round(moment_s * rate), _FEWEST_SAMPLES))
    hop = max(size // _HOPS_A_MOMENT, len(samples) // _MOST_MOMENTS)
    starts = np.arange(0, len(samples) - size + 1, hop)
    if len(starts) < _FEWEST_MOMENTS:
        return None
    best = np.argsort(-amplitude * numbers)[:_PARTIALS]
    best = best[amplitude[best] > 0.03 * amplitude.max()]
    cents = np.array(
        [
            _moment(samples[start : start + size], rate, numbers[best], partials_hz[best], first_hz)
            for start in starts
        ]
    )
    heard = np.isfinite(cents)
    if heard.sum() < max(_FEWEST_MOMENTS, len(starts) // 2):
        return None
    seconds = (starts + size / 2.0) / rate
    return _motion(seconds[heard], cents[heard], size / rate)


def _moment(
    samples: Reals, rate: int, numbers: Reals, partials_hz: Reals, first_hz: float
) -> float:
    """Return how many cents the partials lie off their places, weighted by what each is worth."""
    stretch = Stretch(samples, rate)
    reach = np.minimum(
        partials_hz * (2.0 ** (_REACH_CENTS / 1200.0) - 1.0), _REACH_SPACING * first_hz
    )
    lines = stretch.lines(
        partials_hz, partials_hz - reach, partials_hz + reach, np.zeros_like(partials_hz)
    )
    weight = np.where(lines.found, lines.amplitude * numbers, 0.0) ** 2
    if not weight.any():
        return float(np.nan)
    cents = 1200.0 * np.log2(np.where(lines.found, lines.hz, partials_hz) / partials_hz)
    return float(np.sum(weight * cents) / weight.sum())


def _motion(seconds: Reals, cents: Reals, moment_s: float) -> Motion:
    centre = (seconds[0] + seconds[-1]) / 2.0
    length_s = float(seconds[-1] - seconds[0])
    vibrato, fitted = _vibrato(seconds - centre, cents, moment_s)
    plain = _columns(seconds - centre, None)
    line = np.linalg.lstsq(fitted, cents, rcond=None)[0]
    rest = cents - fitted @ line
    scatter = float(np.sqrt(np.sum(rest**2) / max(len(cents) - fitted.shape[1], 1)))
    worth = max(len(cents) * (length_s / len(cents)) / moment_s * 2.0, 1.0)
    worth = min(worth, float(len(cents)))  # moments that overlap tell less than as many apart
    expected = scatter * np.sqrt(_BLOCKS / worth)
    steps = cents - fitted[:, 2:] @ line[2:]  # the vibrato taken out, the drift left in
    means = np.array([block.mean() for block in np.array_split(steps, _BLOCKS)])
    spread = float(means.var(ddof=1))
    wander = float(np.sqrt(spread - expected**2)) if spread > _WANDERS * expected**2 else 0.0
    rests = np.array([block.mean() for block in np.array_split(rest, _BLOCKS)])
    doubt = max(scatter / np.sqrt(worth), float(rests.std(ddof=1)) / np.sqrt(_BLOCKS))
    drift = float(np.linalg.lstsq(plain, steps, rcond=None)[0][1]) * length_s
    settled = 0.0 if vibrato else _settled(cents) * length_s / len(cents)
    return Motion(float(line[0]), doubt, drift, wander, vibrato, settled)


def _settled(cents: Reals) -> int:
    """Return how many moments at the beginning lie off the pitch of the second half."""
    late = cents[len(cents) // 2 :]
    rest = float(np.median(late))
    spread = 1.4826 * float(np.median(np.abs(late - rest)))
    still = np.abs(cents - rest) <= max(_SETTLED_SPREADS * spread, _SETTLED_CENTS)
    first = int(np.argmax(still))
    return first if first <= len(cents) // 3 else 0


def _columns(seconds: Reals, vibrato_hz: float | None) -> Reals:
    """Return (moments, 2 or 4): a constant, a slope, and a swing."""
    columns = [np.ones_like(seconds), seconds]
    if vibrato_hz is not None:
        turn = 2.0 * np.pi * vibrato_hz * seconds
        columns += [np.cos(turn), np.sin(turn)]
    return np.stack(columns, axis=1)


def _vibrato(seconds: Reals, cents: Reals, moment_s: float) -> tuple[Vibrato | None, Reals]:
    """Return the vibrato, if one stands out, and the columns that describe the pitch."""
    length_s = float(seconds[-1] - seconds[0])
    slowest = max(_SLOWEST_HZ, _FEWEST_CYCLES / length_s)
    rates = np.arange(slowest, _FASTEST_HZ, 0.2 / length_s)
    rates = rates[[_response(each * moment_s) > _LEAST_RESPONSE for each in rates]]
    plain = _columns(seconds, None)
    if not len(rates) or len(cents) < 2 * _FEWEST_MOMENTS:
        return None, plain

    def left(rate_hz: float) -> tuple[float, float]:
        columns = _columns(seconds, rate_hz)
        line = np.linalg.lstsq(columns, cents, rcond=None)[0]
        rest = cents - columns @ line
        return float(np.sum(rest**2)), float(np.hypot(line[2], line[3]))

    tried = [left(float(each)) for each in rates]
    best = int(np.argmin([rest for rest, _ in tried]))
    rate_hz, (rest, swing) = float(rates[best]), tried[best]
    noise = rest / max(len(cents) - 4, 1)
    # Moments overlap by two thirds, so that half of them count.
    standing = swing**2 * len(cents) / 8.0 / max(noise, 1e-300)
    width = swing / _response(rate_hz * moment_s)
    at_edge = best in (0, len(tried) - 1)  # whatever moves more slowly or faster looks best there
    if at_edge or standing < _SURE or width < _LEAST_CENTS:
        return None, plain
    return Vibrato(rate_hz, width), _columns(seconds, rate_hz)


def _response(cycles: float) -> float:
    """Return what is left of a swing of so many cycles a moment: the window's own transform.

    To first order a moment tells the mean of the frequency weighted by its window.
    """
    weights = window(512)[0]
    place = (np.arange(512) + 0.5) / 512 - 0.5
    return float(np.abs(np.sum(weights * np.cos(2.0 * np.pi * cycles * place)) / weights.sum()))
