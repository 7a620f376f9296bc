"""Random intervals for property tests."""

from fractions import Fraction

from hypothesis import strategies as st

from meantide.pitch import UNISON, Interval

primes = st.sampled_from([2, 3, 5, 7, 11, 13, 17, 999983])


def fractions(most: int) -> st.SearchStrategy[Fraction]:
    return st.fractions(min_value=-most, max_value=most, max_denominator=most)


def intervals(most: int = 60) -> st.SearchStrategy[Interval]:
    """Make products of up to four primes to powers of at most `most`, above and below the bar."""
    powers = st.dictionaries(primes, fractions(most), max_size=4)
    return powers.map(
        lambda found: sum((Interval.ratio(p) * power for p, power in found.items()), UNISON)
    )
