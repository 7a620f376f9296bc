"""A voice looked at: what is measured of notes whose numbers are known beforehand."""

from dataclasses import replace

import numpy as np
import pytest

from meantide.errors import InvalidValue
from meantide.offline.voice_components import components_of, whole_to_hz
from meantide.offline.voice_study import STEADY_S, Struck, VoiceStudy, sound_of, stilled, study
from meantide.voice.description import AdditiveVoice, Breath, Drift, Formant, Partial, Unison
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Vibrato
from meantide.voice.voices import Voice
from playing import SINE, STEADY, tuned

KERNEL = NumpyKernel()
A3 = Struck(tuned(12), -3, 1.0)
THREE = AdditiveVoice(
    "three", (Partial(1.0), Partial(2.5, -20.0), Partial(4.0, -70.0)), STEADY, velocity_exponent=1.0
)
DYING = AdditiveVoice("dying", (Partial(1.0, decay_s=6.0),), Envelope(0.002, release_s=1.0))


def looked_at(voice: Voice, struck: Struck = A3) -> VoiceStudy:
    return study(voice, struck, KERNEL)


def test_a_sine_at_full_velocity_is_at_nought_db() -> None:
    found = looked_at(SINE)
    assert found.struck.hz == pytest.approx(220.0)
    assert found.struck.name == "A3"
    for level_db in (found.peak_db, found.rms_db, found.course.loudest_db, found.course.let_go_db):
        assert level_db == pytest.approx(0.0, abs=0.01)
    assert found.spectrum.hz == pytest.approx([220.0], rel=1e-7)  # 0.0002 cents
    assert found.spectrum.strongest_db == pytest.approx(0.0, abs=0.05)


def test_velocity_and_the_voices_trim_count() -> None:
    voice = replace(SINE, velocity_exponent=2.0, level_db=-3.0)
    found = looked_at(voice, replace(A3, velocity=0.5))
    assert found.rms_db == pytest.approx(-3.0 + 40 * np.log10(0.5), abs=0.01)


def test_lines_have_the_places_and_levels_that_are_stated() -> None:
    components = components_of(looked_at(THREE))
    assert [each.ratio for each in components] == [1.0, 2.5, 4.0]
    assert [each.hz for each in components] == pytest.approx([220.0, 550.0, 880.0])
    assert [each.cents for each in components] == pytest.approx(
        [0.0, 1586.314, 2400.0],
        abs=1e-3,  # 5/2 is 1200 + 386.314
    )
    for each, level_db in zip(components, (0.0, -20.0, -70.0), strict=True):
        assert each.stated_db == pytest.approx(level_db)
        assert each.level_db == pytest.approx(level_db, abs=0.1)


def test_what_is_not_heard_has_no_level() -> None:
    voice = replace(THREE, partials=(*THREE.partials, Partial(6.0, -90.0), Partial(200.0)))
    levels = [each.level_db for each in components_of(looked_at(voice))]
    assert [level is None for level in levels] == [False, False, False, True, True]


def test_formants_are_measured_and_not_stated() -> None:
    flat = AdditiveVoice("flat", (Partial(1.0), Partial(5.0)), STEADY)
    voice = replace(flat, formants=(Formant(1100.0, 50.0, 12.0),))
    fundamental, formant = components_of(looked_at(voice))
    assert fundamental.level_db is not None
    # 1 / (1 + (2 * 880 / 50)^2) of 12 dB is left at the fundamental: 0.01 dB
    assert fundamental.level_db == pytest.approx(-12.0 + 0.01, abs=0.1)
    assert (formant.level_db, formant.stated_db) == (pytest.approx(0.0), pytest.approx(0.0))


def test_drawn_partials_lie_on_the_degrees() -> None:
    drawn = AdditiveVoice("drawn", tuple(Partial(n) for n in (1.0, 3.0, 5.0)), STEADY, drawn=1.0)
    cents = [each.cents for each in components_of(looked_at(drawn))]
    assert cents == pytest.approx([0.0, 1900.0, 2800.0], abs=1e-6)
    assert components_of(looked_at(drawn))[2].level_db == pytest.approx(0.0, abs=0.1)


def test_the_spectrum_is_of_the_voice_stilled() -> None:
    voice = replace(
        THREE, vibrato=Vibrato(depth_cents=50.0), drift=Drift(10.0, 3.0), unison=Unison(5, 40.0)
    )
    assert stilled(voice) == THREE
    assert looked_at(voice).spectrum.hz == pytest.approx([220.0, 550.0, 880.0], abs=0.02)
    moving = sound_of(voice, A3, KERNEL)
    assert np.abs(moving[48_000:96_000] - sound_of(THREE, A3, KERNEL)[48_000:96_000]).max() > 0.1


