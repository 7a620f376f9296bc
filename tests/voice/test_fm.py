"""What FM notes sound like, against Bessel functions and plain evaluation in float64."""

import math

import numpy as np
import pytest
from scipy.special import jv

from fm_tones import (
    RATE,
    SETTLED,
    STEADY,
    Floats,
    bank_of,
    loudest_db,
    operator,
    pair,
    read,
    signed_lines,
    sounded,
    strays_db,
)
from meantide.voice.bank import Strike
from meantide.voice.fm_description import FmVoice, Operator, Path
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernel import Kernel

FIFTIETH_DB = 10 ** (0.05 / 20) - 1
"""As a share: a twentieth of a decibel."""
UNIT = 1e-7
"""What float32 samples and 20,000 of them leave uncertain of a line."""


def expected_lines(ratio: float, index: float, hz: float) -> tuple[Floats, Floats]:
    """Return the frequencies and signed amplitudes of sin(θ + I sin rθ): Chowning 1973, folded.

    Standards.md §7: Σ Jn(I) sin((1 + n·r)θ), where the sine of a negative frequency is minus that
    of the positive one.
    """
    lines: dict[float, float] = {}
    for n in range(-80, 81):
        frequency = (1 + n * ratio) * hz
        place = round(abs(frequency), 6)
        lines[place] = lines.get(place, 0.0) + math.copysign(1.0, frequency) * jv(n, index)
    kept = {f: a for f, a in lines.items() if abs(a) > 1e-8 and 0.0 < f < RATE / 2}
    return np.array(list(kept)), np.array(list(kept.values()))


@pytest.mark.parametrize("index", [1.0, 2.0, 5.0, 20.0])
@pytest.mark.parametrize("ratio", [1.0, 2.0, math.sqrt(2.0), math.pi])
def test_every_sideband_is_a_bessel_function_reflected_ones_with_their_sign(
    kernel: Kernel, ratio: float, index: float
) -> None:
    hz = 150.3
    frequencies, amplitudes = expected_lines(ratio, index, hz)
    sound = sounded(pair(ratio, index), kernel, hz, 28_000)[8_000:]
    sines, cosines, rest = signed_lines(sound, 8_000, frequencies)
    counting = np.abs(amplitudes) > 10 ** (-90 / 20)
    allowed = np.abs(amplitudes) * FIFTIETH_DB + UNIT
    assert (np.abs(sines - amplitudes) < allowed)[counting].all()
    assert (np.abs(cosines) < allowed)[counting].all()
    assert loudest_db(rest) < -100.0


def test_the_spectra_printed_in_the_tables(kernel: Kernel) -> None:
    """Standards.md §7, c:m = 1:1 and 1:2 at I = 2; Bessel functions as in Abramowitz and Stegun."""
    one_to_one = [0.1289432, 0.7056681, 0.3188383, 0.1359829, 0.0327933, 0.0072146]
    one_to_two = [0.8006156, 0.0, 0.2238908, 0.0, 0.4817773, 0.0, 0.0949475]
    for ratio, printed in ((1.0, one_to_one), (2.0, one_to_two)):
        sound = sounded(pair(ratio, 2.0, highest_hz=375.0), kernel, 375.0, 20_800)[8_000:]
        harmonics = 375.0 * np.arange(0.0, 30.0)
        sines, cosines, _ = signed_lines(sound, 8_000, harmonics)
        assert np.abs(np.abs(sines[1 : len(printed) + 1]) - printed).max() < 2e-7
        assert np.abs(cosines).max() < 2e-7


ARRANGEMENTS = {
    "three in a row": [(2, 1, 2.0), (3, 2, 1.5)],
    "two on one": [(2, 1, 1.5), (3, 1, 2.5)],
    "one on two": [(3, 1, 1.0), (3, 2, 2.0)],
    "six": [(2, 1, 1.0), (3, 2, 0.7), (4, 2, 1.3), (6, 5, 3.0), (6, 4, 0.4), (5, 1, 0.2)],
}
RATIOS = (1.0, 1.41, 2.0, 0.5, 3.01, 7.0)


