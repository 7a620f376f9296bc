"""The limiter: its ceiling on hostile sound by three meters, and what it leaves untouched."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from feeding import RATE, both, changed, in_db, sine
from meantide.perform.limiter import CEILING_DBTP, CELLS_AHEAD, Limiter
from meantide.perform.limiter_gain import HOLD_S, cell_samples
from meantide.perform.true_peak import TruePeak
from meantide.voice.kernels import KERNELS, NUMPY
from outside_meter import measured

forms = pytest.mark.parametrize("form", KERNELS)
SECOND = np.arange(RATE) / RATE
SAMPLES = np.arange(RATE)


def harmonic_chord() -> np.ndarray:
    """Return 64 full-scale notes of eight harmonics that begin together out of silence."""
    chord = np.zeros(RATE)
    for key in range(64):
        for partial in range(1, 9):
            hz = 55.0 * 2.0 ** (key / 10.0) * partial
            if hz < RATE / 2:
                chord[RATE // 4 :] += np.sin(2 * np.pi * hz * SECOND[: -RATE // 4]) / partial
    return chord


def cosine_chord() -> np.ndarray:
    """Return 64 full-scale cosines that begin together: 64 times full scale at the first sample."""
    chord = np.zeros(RATE)
    for key in range(64):
        hz = 55.0 * 2.0 ** (key / 10.0)
        chord[RATE // 4 :] += np.cos(2 * np.pi * hz * SECOND[: -RATE // 4])
    return chord


def impulses() -> np.ndarray:
    """Return lone samples far above full scale, some two in a row with opposite signs."""
    sound = np.zeros(RATE)
    sound[::977] = 8.0
    sound[1::1501] -= 5.0
    return sound


def noise(seed: int) -> np.ndarray:
    """Return white noise with an RMS of full scale."""
    return np.random.default_rng(seed).standard_normal(RATE)


def flips_before_impulses() -> np.ndarray:
    """Return tones at half the rate that turn over while the gain falls for an impulse to come.

    There a gain that moves spoils most of what cancelled: the interpolating sum has all its terms
    on one side.
    """
    sound = np.zeros(RATE)
    for place, distance in enumerate(range(2, 98)):
        tone = 0.86 * np.cos(np.pi * np.arange(200.0))
        tone[200 - distance :] *= -1.0
        tone[:20] *= np.linspace(0.0, 1.0, 20)
        sound[place * 480 : place * 480 + 200] = tone
        sound[place * 480 + 200] = 16.0
    return sound


def overs_of_every_size() -> np.ndarray:
    """Return noise at the ceiling, and in it stretches and impulses 12 to 60 dB above."""
    random = np.random.default_rng(8)
    sound = noise(8) * 0.8
    for start in random.integers(0, RATE, 12):
        sound[start : start + random.integers(1, 3000)] *= 10.0 ** (random.uniform(12, 60) / 20)
    sound[random.integers(0, RATE, 40)] *= 10.0 ** (random.uniform(12, 60, 40) / 20)
    return sound


HOSTILE = {
    "square-like sums": sum(
        np.sign(np.sin(2 * np.pi * hz * SECOND)) for hz in (110.0, 165.3, 220.7, 1500.1)
    ),
    "a square of four samples": 2 * np.sign(np.sin(np.pi / 2 * (SAMPLES + 0.5))),
    "a quarter of the rate, between samples": 4 * np.sin(np.pi / 2 * SAMPLES + np.pi / 4),
    "the same in bursts": 4 * np.sin(np.pi / 2 * SAMPLES + np.pi / 4) * (SAMPLES // 700 % 3 == 0),
    "half the rate in bursts": 4 * np.cos(np.pi * SAMPLES) * (SAMPLES // 333 % 2),
    "a sweep to half the rate": 3
    * np.sin(2 * np.pi * np.cumsum(np.linspace(20, RATE * 0.49, RATE)) / RATE),
    "64 notes at once": harmonic_chord(),
    "64 cosines at once": cosine_chord(),
    "impulses": impulses(),
    "flips before impulses": flips_before_impulses(),
    "overs of every size": overs_of_every_size(),
    "noise 12 dB over": 1.2 * noise(1),
    "noise that starts and stops": 4 * noise(2) * (SAMPLES // 400 % 3 == 0),
    "signs at random": 3 * np.sign(noise(3)),
}


def limited(sound: np.ndarray, form: str = NUMPY, block: int = 256) -> np.ndarray:
    """Return a sound through a limiter of its own, and the latency after it, without it before."""
    limiter = Limiter(RATE, block, form)
    late = limiter.latency_samples
    return changed(limiter.apply, np.pad(sound, ((0, 0), (0, late))), block)[:, late:]


@forms
@pytest.mark.parametrize("name", HOSTILE)
def test_no_true_peak_passes_the_ceiling(form: str, name: str) -> None:
    sound = np.stack([HOSTILE[name], 0.9 * np.roll(HOSTILE[name], 3)]).astype(np.float32)
    made = limited(sound, form)
    assert in_db(TruePeak(RATE).read(made)[1]) <= CEILING_DBTP
    assert in_db(TruePeak(RATE).read(made)[1]) > CEILING_DBTP - 2.0  # and it is not just quiet
    assert max(measured(made, RATE).true_peaks) <= CEILING_DBTP


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_nor_at_other_rates(rate: int) -> None:
    for name in ("noise 12 dB over", "64 notes at once", "the same in bursts"):
        made = changed(Limiter(rate, 256).apply, both(HOSTILE[name]))
        assert max(measured(made, rate).true_peaks) <= CEILING_DBTP


@given(
    arrays.arrays(np.float32, (2, 96), elements=st.floats(width=32)),
    st.integers(1, 96),
)
def test_whatever_comes_is_finite_and_under_the_ceiling(sound: np.ndarray, block: int) -> None:
    made = limited(sound, block=block)
    assert np.isfinite(made).all()
    assert in_db(max(TruePeak(200).read(made)[1], 1e-9)) <= CEILING_DBTP


@forms
@pytest.mark.parametrize("block", [1, 64, 100])
def test_what_is_under_the_ceiling_passes_bit_for_bit(form: str, block: int) -> None:
    chord = sum(np.sin(2 * np.pi * 220 * r * SECOND + r) for r in (1, 1.25, 1.5, 1.96875, 14.7))
    sound = both(chord[:9600] / np.abs(chord).max() * 10 ** (-1.5 / 20))
    assert -1.6 < max(measured(sound, RATE).true_peaks) < -1.2
    assert np.array_equal(limited(sound, form, block), sound)


@forms
def test_it_lets_go_entirely_and_is_bit_exact_again(form: str) -> None:
    sound = both(0.4 * noise(4)[: RATE // 2] / 4)
    loud = both(3 * noise(5)[: RATE // 10])
    quiet = np.zeros((2, 15 * RATE), np.float32)
    made = limited(np.concatenate([loud, quiet, sound], axis=1), form, 2048)
    assert np.array_equal(made[:, -RATE // 2 :], sound)


@forms
def test_blocks_of_any_size_sound_exactly_the_same(form: str) -> None:
    sound = both(1.5 * noise(6)[:6000] * (SAMPLES[:6000] // 1000 % 2))
    whole = limited(sound, form, 6000)
    for block in (1, 7, 8, 64, 129):
        assert np.abs(limited(sound, form, block) - whole).max() < 1e-6  # -120 dB


def test_the_two_forms_agree() -> None:
    for name in ("64 notes at once", "noise that starts and stops"):
        ours = [limited(both(HOSTILE[name]), form) for form in KERNELS]
        # float32 sums in another order: -120 dB
        assert np.abs(ours[0] - ours[1]).max() < 1e-6


@forms
@pytest.mark.parametrize("hz", [20.0, 27.5, 110.3, 1000.7])
def test_a_steady_tone_over_the_ceiling_stays_in_tune_and_clean(form: str, hz: float) -> None:
    """The gain is held for longer than half a period of 20 Hz, so it does not move at all."""
    assert HOLD_S >= 0.5 / 20.0
    made = limited(sine(hz, 6.0, 3.0), form, 1024)[0, RATE:].astype(np.float64)
    angle = 2 * np.pi * hz * np.arange(RATE, 3 * RATE) / RATE
    basis = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    fit, *_ = np.linalg.lstsq(basis, made)
    assert in_db(np.hypot(*fit)) == pytest.approx(-1.2, abs=0.05)
    assert in_db(np.std(made - basis @ fit) / np.std(made)) < -100.0
    # a hundredth of a cent in 2 s would be a change of phase of hz · 2 · 2π · 5.8e-6 radians
    halves = [
        np.linalg.lstsq(basis[part], made[part])[0] for part in (slice(RATE), slice(RATE, None))
    ]
    turned = np.subtract(*(math.atan2(sine_part, cosine) for cosine, sine_part in halves))
    assert abs(turned) < 2 * np.pi * hz * 5.8e-6


@forms
def test_both_channels_have_one_gain(form: str) -> None:
    sound = np.stack([2.0 * noise(7), np.full(RATE, 0.125)]).astype(np.float32)[:, :20_000]
    made = limited(sound, form)
    gain = made[1] / np.float32(0.125)  # a power of two: exact
    assert np.abs(made[0] - sound[0] * gain).max() < 1e-6


def gain_over(over: np.ndarray, form: str) -> np.ndarray:
    """Return the gain in dB, sample by sample, that a sound in the left channel gives the right."""
    right = np.full(len(over), 2.0**-6)
    made = limited(np.stack([over, right]).astype(np.float32), form)
    return 20 * np.log10(made[1].astype(np.float64) * 2.0**6)


@forms
def test_the_gain_is_down_before_the_peak_and_moves_in_a_curve(form: str) -> None:
    over = np.zeros(RATE)
    over[RATE // 2] = 4.0
    gain = gain_over(over, form)
    needed = -1.2 - in_db(4.0)
    cell = cell_samples(RATE)
    assert gain[RATE // 2 - cell : RATE // 2 + cell] == pytest.approx(needed, abs=0.01)
    # a raised cosine's steepest weight is 2/n of the whole; straight in amplitude within a cell,
    # the steps in dB at its quiet end are steeper by half its own fall
    steepest = 2 / CELLS_AHEAD * -needed / cell
    assert np.abs(np.diff(gain)).max() < 1.2 * steepest
    assert not gain[: RATE // 2 - (CELLS_AHEAD + 2) * cell].any()


@forms
def test_a_lone_peak_is_soon_forgotten_and_long_work_slowly(form: str) -> None:
    """So that a click does not leave a hole behind, and a chord's beats do not pump."""
    click = np.zeros(4 * RATE)
    click[3 * RATE] = 4.0
    work = np.zeros(4 * RATE)
    work[: 3 * RATE] = 4.0 * np.sin(2 * np.pi * 220 * np.arange(3 * RATE) / RATE)
    after = [gain_over(over, form)[3 * RATE + round(0.4 * RATE)] for over in (click, work)]
    assert after[0] > -1.0
    assert -12.0 < after[1] < -6.0


@forms
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30])
def test_a_fault_is_counted_and_leaves_no_trace(form: str, bad: float) -> None:
    limiter = Limiter(RATE, 256, form)
    block = np.full((2, 256), 0.25, np.float32)
    block[0, 17] = bad
    limiter.apply(block)
    assert limiter.faults == 1
    assert np.isfinite(block).all()
    assert not np.isfinite(bad) or limiter.taken_db > 60.0
    for _ in range(20 * RATE // 256):
        block[:] = 0.25
        limiter.apply(block)
        assert np.isfinite(block).all()
    assert limiter.taken_db == 0.0
    assert np.array_equal(block, np.full((2, 256), 0.25, np.float32))


@forms
@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_the_latency_is_a_few_ms_and_exact(form: str, rate: int) -> None:
    limiter = Limiter(rate, 64, form)
    assert limiter.latency_samples / rate < (0.005 if rate >= 44_100 else 0.02)
    sound = np.zeros((2, 32 * 64), np.float32)
    sound[:, 100] = 0.5
    made = changed(limiter.apply, sound, 64)
    assert np.flatnonzero(made[0]).tolist() == [100 + limiter.latency_samples]
