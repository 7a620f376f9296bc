"""Prime factors, against division by every number there is."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.pitch.factors import LARGEST, prime_factors


def is_prime(number: int) -> bool:
    return number > 1 and all(number % divisor for divisor in range(2, math.isqrt(number) + 1))


@given(st.integers(1, 10**7) | st.integers(LARGEST - 10**6, LARGEST))
def test_the_product_of_the_factors_is_the_number_and_each_is_prime(number: int) -> None:
    factors = prime_factors(number)
    assert math.prod(prime**power for prime, power in factors) == number
    assert [prime for prime, _ in factors] == sorted({prime for prime, _ in factors})
    for prime, power in factors:
        assert power > 0
        assert is_prime(prime)


@pytest.mark.parametrize(
    ("number", "factors"),
    [
        (1, ()),
        (360, ((2, 3), (3, 2), (5, 1))),
        (531441, ((3, 12),)),
        (999983**2, ((999983, 2),)),  # the largest prime below a million, squared
        (999983 * 999979, ((999979, 1), (999983, 1))),
        (999999999989, ((999999999989, 1),)),  # the largest prime below 10**12
        (LARGEST, ((2, 12), (5, 12))),
        # A strong pseudoprime to the bases 2, 3, 5 and 7 (Pomerance and others 1980).
        (3215031751, ((151, 1), (751, 1), (28351, 1))),
    ],
)
def test_known_factorisations(number: int, factors: tuple[tuple[int, int], ...]) -> None:
    assert prime_factors(number) == factors