@pytest.mark.parametrize("beta", [0.0, 0.6])
@pytest.mark.parametrize("name", ARRANGEMENTS)
def test_any_arrangement_is_what_its_formula_says(kernel: Kernel, name: str, beta: float) -> None:
    """Each operator as sin(θ + Σ I·sin ..), by recursion; fed back ones by iteration."""
    paths = ARRANGEMENTS[name]
    count = max(max(source, target) for source, target, _ in paths)
    heard = {1, 2} if name == "one on two" else {1}
    feedback = {count: beta}
    operators = tuple(
        operator(RATIOS[n - 1], heard=n in heard, phase=0.1 * n, feedback=feedback.get(n, 0.0))
        for n in range(1, count + 1)
    )
    voice = FmVoice(name, operators, tuple(Path(*path) for path in paths), highest_hz=110.0)
    assert prepare_fm(voice, RATE).factor == 1
    samples = np.arange(3_000)

    def sine(number: int) -> Floats:
        cycles = RATIOS[number - 1] * 97.0 / RATE * samples + 0.1 * number
        angle = 2 * math.pi * cycles
        for source, target, index in paths:
            if target == number:
                angle = angle + index * sine(source)
        sound = np.sin(angle)
        for _ in range(100):  # 0.6 of the error is left each time
            sound = np.sin(angle + feedback.get(number, 0.0) * sound)
        return sound

    expected = sum(sine(n) for n in heard) / math.sqrt(len(heard))
    heard_sound = sounded(voice, kernel, 97.0, len(samples))
    # float32 sines, the errors of each counting as often as they are passed on: 2 to 6 times here
    assert np.abs(heard_sound - expected)[SETTLED:].max() < 1e-6


@pytest.mark.parametrize("beta", [0.3, 0.5, 1.0, -0.5])
def test_feedback_has_the_spectrum_of_keplers_equation(kernel: Kernel, beta: float) -> None:
    """Standards.md §7: y = Σ 2/(nβ) Jn(nβ) sin nθ, at every rate and pitch."""
    hz = 60.7
    voice = FmVoice("fed back", (operator(1.0, heard=True, feedback=beta),))
    sound = sounded(voice, kernel, hz, 28_000)[8_000:]
    n = np.arange(1, 290)
    sines, cosines, _ = signed_lines(sound, 8_000, n * hz)
    expected = 2 / (n * beta) * jv(n, n * beta)
    allowed = np.abs(expected) * FIFTIETH_DB + UNIT
    counting = np.abs(expected) > 10 ** (-90 / 20)
    assert (np.abs(sines - expected) < allowed)[counting].all()
    assert np.abs(cosines).max() < 4e-6  # above the harmonics that are fitted there are others
    table = {0.5: [0.9690738307, 0.2298069699, 0.0812852682, 0.0339957198],
             1.0: [0.8801011715, 0.3528340286, 0.2060418148, 0.1405645325]}  # fmt: skip
    if beta in table:
        assert sines[:4] == pytest.approx(table[beta], rel=1e-5)


def test_what_folds_onto_0_hz_is_j1_times_the_sine_of_the_phase(kernel: Kernel) -> None:
    """Standards.md §7: c = m, modulator's phase φ: J1(I) sin φ, 0.5767248 at I = 2 and 90°."""
    operators = (operator(1.0, heard=True), operator(1.0, phase=0.25))
    voice = FmVoice("dc", operators, (Path(2, 1, 2.0),))
    sound = sounded(voice, kernel, 375.0, 20_000)[8_000:]
    level = signed_lines(sound, 8_000, 375.0 * np.arange(30.0))[1][0]
    assert level == pytest.approx(0.5767248, abs=1e-6)


# -- oversampling ---------------------------------------------------------------------------

BRIGHT = {
    "a pair, 2 times": (pair(1.0, 3.5), 2),
    "a bell, 4 times": (
        FmVoice("bell", (operator(1.0, True), operator(3.5)), (Path(2, 1, 3.0),)), 4,
    ),
    "three in a row, 8 times": (
        FmVoice(
            "row", (operator(1.0, True), operator(2.0), operator(3.0)),
            (Path(2, 1, 4.0), Path(3, 2, 2.0)),
        ),
        8,
    ),
    "fed back, 8 times": (FmVoice("fed", (operator(1.0, True, feedback=0.9),)), 8),
}  # fmt: skip


