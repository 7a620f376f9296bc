"""Block entries to wall time, in simulated time: devices that drift, hosts that are late."""

import numpy as np
import pytest

from meantide.live.block_clock import EnvelopeClock
from meantide.live.jack_clock import frames_between

RATE, BLOCK = 48_000, 256
PERIOD_S = BLOCK / RATE


class Device:
    """A device whose clock is off by `drift`, and a host that is late at random, as measured."""

    def __init__(self, drift: float) -> None:
        self.now_s, self.set_by_s = 0.0, 0.0
        self._period_s = PERIOD_S * (1.0 + drift)
        self._chance = np.random.default_rng(11)
        self._turn = 0
        self.clock = EnvelopeClock(RATE, BLOCK, lambda: self.now_s, self.wall)
        self.sample = 0

    def wall(self) -> float:
        return self.now_s + 1e9 + self.set_by_s

    def block(self, late_s: float = 0.0) -> tuple[float, float]:
        """Ask for a block; return how far its time is off in samples, and its slope."""
        true_s = 50.0 + self._turn * self._period_s
        late_s += float(self._chance.exponential(80e-6))
        self.now_s = true_s + late_s
        start = self.clock.asked(self.sample)
        self._turn += 1
        self.sample += BLOCK
        off = (start.began_s - (true_s + 1e9 + self.set_by_s)) * RATE
        return off, start.sample_s * RATE - 1.0

    def lose(self, blocks: int) -> None:
        self._turn += blocks


@pytest.mark.parametrize("drift", [-5e-4, -8e-5, 0.0, 8e-5, 5e-4])
def test_a_drifting_device_is_followed_to_a_sample_whatever_the_host_is_late(drift: float) -> None:
    """The earliest of 187 exponential delays of 80 us is 0.02 samples late on the average."""
    device = Device(drift)
    told = [device.block() for _ in range(6_000)][3_000:]
    assert max(abs(off) for off, _ in told) < 1.0
    assert all(abs(slope - drift) < 2e-6 for _, slope in told)


def test_a_stall_moves_nothing_and_lost_blocks_move_the_line_by_as_many() -> None:
    device = Device(8e-5)
    for _ in range(2_000):
        device.block()
    for late in (3.0, 2.0, 1.0):  # a stall of three blocks that are caught up with
        assert abs(device.block(late * PERIOD_S)[0]) < 1.0
    device.block()
    assert device.clock.lost == 0
    device.lose(5)
    for _ in range(4):
        device.block()
    assert device.clock.lost == 5
    told = [device.block()[0] for _ in range(1_000)]
    assert max(map(abs, told)) < 1.0


def test_a_wall_clock_that_is_set_takes_the_line_along() -> None:
    device = Device(0.0)
    for _ in range(1_000):
        device.block()
    for step_s in (3_600.0, -5.0):
        device.set_by_s += step_s
        # 1e9 s in a double is good to 0.1 us, which is 0.006 samples
        assert max(abs(device.block()[0]) for _ in range(400)) < 1.0
    assert device.clock.lost == 0


@pytest.mark.parametrize(
    ("first", "second", "frames"),
    [(100, 130, 30), (130, 128, -2), (2**32 - 4, 6, 10), (6, 2**32 - 4, -10)],
)
def test_jacks_frames_are_counted_around_the_end_of_32_bits(
    first: int, second: int, frames: int
) -> None:
    assert frames_between(first, second) == frames
