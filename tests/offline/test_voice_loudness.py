"""The loudness of voices against what BS.1770 says of sines, and the trims that match it."""

import math

import pytest

from meantide.offline.voice_loudness import TARGET_LUFS, dies_away, loudness_at, matched, measured
from meantide.voice.description import AdditiveVoice, Formant, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator
from meantide.voice.kernels import kernel_named
from meantide.voice.voices import Voice


def silence(said: str) -> None:
    """Say nothing."""


KERNEL = kernel_named("compiled", silence)
HELD = Envelope(0.05, 0.1, 0.0, 0.1)
DYING = Envelope(0.001, 2.0, -100.0, 0.1)


def sine(envelope: Envelope, decay_s: float | None = None) -> AdditiveVoice:
    return AdditiveVoice("sine", (Partial(1.0, decay_s=decay_s),), envelope)


@pytest.mark.parametrize(
    "voice", [sine(HELD), FmVoice("sine", (Operator(1.0, level_db=0.0, envelope=HELD),))]
)
def test_a_held_sine_has_the_loudness_that_the_recommendation_gives_it(voice: Voice) -> None:
    """BS.1770: 997 Hz at full scale in one channel is -3.01; velocity 0.7 is 1.5 · 20 log 0.7."""
    wanted = -3.01 + 30.0 * math.log10(0.7)
    assert loudness_at(voice, 997.0, KERNEL) == pytest.approx(wanted, abs=0.02)


def test_a_dying_sine_has_the_loudness_of_its_first_400_ms() -> None:
    """60 dB in T fall by e^(-2a·t) in power, a = ln(1000)/T; its mean over 0.4 s is known.

    To 0.1 LU, for the first block begins 2 ms after the strike.
    """
    slope = 2.0 * math.log(1000.0)
    mean = (1.0 - math.exp(-slope * 0.4)) / (slope * 0.4)
    wanted = -3.01 + 30.0 * math.log10(0.7) + 10.0 * math.log10(mean)
    voice = sine(Envelope(0.001, 1.0, 0.0, 0.1), decay_s=1.0)
    assert loudness_at(voice, 997.0, KERNEL) == pytest.approx(wanted, abs=0.1)


def test_which_voices_die_away() -> None:
    assert dies_away(sine(DYING))
    assert dies_away(sine(HELD, decay_s=3.0))
    assert not dies_away(sine(HELD))
    pair = (Operator(1.0, level_db=0.0, envelope=DYING), Operator(2.0, level_db=0.0))
    assert not dies_away(FmVoice("pair", pair))
    assert dies_away(FmVoice("one", pair[:1]))


def test_trims_bring_a_voice_with_a_peak_to_the_target() -> None:
    """A formant makes it 9 dB louder around 600 Hz; what is promised is measured again."""
    voice = AdditiveVoice(
        "vowel",
        tuple(Partial(float(n), -6.0 * n) for n in (1, 2, 3)),
        HELD,
        formants=(Formant(600.0, 500.0, 9.0),),
        lowest_hz=110.0,
        highest_hz=880.0,
    )
    assert measured(voice, KERNEL).furthest_lu > 1.0
    found = matched(voice, KERNEL)
    assert found.furthest_lu < 0.5
    assert len(found.voice.trims_db) > 2
    again = measured(found.voice, KERNEL)
    assert again.loudness_lufs == pytest.approx(found.loudness_lufs, abs=0.01)
    assert max(abs(each - TARGET_LUFS) for each in again.loudness_lufs) < 0.5


def test_a_voice_of_one_note_is_trimmed_by_its_level_alone() -> None:
    voice = AdditiveVoice("one", (Partial(1.0),), HELD, lowest_hz=440.0, highest_hz=440.0)
    found = matched(voice, KERNEL)
    assert found.voice.trims_db == ()
    assert found.notes_hz == (440.0,)
    assert found.furthest_lu < 0.06  # a tenth of a dB is the step
