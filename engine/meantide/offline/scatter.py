"""How far measurements differ beyond what their uncertainties allow."""

from collections.abc import Callable

_MOST_CENTS = 1200.0
_STEPS = 60


def probable_scatter(excess: Callable[[float], float]) -> float:
    """Return the scatter in cents that makes what is left of a fit as large as is to be expected.

    `excess(scatter)` is the weighted sum of squares less its expectation, the number of degrees of
    freedom, when the scatter is added to every variance; it falls as the scatter grows. 0 where
    the uncertainties alone explain all (Paule and Mandel, J. Res. NBS 87, 1982, from memory).
    """
    if excess(0.0) <= 0.0:
        return 0.0
    low, high = 0.0, _MOST_CENTS
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return high
