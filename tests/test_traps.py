"""Printed values that are wrong, and what is right: standards.md §0, as far as it touches us yet.

Rows 1, 2, 8 and 9 (the MIDI Tuning Standard) are in tests/pitch/test_midi_tuning_*.py, row 4
(C4 = 256) is in test_presets.py, row 10 (5/4 is not 384 cents) in pitch/test_interval.py. Rows 3
(MPE), 5 (address patterns), 6 and 7 (FM) wait for what they are about.
"""

import math

import pytest

from meantide.pitch import Anchor, Scale, Tuning
from meantide.pitch.midi_tuning.words import height_of_word, hz_of_height, word_of_bytes
from meantide.voice.description import AdditiveVoice, Partial


def test_row_1_the_second_frequency_word_is_not_8_2104() -> None:
    word = word_of_bytes(b"\x00\x00\x01")
    assert word is not None
    assert hz_of_height(height_of_word(word)) == pytest.approx(8.17582774, abs=5e-9)  # calculated


def test_row_4_c_at_256_is_37_6_cents_below_not_31_8() -> None:
    tuning = Tuning(Scale.equal(12), Anchor.parse("C4=256"))
    a4 = tuning.hz_of_name("A4")
    assert a4 == pytest.approx(430.5390, abs=5e-5)
    assert 1200 * math.log2(a4 / 440) == pytest.approx(-37.6317, abs=5e-5)
    assert 1200 * math.log2(432 / 440) == pytest.approx(-31.77, abs=5e-3)  # that is A4 = 432


def test_row_11_the_sixth_harmonic_of_440_is_2640_not_2460() -> None:
    voice = AdditiveVoice("flue", tuple(Partial(float(n)) for n in range(1, 7)))
    assert 440 * voice.sounding_partials()[5].ratio == 2640.0


def test_a_string_whose_15th_partial_meets_its_16th_harmonic() -> None:
    """Standards.md §8: Schuck and Young, JASA 15 (abstract): it follows that B is near 6.15e-4."""
    partials = (Partial(1.0), Partial(15.0))
    voice = AdditiveVoice("string", partials, inharmonicity=6.155e-4)
    assert voice.sounding_partials()[1].ratio == pytest.approx(16.0, abs=0.001)
