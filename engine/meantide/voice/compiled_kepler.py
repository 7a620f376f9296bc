"""Sines in float64, plain and fed back, as polynomials, so that compiled loops become vectors.

What moves a phase by many radians has to be exact beyond float32. The laws of `kepler.py`, whose
cube root, which only the beginning needs, is found here from the exponent's bits.
"""

import math

import numpy as np

from meantide.voice.compiled_sines import reduced
from meantide.voice.compiling import inlined
from meantide.voice.kepler import FIFTH, LEAST_CUBE, SINE_TERMS, VERSINE_TERMS

TURN = 2.0 * math.pi
S3, S5, S7, S9, S11, S13, S15, S17, S19 = SINE_TERMS
V2, V4, V6, V8, V10, V12, V14, V16, V18, V20 = VERSINE_TERMS
THIRD = np.float32(1.0 / 3.0)
THIRD_OF_BIAS = np.int32(709_921_077)
"""Two thirds of the bits of 1.0, less what makes the greatest error least: 3.2 %, from memory."""


@inlined
def precise_sine(cycles: float) -> float:
    """Return the sine of an angle within ±1/2 cycle, to 1e-12."""
    size = abs(cycles)
    x = min(size, 0.5 - size) * TURN
    z = x * x
    p = S11 + z * (S13 + z * (S15 + z * S17))
    sine = x * (1.0 + z * (S3 + z * (S5 + z * (S7 + z * (S9 + z * p)))))
    return math.copysign(sine, cycles)


@inlined
def less_sine(x: float, z: float) -> float:
    """Return x - sin x for x within ±π/2, whose square is z."""
    p = S11 + z * (S13 + z * (S15 + z * (S17 + z * S19)))
    return -x * z * (S3 + z * (S5 + z * (S7 + z * (S9 + z * p))))


@inlined
def versine_of(z: float) -> float:
    """Return 1 - cos x for x within ±π/2, whose square is z."""
    p = V12 + z * (V14 + z * (V16 + z * (V18 + z * V20)))
    return z * (V2 + z * (V4 + z * (V6 + z * (V8 + z * (V10 + z * p)))))


@inlined
def cube_root(a: float) -> float:
    """Return the cube root of a >= 1e-36, to 3e-5."""
    bits = np.float32(np.float32(a).view(np.int32))
    z = np.float64(np.int32(np.int32(bits * THIRD) + THIRD_OF_BIAS).view(np.float32))
    cube = z * z * z
    return float(z * (cube + 2.0 * a) / (2.0 * cube + a))


@inlined
def halley_step(anomaly: float, mean: float, e: float) -> float:
    """Return a better E of E - e·sin E = M."""
    folded = min(anomaly, math.pi - anomaly)
    z = folded * folded
    above = less_sine(folded, z)
    versine = versine_of(z)
    if folded < anomaly:
        versine = 2.0 - versine
    miss = (1.0 - e) * anomaly + e * (anomaly - folded + above) - mean
    slope = 1.0 - e + e * versine
    return anomaly - miss * slope / (slope * slope - 0.5 * miss * e * (folded - above))


@inlined
def fed_back_sine(cycles: float, feedback: float, fully: bool) -> float:
    """Return y = sin(2π·cycles + feedback·y), feedback within ±1; unless `fully` only to 4e-9."""
    e = abs(feedback)
    turned = reduced(cycles + (0.5 if feedback < 0.0 else 0.0))
    mean = TURN * abs(turned)
    by = 1.0 / (4.0 * e + 0.5)
    alpha, half = (1.0 - e) * by, 0.5 * mean * by
    z = cube_root(max(half + math.sqrt(half * half + alpha * alpha * alpha), LEAST_CUBE))
    s = z - alpha / z
    square = s * s
    s -= FIFTH * square * square * s / (1.0 + e)
    anomaly = mean + e * s * (3.0 - 4.0 * s * s)
    anomaly = halley_step(anomaly, mean, e)
    if fully:
        anomaly = halley_step(anomaly, mean, e)
    sine = precise_sine(min(anomaly, math.pi) * (1.0 / TURN))
    return math.copysign(sine, -turned if feedback < 0.0 else turned)
