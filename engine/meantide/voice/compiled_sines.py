"""Sines and exponentials as polynomials, so that compiled loops over them become vectors.

A call of the C library's sine keeps a loop scalar. float32, but for what a phase is made of; tests
say how exact.
"""

import math
from typing import Any

import numpy as np

from meantide.voice.compiling import Single, inlined

TURN = np.float32(2.0 * math.pi)
HALF_TURN, QUARTER_TURN = np.float32(0.5), np.float32(0.25)

# Abramowitz and Stegun, Handbook of Mathematical Functions, 4.3.97: sin x / x, |x| <= pi/2, to 2e-9
ONE = np.float32(1.0)
S2, S4, S6, S8, S10 = (
    np.float32(a) for a in (-0.1666666664, 0.0083333315, -0.0001984090, 0.0000027526, -0.0000000239)
)
# a fit to sin πx for |x| <= 1/2 that is least wrong, in proportion, where it is worst: to 6e-9
H1, H3, H5, H7, H9 = (
    np.float32(a) for a in (3.1415926369, -5.1677096948, 2.5500697261, -0.5982421251, 0.0775603845)
)
ONE_BIT, SIGN = np.int32(1), np.int32(-(2**31))
HALF_TURN_OF_32_BITS = np.float32(2.0**-32)  # where the sign is one of them
# A. & S. 4.2.45: exp(-x), 0 <= x <= ln 2, to 2e-10
E1, E2, E3, E4, E5, E6, E7 = (
    np.float32(a)
    for a in (
        -0.9999999995, 0.4999999206, -0.1666653019, 0.0416573475, -0.0083013598, 0.0013298820,
        -0.0001413161,
    )
)  # fmt: skip
LN_2, HALVINGS = np.float32(math.log(2.0)), np.float32(1.0 / math.log(2.0))
LARGEST_FALL = np.float32(80.0)  # -695 dB; 2 to the power of -126 is the least that float32 has
# Taylor's series of sin(2πx) and of exp(x), in float64
T1, T3, T5, T7, T9, T11, T13, T15 = (
    (-1) ** n * (2.0 * math.pi) ** (2 * n + 1) / math.factorial(2 * n + 1) for n in range(8)
)
F2, F3, F4, F5, F6, F7, F8 = (1.0 / math.factorial(n) for n in range(2, 9))
GROWN_PART, GROWN_SQUARES = 1.0 / 256.0, 8
EXPONENT_BIAS, EXPONENT_SHIFT = np.int32(127), np.int32(23)  # IEEE 754, binary32


@inlined
def reduced(phase: float) -> float:
    """Return a phase in cycles less its whole turns, within ±1/2; float64."""
    return float(phase - np.floor(phase + 0.5))


@inlined
def sine_in_quarters(cycles: Single) -> Single:
    """Return the sine of an angle within ±1/4 cycle."""
    x = cycles * TURN
    z = x * x
    return x * (ONE + z * (S2 + z * (S4 + z * (S6 + z * (S8 + z * S10)))))


@inlined
def sine(cycles: Single) -> Single:
    """Return the sine of an angle within ±1/2 cycle."""
    size = abs(cycles)
    return math.copysign(sine_in_quarters(min(size, HALF_TURN - size)), cycles)


@inlined
def sine_of_32_bits(phase: Any) -> Single:
    """Return the sine of an angle in 32-bit fixed point, a turn being 2 to the power of 32."""
    rest = np.int32(phase << ONE_BIT)  # what is over whole half turns
    x = np.float32(rest) * HALF_TURN_OF_32_BITS
    z = x * x
    y = x * (H1 + z * (H3 + z * (H5 + z * (H7 + z * H9))))
    sign = np.int32(np.int32(phase ^ rest) & SIGN)  # odd half turns turn it
    return np.int32(np.float32(y).view(np.int32) ^ sign).view(np.float32)


@inlined
def cosine(cycles: Single) -> Single:
    """Return the cosine of an angle within ±1/2 cycle."""
    return sine_in_quarters(QUARTER_TURN - abs(cycles))


@inlined
def fallen(x: Single) -> Single:
    """Return exp(-x) for x >= 0; what is under -695 dB is no smaller than that."""
    x = min(x, LARGEST_FALL)
    halvings = np.floor(x * HALVINGS)
    r = x - halvings * LN_2
    power = np.int32((EXPONENT_BIAS - np.int32(halvings)) << EXPONENT_SHIFT).view(np.float32)
    return power * (ONE + r * (E1 + r * (E2 + r * (E3 + r * (E4 + r * (E5 + r * (E6 + r * E7)))))))


@inlined
def exact_sine(cycles: float) -> float:
    """Return the sine of an angle within ±1/2 cycle in float64, to 1e-11."""
    size = abs(cycles)
    x = math.copysign(min(size, 0.5 - size), cycles)
    z = x * x
    high = T9 + z * (T11 + z * (T13 + z * T15))
    return float(x * (T1 + z * (T3 + z * (T5 + z * (T7 + z * high)))))


@inlined
def grown_a_little(x: float) -> float:
    """Return exp(x) in float64, |x| <= 0.06, to 1e-12."""
    return 1.0 + x * (1.0 + x * (F2 + x * (F3 + x * (F4 + x * (F5 + x * F6)))))


@inlined
def grown(x: float) -> float:
    """Return exp(x) in float64, |x| <= 30, to 1e-11: the 256th power of that of a 256th part."""
    r = x * GROWN_PART
    power = grown_a_little(r) + r**7 * (F7 + r * F8)
    for _ in range(GROWN_SQUARES):
        power *= power
    return power
