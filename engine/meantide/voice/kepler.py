"""A sine that moves its own phase: y = sin(θ + β·y), solved exactly.

With E = θ + β·y this is Kepler's equation, E - β·sin E = θ, which has one solution for |β| <= 1.
It is begun with Mikkola's cubic (Celestial Mechanics 40 (1987) 329, from memory), which is within
some thousandths of E wherever it is asked; two of Halley's steps, each of which takes an error to
its third power, bring that below 1e-12. Always two, so that many can be solved together.

Near β = 1 and θ = 0 a plain E - β·sin E loses its digits in a difference. Written as
(1 - β)·E + β·(E - sin E), with E - sin E by its series, it does not.
"""

import math

import numpy as np

from meantide.voice.kernel import F64

SINE_TERMS = tuple((-1.0) ** k / math.factorial(2 * k + 1) for k in range(1, 10))
"""Of sin x = x + x³·(...): to 1e-15 for |x| <= π/2."""
VERSINE_TERMS = tuple((-1.0) ** (k + 1) / math.factorial(2 * k) for k in range(1, 11))
"""Of 1 - cos x = x²·(...)."""
HALLEY_STEPS = 2
FIFTH = 0.078
"""By which Mikkola's cubic is corrected."""
LEAST_CUBE = 1e-36
"""Whose root is begun from at θ = 0, where β = 1 leaves no slope."""


def reduced(cycles: F64) -> F64:
    """Return phases less their whole turns, within ±1/2."""
    within: F64 = cycles - np.floor(cycles + 0.5)
    return within


def fed_back_sine(cycles: F64, feedback: F64 | float) -> F64:
    """Return y = sin(2π·cycles + feedback·y), feedback within ±1; float64, to 1e-12."""
    negative = np.less(feedback, 0.0)  # y(θ; -β) = -y(θ + π; β)
    mean = 2.0 * math.pi * reduced(cycles + 0.5 * negative)
    anomaly = eccentric_anomaly(np.abs(mean), np.abs(feedback))
    sine: F64 = np.copysign(np.sin(anomaly), np.where(negative, -mean, mean))
    return sine


def eccentric_anomaly(mean: F64, eccentricity: F64 | float) -> F64:
    """Return E of E - e·sin E = M, for M of 0..π and e of 0..1."""
    e = eccentricity
    alpha = (1.0 - e) / (4.0 * e + 0.5)
    half = 0.5 * mean / (4.0 * e + 0.5)
    z = np.cbrt(np.maximum(half + np.sqrt(half * half + alpha**3), LEAST_CUBE))
    s = z - alpha / z
    s -= FIFTH * s**5 / (1.0 + e)
    anomaly: F64 = mean + e * s * (3.0 - 4.0 * s * s)
    for _ in range(HALLEY_STEPS):
        folded = np.minimum(anomaly, math.pi - anomaly)
        square = folded * folded
        above = folded * square * -_series(SINE_TERMS, square)  # folded - sin folded
        versine = square * _series(VERSINE_TERMS, square)
        versine = np.where(folded < anomaly, 2.0 - versine, versine)
        miss = (1.0 - e) * anomaly + e * (anomaly - folded + above) - mean
        slope = 1.0 - e + e * versine
        anomaly -= miss * slope / (slope * slope - 0.5 * miss * e * (folded - above))
    return anomaly


def _series(terms: tuple[float, ...], x: F64) -> F64:
    total = np.full_like(x, terms[-1])
    for term in reversed(terms[:-1]):
        total = total * x + term
    return total
