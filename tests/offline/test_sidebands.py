"""The lines of FM operators, against Bessel functions (Abramowitz and Stegun 9.1.42-45)."""

import numpy as np
import pytest
from scipy.special import jv

from meantide.offline.sidebands import generators, lines

LOUDEST = np.linspace(0.0, 1.0, 4001)


def pair(index):
    """Return the sum of a carrier, the first operator, whose phase the second one moves."""

    def sound(cycles, shares):
        modulator = index * shares[1] * np.sin(2 * np.pi * cycles[1])
        return np.sin(2 * np.pi * cycles[0] + modulator)

    return sound


@pytest.mark.parametrize("index", [0.5, 2.0, 5.0])
def test_sidebands_of_an_irrational_ratio_are_as_loud_as_they_can_come_to_be(index):
    made_of = generators([1.0, np.sqrt(2.0)], [None, None])
    found = lines(made_of, pair(index))
    ratio, hz = found.places(made_of)
    assert not hz.any()
    for number in range(-4, 5):
        loudest = float(np.abs(jv(number, LOUDEST * index)).max())
        if loudest < 2e-4:
            continue
        place = np.flatnonzero(np.isclose(ratio, abs(1.0 + number * np.sqrt(2.0)), rtol=1e-12))
        assert len(place) == 1
        assert found.amplitude[place[0]] == pytest.approx(loudest, rel=0.02)  # shares tried


def test_reflected_sidebands_fall_on_harmonics():
    made_of = generators([1.0, 2.0], [None, None])
    found = lines(made_of, pair(2.0))
    ratio, _ = found.places(made_of)
    assert ratio == pytest.approx(np.arange(1.0, 2.0 * len(ratio), 2.0))  # c:m 1:2 has odd ones
    # 1 + 0·2 and |1 - 1·2|: J0 + J1 where they add (Chowning 1973)
    together = np.abs(jv(0, 2.0 * LOUDEST) - jv(-1, 2.0 * LOUDEST)).max()
    assert found.amplitude[0] == pytest.approx(together, rel=0.02)


def test_fractions_share_a_generator_and_fixed_frequencies_have_their_own():
    made_of = generators([1.5, 1.25, None, np.pi], [None, None, 70.0, None])
    assert made_of.ratio == (0.25, 0.0, np.pi)
    assert made_of.hz == (0.0, 70.0, 0.0)
    assert made_of.of == (0, 0, 1, 2)
    assert made_of.steps == (6, 5, 1, 1)


def test_sidebands_about_a_fixed_frequency_lie_so_many_hz_from_the_notes():
    made_of = generators([1.0, None], [None, 70.0])
    ratio, hz = lines(made_of, pair(1.0)).places(made_of)
    assert set(ratio) == {1.0}
    assert {-140.0, -70.0, 0.0, 70.0, 140.0} <= set(hz)


def test_too_many_independent_frequencies_cannot_be_listed():
    assert lines(generators([1.0, 2**0.5, 3**0.5, 5**0.5], [None] * 4), pair(1.0)) is None
