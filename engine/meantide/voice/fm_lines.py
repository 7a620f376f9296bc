"""The lines of an FM voice's spectrum, at full velocity and with its indices at full.

Each line lies at a heard operator's ratio plus whole multiples of the ratios of all that move it;
which of these there are follows from the arrangement, how strong they are is measured from the
voice's own sound, computed in float64 for a moment that stands still.
"""

import math

import numpy as np

from meantide.pitch import Interval
from meantide.voice.description import Partial
from meantide.voice.fm_description import MOST_OPERATORS, DegreesUp, FmVoice
from meantide.voice.fm_operators import sum_of_operators
from meantide.voice.fm_points import MOST_PATHS, path_place
from meantide.voice.kernel import F64

FAINTEST_DB = -60.0
"""Lines further below the voice's whole power are left out."""
MOST_LINES = 256
SAME = 1e-9
"""Lines nearer to each other than this, as ratios, are one."""
PERIODS, SAMPLES = 512, 1 << 17
"""Of the note's, and in them."""
WINDOW_SHAPE = 14.0
"""Kaiser's: lines 6 / PERIODS apart do not see each other, -95 dB."""
LEAST_APART = 6.0 / PERIODS


def fm_lines(voice: FmVoice) -> tuple[Partial, ...]:
    """Return the lines of `voice` over a note, from the lowest up, but for fixed frequencies'.

    Levels are in dB of the voice's whole power. Of lines that are too near to each other to be told
    apart the strongest place stands for all. A degree of the scale counts as in twelve equal parts.
    """
    order = voice.order()
    ratios, phases = np.zeros(len(order)), np.zeros(len(order))
    levels = np.array(voice.levels())[[number - 1 for number in order]]
    feedback, indices = np.zeros(len(order)), np.zeros(MOST_PATHS)
    for place, number in enumerate(order):
        operator = voice.operators[number - 1]
        if operator.hz is not None:
            levels[place] = 0.0  # it does not follow the note; nor do its sidebands
            continue
        ratios[place], phases[place] = _ratio(operator.ratio), operator.phase
        feedback[place] = operator.feedback
    places = {number: place for place, number in enumerate(order)}
    for path in voice.paths:
        source, target = places[path.source], places[path.target]
        if ratios[source] and ratios[target]:
            indices[path_place(source, target)] = path.index
    cycles = np.outer(ratios, np.arange(SAMPLES) * (PERIODS / SAMPLES)) + phases[:, None]
    sound = sum_of_operators(cycles, levels[:, None], feedback[:, None], indices[:, None])
    window = np.kaiser(SAMPLES, WINDOW_SHAPE)
    spectrum = np.abs(np.fft.rfft(sound * window)) * (2.0 / window.sum())
    highest = SAMPLES / PERIODS / 2.0
    return _told_apart(_places(ratios, feedback, indices, levels, highest), spectrum)


def _ratio(ratio: float | Interval | DegreesUp | None) -> float:
    if isinstance(ratio, Interval):
        return ratio.ratio_value
    if isinstance(ratio, DegreesUp):
        return float(2.0 ** (ratio.degrees / 12.0))
    return float(ratio or 1.0)


def _places(ratios: F64, feedback: F64, indices: F64, levels: F64, highest: float) -> F64:
    """Return all ratios at which lines may lie, up to `highest`, ascending."""
    of_operator: list[F64] = []
    for target, own in enumerate(ratios):
        lines = np.array([own])
        for source in range(target):
            index = float(indices[path_place(source, target)])
            if index == 0.0:
                continue
            reach = math.ceil(index + 4.0 * index ** (1.0 / 3.0) + 4.0)  # J_n(I) is under 1e-4
            steps = _sums(of_operator[source], reach)
            lines = _unique(np.abs(lines[:, None] + steps[None, :]).ravel(), highest)
        if feedback[target]:
            lines = _unique(np.outer(np.arange(1, 65), lines).ravel(), highest)
        of_operator.append(lines)
    heard = [lines for lines, level in zip(of_operator, levels, strict=True) if level > 0.0]
    return _unique(np.concatenate(heard), highest) if heard else np.zeros(0)


def _sums(lines: F64, reach: int) -> F64:
    """Return what `reach` steps along the lines of a modulator can lead to, both ways."""
    base = lines if len(lines) <= MOST_OPERATORS else lines[:MOST_OPERATORS]
    multiples = np.arange(-reach, reach + 1)
    sums: F64 = np.unique(np.concatenate([multiples * line for line in base]))
    return sums


def _unique(lines: F64, highest: float) -> F64:
    ordered = np.sort(lines[(lines > SAME) & (lines < highest)])
    first = np.append(True, np.diff(ordered) > SAME)
    unique: F64 = ordered[first]
    return unique


def _told_apart(lines: F64, spectrum: F64) -> tuple[Partial, ...]:
    """Return the lines that are there, each the strongest of those near it."""
    if len(lines) == 0:
        return ()
    levels = spectrum[np.rint(lines * PERIODS).astype(np.intp)]
    found: list[tuple[float, float]] = []
    for place, level in zip(lines.tolist(), levels.tolist(), strict=True):
        if level < 10.0 ** (FAINTEST_DB / 20.0):
            continue
        if found and place - found[-1][0] < LEAST_APART:
            if level > found[-1][1]:
                found[-1] = (place, level)
            continue
        found.append((place, level))
    strongest = sorted(sorted(found, key=lambda line: -line[1])[:MOST_LINES])
    return tuple(Partial(place, 20.0 * math.log10(level)) for place, level in strongest)
