"""Tunings: from key, name, degree and interval to Hz, against published frequencies."""

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue, NotFound
from meantide.pitch import Anchor, Interval, LinearLayout, Scale, Tuning

parse = Interval.parse

MAJOR = ["9/8", "5/4", "4/3", "3/2", "5/3", "15/8"]


def cents(hz: float, reference_hz: float) -> float:
    return float(1200 * mpmath.log(mpmath.mpf(hz) / reference_hz, 2))


@pytest.mark.parametrize(
    ("key", "hz"),
    # MIDI Tuning Standard (CA-020): frequencies of keys 0, 1, 12, 60, 61, 69, 120 and 127, where
    # it prints four decimals; 12-equal at A4 = 440. To nine decimals they are calculated.
    [
        (0, 8.175798916),
        (1, 8.661957218),
        (12, 16.351597831),
        (60, 261.625565301),
        (61, 277.182630977),
        (69, 440.0),
        (120, 8372.018089619),
        (127, 12543.853951416),
    ],
)
def test_twelve_equal_keys_of_the_midi_tuning_standard(key: int, hz: float) -> None:
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=440"))
    assert tuning.hz_of_key(key) == pytest.approx(hz, abs=5.1e-10)


def test_c_at_256_is_430_and_a_half_and_not_432() -> None:
    # Encyclopedias print -31.77 cents for C4 = 256; that belongs to A4 = 432.
    tuning = Tuning(Scale.equal(12), Anchor.parse("C4=256"))
    assert tuning.hz_of_name("A4") == pytest.approx(430.5390, abs=5e-5)
    assert cents(tuning.hz_of_name("A4"), 440) == pytest.approx(-37.6317, abs=5e-5)
    assert cents(432, 440) == pytest.approx(-31.77, abs=5e-3)
    just = Tuning(Scale.from_degrees(map(parse, MAJOR), names="CDEFGAB"), Anchor.parse("C4=256"))
    assert just.hz_of_name("A4") == pytest.approx(426.667, abs=5e-4)


def test_single_vibrations_as_printed_in_1859() -> None:
    # La Fage 1859 prints B = 976.5 for A = 870 and A = 890.898 for B = 1000 single vibrations.
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=435"))
    assert 2 * tuning.hz_of_name("B4") == pytest.approx(976.5, abs=0.05)
    tuning = Tuning(Scale.equal(12), Anchor.parse("B4=500"))
    assert 2 * tuning.hz_of_name("A4") == pytest.approx(890.898, abs=1e-3)


@pytest.mark.parametrize(
    ("parts", "hz"), [(19, 456.3482), (22, 454.0836), (31, 449.9490), (53, 445.7922)]
)
def test_one_step_above_440(parts: int, hz: float) -> None:
    tuning = Tuning(Scale.equal(parts), Anchor.parse("A4=440"))
    assert tuning.hz_of_degree(tuning.anchor_degree + 1) == pytest.approx(hz, abs=5.1e-5)


@pytest.mark.parametrize(
    ("degree", "hz"), [(1, 478.8002), (4, 616.9631), (6, 730.5711), (10, 1024.3987), (13, 1320.0)]
)
def test_thirteen_equal_parts_of_three_above_440(degree: int, hz: float) -> None:
    tuning = Tuning(Scale.equal(13, Interval.ratio(3)), Anchor.parse("0=440"))
    assert tuning.hz_of_degree(degree) == pytest.approx(hz, abs=5.1e-5)
    assert tuning.hz_of_key(60 + degree) == tuning.hz_of_degree(degree)


@given(
    st.integers(1, 2000),
    st.floats(0.01, 20_000),
    st.integers(-50, 50),
    st.integers(-3000, 3000),
)
def test_frequencies_are_exact_to_a_billionth_of_a_cent(
    parts: int, hz: float, anchored: int, degree: int
) -> None:
    tuning = Tuning(Scale.equal(parts), Anchor(hz, degree=anchored))
    distance = tuning.interval_of_degree(degree)
    if abs(distance.octaves) > 64:
        with pytest.raises(InvalidValue, match="64 octaves"):
            tuning.hz_of_degree(degree)
        return
    with mpmath.workdps(40):
        true = mpmath.mpf(hz) * mpmath.power(2, mpmath.mpf(degree - anchored) / parts)
    assert abs(cents(tuning.hz_of_degree(degree), true)) < 1e-9
    assert abs(cents(tuning.hz_of_interval(distance), true)) < 1e-9


@given(st.floats(20, 2000), st.floats(20, 2000), st.integers(-60, 60))
def test_another_anchor_multiplies_every_frequency_by_one_factor(
    first_hz: float, second_hz: float, degree: int
) -> None:
    scale = Scale.from_degrees(map(parse, MAJOR), names="CDEFGAB")
    first = Tuning(scale, Anchor(first_hz, degree=2))
    second = Tuning(scale, Anchor(second_hz, degree=2))
    factor = second_hz / first_hz
    moved = first.hz_of_degree(degree) * factor
    # Two roundings on either side, of 1.1e-16 each.
    assert second.hz_of_degree(degree) == pytest.approx(moved, rel=4.5e-16)


@pytest.mark.parametrize("note", ["A4", "C4", "Eb5", "F#2"])
def test_another_scale_moves_every_note_but_the_anchored(note: str) -> None:
    anchor = Anchor.parse(f"{note}=433.2")
    tunings = [Tuning(Scale.equal(parts), anchor) for parts in (12, 19, 31, 53)]
    assert {tuning.hz_of_name(note) for tuning in tunings} == {433.2}
    for other in ("Bb3", "D4", "G4", "B5"):
        assert len({tuning.hz_of_name(other) for tuning in tunings}) == 4


def test_all_ways_to_a_pitch_agree() -> None:
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), LinearLayout(69, 23))
    assert tuning.anchor_degree == 23
    assert tuning.hz_of_key(69) == tuning.hz_of_name("A4") == tuning.hz_of_degree(23) == 440
    assert tuning.hz_of_interval(parse("3/2")) == 660
    assert tuning.hz_of_interval(parse("-1/1 - 2/1")) == 220
    assert tuning.hz_of_name("E5") == tuning.hz_of_degree(41)
    assert str(tuning.name_of_degree(41)) == "E5"
    assert tuning.interval_of_degree(41) == parse("18/31 of 2/1")


def test_an_anchor_that_the_scale_lacks_is_refused_when_the_tuning_is_made() -> None:
    with pytest.raises(InvalidValue, match="no note names"):
        Tuning(Scale.equal(13, Interval.ratio(3)), Anchor.parse("A4=440"))
    with pytest.raises(NotFound, match="did you mean F"):
        Tuning(Scale.equal(7, names="CDEFGAB"), Anchor.parse("F#4=440"))
    tuning = Tuning(Scale.equal(7, names="CDEFGAB"), Anchor.parse("A4=440"))
    with pytest.raises(NotFound):
        tuning.hz_of_name("Bb4")
    with pytest.raises(InvalidValue, match="such as A4"):
        tuning.hz_of_name("Z9")


@pytest.mark.parametrize("degree", [10**6, -(10**6)])
def test_pitches_beyond_all_sound_are_an_error_and_not_infinity(degree: int) -> None:
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=440"))
    with pytest.raises(InvalidValue, match="64 octaves"):
        tuning.hz_of_degree(degree)
    with pytest.raises(InvalidValue, match="64 octaves"):
        tuning.hz_of_interval(Interval.ratio(2) * degree)