def test_noise_is_no_line() -> None:
    found = looked_at(replace(SINE, breath=Breath(-20.0, 2000.0, 4.0)))
    assert found.spectrum.hz == pytest.approx([220.0], abs=0.1)


def test_the_steady_part_of_a_decay_is_its_beginning() -> None:
    found = looked_at(DYING)
    assert found.spectrum.from_s < 0.05
    assert found.course.let_go_db == pytest.approx(-40.0, abs=0.3)  # 60 dB in 6 s, held for 4
    assert found.rms_db == pytest.approx(
        # the mean power of 10 dB a second over half a second
        10 * np.log10((1 - 10**-0.5) / (0.5 * np.log(10))),
        abs=0.2,
    )


def test_the_steady_part_of_what_comes_slowly_is_when_it_is_there() -> None:
    found = looked_at(replace(SINE, envelope=Envelope(2.0, 0.1, 0.0, 0.1)))
    assert 1.8 < found.spectrum.from_s <= 4.0 - STEADY_S
    assert found.course.loudest_s > 1.9


def test_how_long_it_rings_after_it_is_let_go() -> None:
    falls_s = looked_at(replace(SINE, envelope=Envelope(release_s=0.8))).course.falls_s
    assert falls_s == pytest.approx(0.8, abs=0.02)  # release times are over 60 dB
    long = looked_at(replace(SINE, envelope=Envelope(release_s=20.0)))
    assert long.course.falls_s is None
    assert len(long.samples) == 8 * 48_000


def test_reach_is_that_of_what_is_within_80_db() -> None:
    found = looked_at(THREE)
    assert found.highest_hz == pytest.approx(880.0, abs=0.1)
    # partials fade from 0.9 of half the rate on: at 4 times the note, notes up to 5400 Hz
    assert whole_to_hz(found) == pytest.approx(0.9 * 24_000 / 4)
    softer = replace(THREE, partials=(*THREE.partials, Partial(8.0, -90.0)))
    assert whole_to_hz(looked_at(softer)) == pytest.approx(0.9 * 24_000 / 4)
    # and a note so high that only one partial is left has not another reach
    assert whole_to_hz(looked_at(THREE, replace(A3, degree=45))) == pytest.approx(5400.0)


def test_reach_counts_what_is_there_at_first_only() -> None:
    partials = (Partial(1.0), Partial(20.0, -40.0, decay_s=0.3))
    found = looked_at(AdditiveVoice("struck", partials, Envelope(decay_s=1.5, sustain_db=-3.0)))
    assert found.spectrum.from_s > 0.5  # when the high partial is long gone
    assert found.spectrum.hz == pytest.approx([220.0], abs=0.1)
    assert found.highest_hz == pytest.approx(4400.0, abs=1.0)


# Frequency modulation 1:1 at index 2, both sines: harmonics by Bessel functions, standards.md §7.
HARMONICS = (-0.1289432, 0.7056681, 0.3188383, 0.1359829, 0.0327933, 0.0072146)
EVEN_PAIR = FmVoice(
    "pair",
    (Operator(1.0, level_db=0.0, envelope=STEADY), Operator(1.0, envelope=STEADY)),
    (Path(2, 1, 2.0),),
    velocity_exponent=1.0,
    highest_hz=1234.0,
)


def test_an_fm_voice_has_the_lines_that_bessel_functions_give_it() -> None:
    found = looked_at(EVEN_PAIR)
    components = components_of(found)[: len(HARMONICS)]
    assert [each.ratio for each in components] == pytest.approx([1, 2, 3, 4, 5, 6], rel=1e-6)
    levels = 20 * np.log10(np.abs(HARMONICS))
    assert found.spectrum.strongest_db == pytest.approx(levels[1], abs=0.05)
    measured = [each.level_db for each in components]
    assert measured == pytest.approx((levels - levels[1]).tolist(), abs=0.1)
    assert {each.stated_db for each in components} == {None}
    assert whole_to_hz(found) == 1234.0


def test_twice_is_the_same() -> None:
    first, second = looked_at(DYING), looked_at(DYING)
    assert np.array_equal(first.samples, second.samples)


def test_a_note_that_cannot_be_heard_is_refused() -> None:
    with pytest.raises(InvalidValue, match="note: got 'degree 600'"):
        looked_at(SINE, replace(A3, degree=600))
    high = AdditiveVoice("high", (Partial(500.0),), STEADY)
    with pytest.raises(InvalidValue, match="A3 at 220 Hz"):
        looked_at(high)
