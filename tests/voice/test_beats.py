"""Beats: rates of well-known dyads, and of stiff strings."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.beats import HIGHEST_HZ, Beat, beats
from meantide.voice.description import AdditiveVoice, Partial

TWELVE = Tuning(Scale.equal(12), Anchor.parse("A4=440"))


def harmonics(count: int, **more: float) -> AdditiveVoice:
    return AdditiveVoice("test", tuple(Partial(float(n)) for n in range(1, count + 1)), **more)


def between(voice: AdditiveVoice, lower_hz: float, upper_hz: float, p: int, q: int) -> Beat:
    """Return the beat of partial p of the lower note and q of the upper."""
    [beat] = [b for b in beats(voice, lower_hz, upper_hz) if (b.first, b.second) == (p, q)]
    return beat


# standards.md §8, twelve equal at A440, Hz to three decimals (calculated; Suzuki 1984, JASA 75 S1,
# prints two of them, as 0.59 and 1.18). A fifth of twelve equal is narrow, a major third wide.
@pytest.mark.parametrize(
    ("lower", "upper", "p", "q", "difference_hz"),
    [
        ("F3", "A3", 5, 4, 6.929),
        ("F3", "C4", 3, 2, -0.591),
        ("C4", "F4", 4, 3, 1.182),
        ("A3", "E4", 3, 2, -0.745),
        ("A3", "C#4", 5, 4, 8.731),
        ("C4", "E4", 5, 4, 10.382),
        ("C4", "G4", 3, 2, -0.886),
    ],
)
def test_dyads_of_twelve_equal(
    lower: str, upper: str, p: int, q: int, difference_hz: float
) -> None:
    lower_hz, upper_hz = TWELVE.hz_of_name(lower), TWELVE.hz_of_name(upper)
    beat = between(harmonics(6), lower_hz, upper_hz, p, q)
    assert beat.difference_hz == pytest.approx(difference_hz, abs=0.00051)
    assert beat.rate_hz == abs(beat.difference_hz)
    assert beat.first_hz == pytest.approx(p * lower_hz, rel=1e-15)
    assert beat.second_hz == pytest.approx(q * upper_hz, rel=1e-15)


def test_stiff_strings_slow_the_fourth_of_a_temperament_octave() -> None:
    """Suzuki 1984, JASA 75 S1: B = 0.0004, the octave F3 F4 beatless, F3 C4 at 0.59 a second.

    C4 F4 then beats 0.696 times a second and not 1.18. The model gives 0.697 to 0.705 according
    to what 0.59 was rounded from, hence 0.01 Hz.
    """
    stiff = harmonics(6, inharmonicity=0.0004)
    second, third = (stiff.sounding_partials()[n - 1].ratio for n in (2, 3))
    f3_hz = TWELVE.hz_of_name("F3")
    f4_hz = second * f3_hz
    c4_hz = (third * f3_hz - 0.59) / second
    assert between(stiff, f3_hz, f4_hz, 2, 1).rate_hz == pytest.approx(0.0, abs=1e-9)
    assert between(stiff, f3_hz, c4_hz, 3, 2).difference_hz == pytest.approx(-0.59, abs=1e-9)
    assert between(stiff, c4_hz, f4_hz, 4, 3).rate_hz == pytest.approx(0.696, abs=0.01)


def test_the_strongest_come_first_and_of_those_the_slowest() -> None:
    dyad = (262.0, 262.0 * 1.5 * 1.001)
    rates = [beat.rate_hz for beat in beats(harmonics(12), *dyad)]
    assert rates == sorted(rates)  # all partials alike
    falling = beats(harmonics(12, tilt_db=-6.0), *dyad)
    assert [(beat.first, beat.second) for beat in falling[:3]] == [(3, 2), (6, 4), (9, 6)]
    levels = [beat.level_db for beat in falling]
    assert levels == sorted(levels, reverse=True)
    # The weaker of partials 3 and 2 is the third: 6 dB an octave below the first.
    first_db = harmonics(12, tilt_db=-6.0).sounding_partials()[0].level_db
    assert levels[0] == pytest.approx(first_db - 6.0 * math.log2(3.0), abs=1e-12)


def test_partials_are_named_as_the_voice_writes_them() -> None:
    odd = AdditiveVoice("odd", tuple(Partial(float(n)) for n in (1, 3, 5, 7)), inharmonicity=0.001)
    [beat] = [b for b in beats(odd, 200.0, 200.0 * 5 / 3, 15.0) if b.first == 5.0]
    assert beat.second == 3.0
    # Fletcher's string: the fifth partial is sharper than the third.
    assert beat.difference_hz < 0.0


@given(st.floats(20.0, 4_000.0), st.floats(20.0, 4_000.0), st.floats(0.5, 50.0))
def test_every_pair_within_the_bound_is_there_and_no_other(
    first_hz: float, second_hz: float, widest_hz: float
) -> None:
    """Against the plain double loop over whole multiples, in exact products of n and Hz."""
    found = beats(harmonics(9), first_hz, second_hz, widest_hz)
    expected = {
        (p, q)
        for p in range(1, 10)
        for q in range(1, 10)
        if abs(p * first_hz - q * second_hz) <= widest_hz
        and max(p * first_hz, q * second_hz) <= HIGHEST_HZ
    }
    assert {(beat.first, beat.second) for beat in found} == expected
    mirrored = beats(harmonics(9), second_hz, first_hz, widest_hz)
    assert {(b.second, b.first, -b.difference_hz) for b in mirrored} == {
        (b.first, b.second, b.difference_hz) for b in found
    }


def test_partials_above_hearing_are_left_out() -> None:
    """Of 9,000 and 9,002 Hz only the first two partials lie at or below 20 kHz."""
    found = beats(harmonics(4), 9_000.0, 9_002.0)
    assert [(beat.first, beat.second) for beat in found] == [(1, 1), (2, 2)]
    for dyad in ((6_666.0, 6_667.0), (6_667.0, 6_666.0)):  # the third ones: 19,998 and 20,001 Hz
        found = beats(harmonics(4), *dyad)
        assert [(beat.first, beat.second) for beat in found] == [(1, 1), (2, 2)]


def test_a_unison_stands_still() -> None:
    assert {beat.rate_hz for beat in beats(harmonics(5), 300.0, 300.0)} == {0.0}


@pytest.mark.parametrize(
    ("first_hz", "second_hz", "widest_hz"),
    [
        (0.0, 440.0, 20.0),
        (440.0, math.nan, 20.0),
        (440.0, 30_000.0, 20.0),
        (440.0, 441.0, 0.0),
        (440.0, 441.0, math.nan),
        (440.0, 441.0, math.inf),
    ],
)
def test_what_is_out_of_range_is_refused(
    first_hz: float, second_hz: float, widest_hz: float
) -> None:
    with pytest.raises(InvalidValue):
        beats(harmonics(3), first_hz, second_hz, widest_hz)
