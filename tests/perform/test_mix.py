"""The mix of one form: what stands at 0 Hz leaves the folding forms, and nothing else changes."""

import numpy as np

from meantide.perform.mix import SETTLING_S, Mix
from playing import RATE, decibels

LENGTH = 3 * RATE
TIME_S = np.arange(LENGTH) / RATE
TONE = 0.2 * np.sin(2.0 * np.pi * 440.0 * TIME_S)


def mixed(form: str, sound: np.ndarray, block: int, silent_from: int = LENGTH) -> np.ndarray:
    """Return what the mix makes of a sound in blocks, with nothing added from a sample on."""
    mix = Mix(form, RATE, block)
    made = np.zeros((2, LENGTH), np.float32)
    for start in range(0, LENGTH, block):
        piece = made[:, start : start + block]
        if start < silent_from:
            mix.add(np.repeat(sound[None, start : start + block], 2, 0).astype(np.float32))
        mix.sound(piece)
    return made[0].astype(np.float64)


def test_what_stands_is_taken_away_and_the_tone_stays() -> None:
    made = mixed("fm", TONE + 0.3, 240)
    last = made[-RATE:]
    assert abs(last.mean()) < 1e-6
    assert decibels(np.abs(last - TONE[-RATE:]).max() / 0.2) < -40.0  # 2 Hz over 440: 0.26 degrees


def test_other_forms_are_left_alone() -> None:
    np.testing.assert_array_equal(mixed("additive", TONE, 240), TONE.astype(np.float32))


def test_the_blocker_goes_on_after_the_last_note_until_nothing_is_left() -> None:
    """A mean that was cut off would be a step: it fades, and then the mix costs nothing."""
    made = mixed("fm", np.full(LENGTH, 0.3), 240, silent_from=12_000)
    fading = made[12_000 : 12_000 + round(SETTLING_S * RATE)]
    assert np.abs(np.diff(fading)).max() < 0.3 * 2.0 * np.pi * 2.0 / RATE * 1.01
    assert np.abs(fading[-1]) < 1e-9
    assert not made[12_000 + round(SETTLING_S * RATE) + 240 :].any()


def test_the_size_of_blocks_changes_nothing() -> None:
    reference = mixed("fm", TONE + 0.3, 4_000)
    for block in (64, 100, 240):
        made = mixed("fm", TONE + 0.3, block)
        assert decibels(np.abs(made[: LENGTH // 100] - reference[: LENGTH // 100]).max()) < -110.0


def test_a_tail_sounds_once_from_the_next_sample() -> None:
    mix = Mix("additive", RATE, 64)
    last = np.arange(mix.tail.size, dtype=np.float32).reshape(mix.tail.shape)
    mix.add_tail(last)
    mix.add_tail(last)
    made = np.zeros((2, 640), np.float32)
    for start in range(0, 640, 50):
        mix.sound(made[:, start : start + 50])
    length = mix.tail.shape[1]
    np.testing.assert_array_equal(made[:, :length], 2.0 * last)
    assert not made[:, length:].any()
