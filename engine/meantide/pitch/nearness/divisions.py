"""Equal divisions ranked by how near they come to a set of target intervals.

Errors are found in whole numbers. Each prime's logarithm is taken once, to a hundred decimals, and
scaled to a whole number; targets and period are then whole sums of those, so that what is exactly
equal (the errors of 12 and 24 parts for a fifth, a target half-way between two steps) comes out
equal, and a rounding nearer to the middle than those digits tell is decided by exact logarithms.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from fractions import Fraction
from itertools import combinations
from typing import Literal

from meantide.errors import InvalidValue
from meantide.pitch import logarithm
from meantide.pitch.interval import OCTAVE, Interval
from meantide.pitch.nearness.degrees import nearest_step
from meantide.pitch.scale import MAX_SIZE

MAX_TARGETS = 100
LEAST_PERIOD = Interval.parse("1 cent")
MOST_OCTAVES = 1000  # of a target or a period
HEAVIEST = 10**9

_DECIMALS = 100
_PROGRESS_EVERY = 256

Progress = Callable[[int, int], None]
"""Told how many divisions are done, and of how many."""


@dataclass(frozen=True, slots=True)
class Division:
    """An equal division, and its best steps for each target in the order of the targets."""

    parts: int
    steps: tuple[int, ...]
    """The step nearest to each target; half-way between two, the lower."""
    errors_cents: tuple[float, ...]
    """How far each of these lies above its target."""
    error_cents: float
    """The weighted RMS error √(Σ w·e² / Σ w), each e in cents."""
    error_share: float
    """The same in shares of a step of this division."""
    consistent: bool
    """Whether the difference of any two of `steps` is a best step for the targets' difference."""


def rank_divisions(
    targets: Sequence[Interval],
    most: int,
    *,
    least: int = 1,
    period: Interval = OCTAVE,
    weights: Sequence[int | Fraction] | None = None,
    by: Literal["cents", "share"] = "cents",
    on_progress: Progress | None = None,
) -> list[Division]:
    """Return the divisions of `period` into `least` to `most` equal parts, the best first.

    They are ranked by their weighted error in cents, or in shares of a step; of equals the one of
    fewer parts comes first. There are 1 to 100 targets, each with a weight above 0 (all alike if
    `weights` is None), and parts up to 100,000. Raises InvalidValue.
    """
    _check(targets, period, weights, least, most)
    measure = _Measure(targets, period, weights or [1] * len(targets))
    found = []
    for parts in range(least, most + 1):
        found.append(measure.division(parts))
        done = parts - least + 1
        if on_progress and (done % _PROGRESS_EVERY == 0 or parts == most):
            on_progress(done, most - least + 1)
    if by == "cents":
        found.sort(key=lambda each: Fraction(each[0], each[1].parts ** 2))
    else:
        found.sort(key=lambda each: each[0])
    return [division for _, division in found]


