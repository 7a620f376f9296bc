"""The prime factors of whole numbers up to 10**12, found in about a millisecond at worst."""

import math
from functools import lru_cache

LARGEST = 10**12

_SMALL_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47)
# Enough witnesses for every number below 3,474,749,660,383 (Jaeschke 1993; from memory).
_WITNESSES = (2, 3, 5, 7, 11, 13)


@lru_cache(maxsize=4096)
def prime_factors(number: int) -> tuple[tuple[int, int], ...]:
    """Return the primes of `number` (1 to `LARGEST`) with their powers, the least prime first.

    360 gives ((2, 3), (3, 2), (5, 1)), and 1 gives ().
    """
    powers: dict[int, int] = {}
    for prime in _SMALL_PRIMES:
        while number % prime == 0:
            number //= prime
            powers[prime] = powers.get(prime, 0) + 1
    waiting = [number] if number > 1 else []
    while waiting:
        part = waiting.pop()
        if _is_prime(part):
            powers[part] = powers.get(part, 0) + 1
        else:
            divisor = _divisor(part)
            waiting += [divisor, part // divisor]
    return tuple(sorted(powers.items()))


def _is_prime(number: int) -> bool:
    """Tell whether an odd number without small factors is prime, by Miller and Rabin's test."""
    odd = number - 1
    twos = (odd & -odd).bit_length() - 1
    odd >>= twos
    for witness in _WITNESSES:
        if number == witness:
            return True
        power = pow(witness, odd, number)
        if power in (1, number - 1):
            continue
        for _ in range(twos - 1):
            power = power * power % number
            if power == number - 1:
                break
        else:
            return False
    return True


def _divisor(composite: int) -> int:
    """Return a proper divisor of an odd composite, by Pollard's rho (BIT 15, 1975)."""
    root = math.isqrt(composite)
    if root * root == composite:
        return root
    step = 0
    while True:
        step += 1
        slow = fast = 2
        common = 1
        while common == 1:
            slow = (slow * slow + step) % composite
            fast = (fast * fast + step) % composite
            fast = (fast * fast + step) % composite
            common = math.gcd(slow - fast, composite)
        if common != composite:
            return common
