"""From 2, 4 or 8 times the rate down to it, by a symmetric filter: all frequencies late alike.

A sinc under Kaiser's window, its length and shape by his formulas (in Oppenheim and Schafer,
Discrete-Time Signal Processing, from memory). It passes what lies below 3/8 of the rate (18 kHz at
48 kHz) and stops what lies above half of it by more than 90 dB, so that nothing folds.
"""

import math
from functools import cache

import numpy as np

from meantide.voice.kernel import F32, F64

FACTORS = (1, 2, 4, 8)
"""How many times the rate a voice may be made at."""
DELAY = 24
"""Samples (at the rate itself) by which the filter is late."""
REACH = 2 * DELAY
"""Samples of the past that it needs."""
STOPPED_DB = 97.0
MIDDLE = 0.434
"""Of the slope between the two bands, in shares of the rate: tried, for more than the formulas
promise."""


@cache
def taps(factor: int) -> F64:
    """Return the filter's coefficients, 2 · DELAY · `factor` + 1; their sum is 1. Control side."""
    places = np.arange(-DELAY * factor, DELAY * factor + 1) / factor
    shape = 0.1102 * (STOPPED_DB - 8.7)
    coefficients: F64 = np.sinc(2.0 * MIDDLE * places) * np.kaiser(len(places), shape)
    coefficients /= math.fsum(coefficients)
    coefficients.flags.writeable = False
    return coefficients


@cache
def phase_taps(factor: int) -> F32:
    """Return the coefficients by phase, (`factor`, REACH + 1).

    With x(n, p) the sample at n + p/factor, the output at n is the sum over p and j of
    c(p, j) · x(n - j, p); it is what lies around n - DELAY. Control side.
    """
    table = np.zeros((factor, REACH + 1), np.float32)
    for k, coefficient in enumerate(taps(factor)):
        table[-k % factor, -(-k // factor)] = coefficient
    table.flags.writeable = False
    return table


def decimated(samples: F32, factor: int) -> F32:
    """Return the outputs (n,) for `samples` (`factor`, REACH + n), phase by phase, float32."""
    table = phase_taps(factor)
    outputs = np.zeros(samples.shape[1] - REACH, np.float32)
    for phase, coefficients in zip(samples, table, strict=True):
        outputs += np.correlate(phase, coefficients[::-1], "valid")
    return outputs