class _Measure:
    """Targets, weights and period as whole numbers, on one scale that cancels from every answer."""

    def __init__(
        self, targets: Sequence[Interval], period: Interval, weights: Sequence[int | Fraction]
    ) -> None:
        self.intervals = tuple(targets)
        self.period = period
        share = math.lcm(*(weight.denominator for weight in weights))
        self.weights = tuple(int(weight * share) for weight in weights)
        whole = math.lcm(
            *(power.denominator for each in (*targets, period) for _, power in each.powers)
        )
        self.targets = tuple(_scaled(target, whole) for target in targets)
        self.slacks = tuple(_slack(target, whole) for target in targets)
        self.period_scaled, self.period_slack = _scaled(period, whole), _slack(period, whole)

    def division(self, parts: int) -> tuple[int, Division]:
        """Return a division, and its sum of w·e², e in shares of a step times 2·period_scaled."""
        period = self.period_scaled
        steps, errors, doubt = [], [], 0
        for target, slack, interval in zip(self.targets, self.slacks, self.intervals, strict=True):
            # Of two steps equally near the lower, as in nearest_step.
            step = -((period - 2 * parts * target) // (2 * period))
            error = 2 * (step * period - parts * target)
            unsure = 2 * parts * slack + (2 * abs(step) + 1) * self.period_slack
            if period - abs(error) <= unsure:
                step = nearest_step(interval, parts, self.period)
                error = 2 * (step * period - parts * target)
            steps.append(step)
            errors.append(error)
            doubt = max(doubt, unsure)
        # Two errors differ by the error of their difference: the widest two decide for all.
        spread = max(errors) - min(errors)
        if abs(spread - period) <= 2 * doubt:
            consistent = self._consistent(parts, steps)
        else:
            consistent = spread < period
        total = sum(w * error * error for w, error in zip(self.weights, errors, strict=True))
        # Whole numbers divide with one rounding, however large they are.
        share = math.sqrt(total / (sum(self.weights) * 4 * period * period))
        step_cents = self.period.cents / parts
        return total, Division(
            parts,
            tuple(steps),
            tuple(error / (2 * period) * step_cents for error in errors),
            share * step_cents,
            share,
            consistent,
        )

    def _consistent(self, parts: int, steps: Sequence[int]) -> bool:
        """Decide exactly whether every difference of two targets lies within half a step."""
        for (low, low_step), (high, high_step) in combinations(
            zip(self.intervals, steps, strict=True), 2
        ):
            difference = logarithm.combined(high.powers, low.powers, -1)
            scaled = logarithm.combined((), difference, 2 * parts)
            middle = 2 * (high_step - low_step)
            above = logarithm.combined(scaled, self.period.powers, -(middle - 1))
            below = logarithm.combined(scaled, self.period.powers, -(middle + 1))
            if logarithm.sign(above) < 0 or logarithm.sign(below) > 0:
                return False
        return True


def _scaled(interval: Interval, whole: int) -> int:
    """Return its natural logarithm times `whole`, in units of the last of a hundred decimals."""
    context = Context(prec=_DECIMALS + 5)
    unit = Decimal(10) ** _DECIMALS
    return sum(
        int(power * whole) * int(context.multiply(context.ln(prime), unit))
        for prime, power in interval.powers
    )


def _slack(interval: Interval, whole: int) -> int:
    """Return a bound on the error of `_scaled`: less than a unit for each use of a prime."""
    return sum(int(abs(power) * whole) for _, power in interval.powers)


def _check(
    targets: Sequence[Interval],
    period: Interval,
    weights: Sequence[int | Fraction] | None,
    least: int,
    most: int,
) -> None:
    """Refuse what cannot be ranked."""
    if not 1 <= len(targets) <= MAX_TARGETS:
        raise InvalidValue("targets", f"{len(targets)} intervals", f"1 to {MAX_TARGETS} intervals")
    for target in targets:
        if abs(target.octaves) > MOST_OCTAVES:
            raise InvalidValue("target", str(target), f"at most {MOST_OCTAVES} octaves")
    if period < LEAST_PERIOD or period.octaves > MOST_OCTAVES:
        raise InvalidValue("period", str(period), f"1 cent to {MOST_OCTAVES} octaves")
    if type(least) is not int or type(most) is not int or not 1 <= least <= most <= MAX_SIZE:
        raise InvalidValue(
            "parts", f"{least} to {most}", f"rising whole numbers from 1 to {MAX_SIZE}"
        )
    if weights is None:
        return
    if len(weights) != len(targets):
        raise InvalidValue(
            "weights", f"{len(weights)} weights", f"one for each of {len(targets)} targets"
        )
    for weight in weights:
        if type(weight) not in (int, Fraction) or not Fraction(1, HEAVIEST) <= weight <= HEAVIEST:
            raise InvalidValue("weight", str(weight), f"a number from 1/{HEAVIEST} to {HEAVIEST}")
