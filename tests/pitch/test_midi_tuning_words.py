"""Frequency words and offsets, against the MIDI Tuning Standard's own table and calculation.

Sources: MIDI Tuning Messages (CA-020), Scale/Octave Extensions (CA-021). "Exact" is calculated
from the standard's definition to nine decimals.
"""

from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.pitch.midi_tuning.words import (
    HIGHEST_HZ,
    LOWEST_HZ,
    ONE_BYTE,
    TWO_BYTES,
    height_of_hz,
    height_of_word,
    hz_of_height,
    word_bytes,
    word_of_bytes,
    word_of_hz,
)
from midi_tuning import HALF_STEP_CENTS, cents_above_key_0

TABLE = [  # word, as the standard prints it, exact
    ("00 00 00", 8.1758, 8.175798916),
    ("00 00 01", 8.2104, 8.175827740),
    ("01 00 00", 8.6620, 8.661957218),
    ("0C 00 00", 16.3516, 16.351597831),
    ("3C 00 00", 261.6256, 261.625565301),
    ("3D 00 00", 277.1827, 277.182630977),
    ("44 7F 7F", 439.9984, 439.998448770),
    ("45 00 00", 440.0000, 440.0),
    ("45 00 01", 440.0016, 440.001551235),
    ("78 00 00", 8372.0190, 8372.018089619),
    ("78 00 01", 8372.0630, 8372.047605463),
    ("7F 00 00", 12543.8800, 12543.853951416),
    ("7F 00 01", 12543.9200, 12543.898175213),
    ("7F 7F 7E", 13289.7300, 13289.656616092),
]


def cents(hz: float, reference_hz: float) -> float:
    return float(1200 * mpmath.log(mpmath.mpf(hz) / mpmath.mpf(reference_hz), 2))


@pytest.mark.parametrize(("text", "printed_hz", "exact_hz"), TABLE)
def test_the_words_of_the_standard(text: str, printed_hz: float, exact_hz: float) -> None:
    word = word_of_bytes(bytes.fromhex(text))
    assert word is not None
    hz = hz_of_height(height_of_word(word))
    assert hz == pytest.approx(exact_hz, abs=5.1e-10)
    assert word_bytes(word_of_hz(hz)) == bytes.fromhex(text)
    # The standard rounds its Hz badly here and there, but by less than 0.01 cent, save one row.
    assert (abs(cents(hz, printed_hz)) < 0.01) == (text != "00 00 01")


def test_one_row_of_the_standard_is_a_misprint() -> None:
    # It prints 8.2104 Hz for 00 00 01, which is 7.3 cents above 00 00 00 and not 0.0061.
    assert cents(8.2104, LOWEST_HZ) == pytest.approx(7.3, abs=0.05)
    assert cents(hz_of_height(height_of_word(1)), LOWEST_HZ) == pytest.approx(100 / 16384)


@pytest.mark.parametrize(
    ("hz", "text"),
    # Calculated, rounded to the nearest.
    [
        (435, "44 66 56"),
        (415, "43 7E 30"),
        (442, "45 0A 06"),
        (443, "45 0F 07"),
        (256, "3B 4F 6A"),
    ],
)
def test_the_nearest_word(hz: float, text: str) -> None:
    word = word_of_hz(hz)
    assert word_bytes(word) == bytes.fromhex(text)
    assert word is not None
    assert abs(cents(hz_of_height(height_of_word(word)), hz)) <= 0.0031


@given(st.floats(LOWEST_HZ, HIGHEST_HZ))
def test_every_frequency_within_reach_is_met_within_half_a_step(hz: float) -> None:
    found = cents_above_key_0(word_bytes(word_of_hz(hz)))
    assert found is not None
    with mpmath.workdps(100):
        wanted = 6900 + 1200 * mpmath.log(mpmath.mpf(hz) / 440, 2)
        off = abs(mpmath.mpf(found.numerator) / found.denominator - wanted)
    assert off <= HALF_STEP_CENTS + 1e-9  # the logarithm is a float, good to 1e-12 semitones


@given(st.integers(0, 2**21 - 2))
def test_every_word_is_met_again(word: int) -> None:
    assert word_of_bytes(word_bytes(word)) == word
    assert word_of_hz(hz_of_height(height_of_word(word))) == word
    assert height_of_word(word) * 100 == cents_above_key_0(word_bytes(word))
    assert height_of_hz(hz_of_height(height_of_word(word))) == pytest.approx(word / 16384)


def test_no_change_is_reserved_and_words_end_below_it() -> None:
    assert word_bytes(None) == b"\x7f\x7f\x7f"
    assert word_of_bytes(b"\x7f\x7f\x7f") is None
    step = 2 ** (1 / (12 * 16384))
    assert word_of_hz(HIGHEST_HZ * step**0.4) == 2**21 - 2
    assert word_of_hz(HIGHEST_HZ * step**0.6) is None
    assert word_of_hz(LOWEST_HZ / step**0.4) == 0
    assert word_of_hz(LOWEST_HZ / step**0.6) is None
    assert word_of_hz(20_000.0) is None
    assert word_of_hz(0.01) is None


def test_offsets_of_one_byte_are_whole_cents() -> None:
    # 00 is -64 cents, 40 none, 7F +63.
    assert (ONE_BYTE.cents(ONE_BYTE.lowest), ONE_BYTE.cents(ONE_BYTE.highest)) == (-64, 63)
    assert ONE_BYTE.steps_of_cents(-64.4) == -64
    assert ONE_BYTE.steps_of_cents(-64.6) is None
    assert ONE_BYTE.steps_of_cents(63.4) == 63
    assert ONE_BYTE.steps_of_cents(63.6) is None


def test_offsets_of_two_bytes_fall_a_step_short_of_a_semitone_up() -> None:
    # 00 00 is -100 cents. The standard prints +100 for 7F 7F, but 8191 steps of 200/16384 are less.
    assert TWO_BYTES.cents(TWO_BYTES.lowest) == -100
    assert TWO_BYTES.cents(TWO_BYTES.highest) == Fraction(8191 * 200, 16384)
    assert float(TWO_BYTES.cents(TWO_BYTES.highest)) == pytest.approx(99.9878, abs=5e-5)
    assert TWO_BYTES.steps_of_cents(100) is None
    assert TWO_BYTES.steps_of_cents(-100) == -8192
