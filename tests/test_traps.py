"""Printed values that are wrong, and what is right: standards.md §0, as far as it touches us yet.

Rows 1, 2, 8 and 9 (the MIDI Tuning Standard) are in tests/pitch/test_midi_tuning_*.py, row 4
(C4 = 256) is in test_presets.py, row 10 (5/4 is not 384 cents) in pitch/test_interval.py. Rows 3
(MPE) and 5 (address patterns) wait for what they are about.
"""

import math

import numpy as np
import pytest
from scipy.special import jv

from fm_tones import operator, pair, signed_lines, sounded
from meantide.pitch import Anchor, Scale, Tuning
from meantide.pitch.midi_tuning.words import height_of_word, hz_of_height, word_of_bytes
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.fm_description import FmVoice
from meantide.voice.kernel import Kernel


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


def test_row_6_at_an_index_of_2_j1_less_j2_is_j0_but_not_at_1_and_5(kernel: Kernel) -> None:
    """With c:m = 1:2 the third harmonic is J1 - J2: a formula that says J0 passes at I = 2."""
    for index, blind in ((1.0, False), (2.0, True), (5.0, False)):
        sound = sounded(pair(2.0, index, highest_hz=375.0), kernel, 375.0, 20_800)[8_000:]
        third = signed_lines(sound, 8_000, 375.0 * np.arange(1.0, 40.0))[0][2]
        assert third == pytest.approx(jv(1, index) - jv(2, index), abs=1e-6)
        assert (abs(third - jv(0, index)) < 1e-6) == blind


def test_row_7_the_power_of_feedback_says_nothing_its_harmonics_do(kernel: Kernel) -> None:
    """Power is that of a sine for every β <= 1; 2/(nβ) Jn(nβ) is not."""
    second = []
    for beta in (0.0, 0.5, 1.0):
        voice = FmVoice("fed back", (operator(1.0, heard=True, feedback=beta),), highest_hz=60.0)
        sound = sounded(voice, kernel, 60.0, 24_000)[8_000:]  # twenty periods of 800 samples
        assert math.sqrt(np.mean(sound**2)) == pytest.approx(math.sqrt(0.5), abs=1e-3)
        second.append(signed_lines(sound, 8_000, 60.0 * np.arange(1.0, 300.0))[0][1])
    assert second == pytest.approx([0.0, 0.2298069699, 0.3528340286], abs=1e-5)


def test_row_11_the_sixth_harmonic_of_440_is_2640_not_2460() -> None:
    voice = AdditiveVoice("flue", tuple(Partial(float(n)) for n in range(1, 7)))
    assert 440 * voice.sounding_partials()[5].ratio == 2640.0


def test_a_string_whose_15th_partial_meets_its_16th_harmonic() -> None:
    """Standards.md §8: Schuck and Young, JASA 15 (abstract): it follows that B is near 6.15e-4."""
    partials = (Partial(1.0), Partial(15.0))
    voice = AdditiveVoice("string", partials, inharmonicity=6.155e-4)
    assert voice.sounding_partials()[1].ratio == pytest.approx(16.0, abs=0.001)