@pytest.mark.parametrize("name", BRIGHT)
@pytest.mark.parametrize("octaves", [0, 1, 2, 3])
def test_at_and_above_the_highest_note_aliases_are_80_db_down(
    kernel: Kernel, name: str, octaves: int
) -> None:
    voice, factor = BRIGHT[name]
    assert prepare_fm(voice, RATE).factor == factor
    hz = voice.highest_hz * 2**octaves - 0.37
    spacing_hz = hz / 2 if name.startswith("a bell") else hz
    assert strays_db(voice, kernel, hz, spacing_hz) < -80.0


def test_without_oversampling_they_would_not_be() -> None:
    """The same in plain numpy at the rate itself: the measurement sees aliases."""
    samples = np.arange(8_000, 40_000)
    angle = 2 * math.pi * 1999.63 / RATE * samples
    sound = np.sin(angle + 4.0 * np.sin(2 * angle + 2.0 * np.sin(3 * angle)))
    rest = signed_lines(sound, 8_000, np.arange(0.0, RATE / 2 - 1.0, 1999.63))[2]
    assert loudest_db(rest) > -60.0


@pytest.mark.parametrize("name", BRIGHT)
def test_an_oversampled_note_is_on_its_sample_and_true_below_18_khz(
    kernel: Kernel, name: str
) -> None:
    """The same voice made for low notes needs no oversampling: the two differ by the ripple."""
    voice, _ = BRIGHT[name]
    low = FmVoice(voice.name, voice.operators, voice.paths, highest_hz=20.0)
    assert prepare_fm(low, RATE).factor == 1
    one, other = (sounded(v, kernel, 30.1, 4_000) for v in (voice, low))
    error = np.abs(one - other)
    # 0.004 dB of ripple on lines whose amplitudes add up to a few; from the first sample on
    assert error.max() < 5e-3
    assert error[SETTLED:].max() < 3e-3


def test_indices_are_full_up_to_the_highest_note_and_fall_only_above(kernel: Kernel) -> None:
    voice = pair(1.0, 3.5)
    prepared = prepare_fm(voice, RATE)
    for hz, full in ((30.0, True), (2_000.0, True), (12_000.0, False)):
        bank = bank_of(voice, kernel, Strike(hz, 1.0))
        read(bank, 256)
        index = bank._table.next_points[0, 18]
        assert (index == 3.5) == full
        assert index > 0.0
    assert prepared.limits.max() == 0.0


# -- extremes -------------------------------------------------------------------------------


@pytest.mark.parametrize("index", [0.0, 50.0])
@pytest.mark.parametrize("hz", [0.01, 27.5, 23_900.0])
def test_extremes_are_finite_and_no_louder_than_a_sine(
    kernel: Kernel, index: float, hz: float
) -> None:
    sound = sounded(pair(7.0, index), kernel, hz, 4_000)
    assert np.isfinite(sound).all()
    assert np.abs(sound).max() < 1.2  # the filter's overshoot


def test_near_half_the_rate_an_operator_fades_and_is_gone(kernel: Kernel) -> None:
    voice = FmVoice("sine", (operator(1.0, heard=True),), highest_hz=20.0)
    assert np.abs(sounded(voice, kernel, 23_600.0, 1_000)).max() == 0.0  # 0.98 of 24 kHz: 23,520
    assert np.abs(sounded(voice, kernel, 21_500.0, 4_000)).max() == pytest.approx(1.0, abs=1e-3)


def test_a_fixed_frequency_stays_whatever_is_played(kernel: Kernel) -> None:
    operators = (
        Operator(ratio=1.0, level_db=0.0, envelope=STEADY),
        Operator(hz=613.0, level_db=0.0, envelope=STEADY),
    )
    voice = FmVoice("two", operators, highest_hz=300.0)
    sound = sounded(voice, kernel, 220.0, 20_000)[4_000:]
    sines, _, rest = signed_lines(sound, 4_000, np.array([220.0, 613.0]))
    assert sines == pytest.approx([math.sqrt(0.5)] * 2, abs=1e-6)
    assert loudest_db(rest) < -120.0
