"""What stands at 0 Hz is taken away, and nothing that is heard."""

import math

import numpy as np
import pytest
from scipy import signal

from meantide.voice.dc import CORNER_HZ, DcBlocker
from meantide.voice.kernel import LONGEST_READ

RATE = 48_000


def test_it_is_the_one_pole_filter_however_long_the_pieces_are() -> None:
    """Scipy's recursion in float64 is the oracle."""
    random = np.random.default_rng(1)
    sound = (random.standard_normal((2, 3 * LONGEST_READ)) * 0.3 + 0.5).astype(np.float32)
    keep = math.exp(-2 * math.pi * CORNER_HZ / RATE)
    mean = signal.lfilter([1 - keep], [1, -keep], sound.astype(np.float64), axis=1)
    for pieces in ([LONGEST_READ] * 3, [1, 21, 64, 100, 256, 300, 1024, 8000, 8000, 6810]):
        blocker, blocked, at = DcBlocker(RATE), sound.copy(), 0
        for length in pieces:
            blocker.apply(blocked[:, at : at + length])
            at += length
        assert at == sound.shape[1]
        assert np.abs(blocked - (sound - mean)).max() < 3e-7  # float32 of numbers up to 2


@pytest.mark.parametrize("rate", [8_000, 48_000, 192_000])
def test_dc_goes_and_the_lowest_notes_stay(rate: int) -> None:
    samples = np.arange(4 * rate)
    low = np.sin(2 * math.pi * 27.5 / rate * samples)
    sound = np.stack([np.full(len(samples), 0.6), low]).astype(np.float32)
    blocker = DcBlocker(rate)
    for at in range(0, len(samples), 512):
        blocker.apply(sound[:, at : at + 512])
    late = sound[:, 3 * rate :]
    assert np.abs(late[0]).max() < 1e-6
    assert 20 * math.log10(math.sqrt(2 * np.mean(late[1] ** 2))) == pytest.approx(0.0, abs=0.03)
