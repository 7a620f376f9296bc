"""Which lines an arrangement of FM operators may make, and how loud each may come to be.

A sum of operators is a function of the phases of its independent frequencies, its generators:
operators at whole multiples of one share it. Over a grid of those phases a Fourier transform gives
each combination of generators its amplitude, exactly but for what folds on the grid. Envelopes and
touch move indices each by itself, so many settings of them are tried, and the most is kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Reals

MOST_GENERATORS = 3
_GRIDS = {1: (8192,), 2: (256, 256), 3: (64, 64, 64)}
_MOST_DENOMINATOR = 64
_CLOSE = 1e-9  # of a ratio to a fraction
_FINEST = 16  # points of the grid in a cycle of the fastest operator
_SETTINGS = 96
_FAINTEST = 1e-4
_MOST_LINES = 256
_SAME_PHASE = 1e-9  # half the mean square of the angles, in radians, of what is one phase

Sound = Callable[[Reals, Reals], Reals]
"""Sums the operators: cycles (operators, points), and the share (operators,) of its amplitude that
each has, to (points,)."""


@dataclass(frozen=True, slots=True)
class Generators:
    """How operators' frequencies are made of independent ones.

    Operator k runs at `steps[k]` times the generator `of[k]`. Generator g is `ratio[g]` times the
    note's frequency and `hz[g]` more, one of which is 0.
    """

    of: tuple[int, ...]
    steps: tuple[int, ...]
    ratio: tuple[float, ...]
    hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Sidebands:
    """Combinations (lines, generators) of whole numbers, and the most amplitude of each.

    A line `turns` if its phase is not the same, or the opposite, at every setting.
    """

    combination: NDArray[np.int64]
    amplitude: Reals
    turns: NDArray[np.bool_]

    def places(self, generators: Generators) -> tuple[Reals, Reals]:
        """Return the ratios over a note and the Hz beyond them; no ratio is negative."""
        ratio = self.combination @ np.array(generators.ratio)
        hz = self.combination @ np.array(generators.hz)
        sign = np.where((ratio < 0.0) | ((ratio == 0.0) & (hz < 0.0)), -1.0, 1.0)
        return sign * ratio, sign * hz


def generators(ratios: Sequence[float | None], hz: Sequence[float | None]) -> Generators:
    """Return the generators of operators, each of which has a ratio or a fixed frequency."""
    fractions = [None if ratio is None else _fraction(ratio) for ratio in ratios]
    whole = [fraction for fraction in fractions if fraction is not None]
    common = lcm(*(fraction.denominator for fraction in whole)) if whole else 1
    places: dict[tuple[float, float], int] = {}
    of, steps = [], []
    for ratio, fraction, fixed in zip(ratios, fractions, hz, strict=True):
        if fraction is not None:
            key, step = (1.0 / common, 0.0), int(fraction * common)
        else:
            key, step = (0.0 if ratio is None else ratio, fixed or 0.0), 1
        of.append(places.setdefault(key, len(places)))
        steps.append(step)
    found = tuple(places)
    return Generators(
        tuple(of), tuple(steps), tuple(key[0] for key in found), tuple(key[1] for key in found)
    )


def lines(made_of: Generators, sound: Sound) -> Sidebands | None:
    """Return the lines of `sound` that come within 80 dB of a sine at full scale.

    At most 256, the loudest; None if the generators are too many, or too low, to tell.
    """
    count = len(made_of.ratio)
    if count > MOST_GENERATORS or max(made_of.steps) > _GRIDS[count][0] // _FINEST:
        return None
    grid = _GRIDS[count]
    axes = np.meshgrid(*(np.arange(size) / size for size in grid), indexing="ij")
    phases = np.stack([axis.ravel() for axis in axes])
    cycles = np.array(made_of.steps)[:, None] * phases[list(made_of.of)]
    most, power, square = np.zeros(grid), np.zeros(grid), np.zeros(grid, dtype=np.complex128)
    for shares in _settings(len(made_of.of)):
        spectrum = np.fft.fftn(sound(cycles, shares).reshape(grid)) * (2.0 / np.prod(grid))
        most = np.maximum(most, np.abs(spectrum))
        power += np.abs(spectrum) ** 2
        square += spectrum**2
    steps = np.stack([axis.ravel() for axis in np.meshgrid(*_numbers(grid), indexing="ij")], axis=1)
    amplitude = most.ravel()
    # A real sound has each line twice, at a combination and its opposite: one is enough.
    first = np.array([tuple(step) > tuple(-step) for step in steps])
    kept = np.flatnonzero(first & (amplitude > _FAINTEST))
    kept = kept[np.argsort(-amplitude[kept])][:_MOST_LINES]
    kept = np.sort(kept)
    turns = np.abs(square.ravel()[kept]) < (1.0 - _SAME_PHASE) * power.ravel()[kept]
    return Sidebands(steps[kept].astype(np.int64), amplitude[kept], turns)


def _settings(operators: int) -> list[Reals]:
    """Return amplitudes of the operators to try: all, none but one, and many between."""
    random = np.random.default_rng(operators)
    one_less = [np.where(np.arange(operators) == k, 0.0, 1.0) for k in range(operators)]
    rising = [np.full(operators, share) for share in np.linspace(0.0, 1.0, 33)[1:]]
    between = list(random.random((_SETTINGS, operators)))
    return [*one_less, *rising, *between]


def _numbers(grid: tuple[int, ...]) -> list[Reals]:
    return [np.rint(np.fft.fftfreq(size) * size) for size in grid]


def _fraction(ratio: float) -> Fraction | None:
    """Return the simple fraction that a ratio is, if it is one."""
    near = Fraction(ratio).limit_denominator(_MOST_DENOMINATOR)
    return near if abs(float(near) - ratio) < _CLOSE * ratio else None
