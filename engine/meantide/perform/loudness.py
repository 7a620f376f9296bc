"""Loudness by Recommendation ITU-R BS.1770-5, and its range by EBU Tech 3342, as sound goes by.

Momentary over 400 ms, short-term over 3 s, both anew every 100 ms, and integrated over everything
heard, gated. Memory is fixed however long it runs: what is gated is counted by level, and in each
level's bin the energy is kept exactly.
"""

import math

import numpy as np

from meantide.perform.high_pass import second_order_high_pass
from meantide.perform.recursive import RecursiveFilter
from meantide.perform.true_peak import LOWEST_DB
from meantide.voice.kernel import F32, F64
from meantide.voice.kernels import NUMPY

OFFSET_LU = -0.691
"""BS.1770: makes up for what the filter adds at 997 Hz."""
STEPS_A_SECOND = 10
MOMENTARY_STEPS, SHORT_TERM_STEPS = 4, 30
GATE_LUFS, RELATIVE_GATE_LU, RANGE_GATE_LU = -70.0, -10.0, -20.0
"""What is quieter than the first never counts; nor what is so much below the mean of the rest."""
RANGE_FROM, RANGE_TO = 0.10, 0.95
"""EBU Tech 3342: the range lies between these shares of the short-term levels."""
BINS_A_LU, LOUDEST_LUFS = 50, 80.0

# The analogue shapes behind the coefficients that BS.1770 prints for 48 kHz (from memory, as found
# in open implementations; standards to four digits; at 48 kHz they give the printed ones).
SHELF_HZ, SHELF_DB, SHELF_QUALITY = 1681.974450955533, 3.999843853973347, 0.7071752369554196
SHELF_SLOPE = 0.4996667741545416
HIGH_PASS_HZ, HIGH_PASS_QUALITY = 38.13547087602444, 0.5003270373238773
PRINTED_RATE, CALIBRATION_HZ = 48_000, 997.0


def k_weighting(rate: int) -> F64:
    """Return the sections (2, 5) b0, b1, b2, a1, a2 of K-weighting at `rate` in Hz.

    A shelf, then a high-pass. At every rate 997 Hz gains what it gains at 48 kHz, so that the
    calibration of BS.1770 holds: full scale at 997 Hz in one channel reads -3.01 LUFS.
    """
    sections = _shaped(rate)
    printed = _shaped(PRINTED_RATE)
    printed[1, :3] /= printed[1, 0]  # printed with b = 1, -2, 1
    wanted = _amplification(printed, CALIBRATION_HZ / PRINTED_RATE)
    sections[1, :3] *= wanted / _amplification(sections, CALIBRATION_HZ / rate)
    return sections


def _shaped(rate: int) -> F64:
    """Return the shelf and the high-pass, each of gain 1 where it lets all pass."""
    k = math.tan(math.pi * SHELF_HZ / rate)
    high = 10.0 ** (SHELF_DB / 20.0)
    band = high**SHELF_SLOPE * k / SHELF_QUALITY
    edge = k / SHELF_QUALITY
    ahead = [high + band + k * k, 2.0 * (k * k - high), high - band + k * k]
    back = [2.0 * (k * k - 1.0), 1.0 - edge + k * k]
    shelf = np.array(ahead + back) / (1.0 + edge + k * k)
    return np.stack([shelf, second_order_high_pass(HIGH_PASS_HZ, HIGH_PASS_QUALITY, rate)])


def _amplification(sections: F64, frequency: float) -> float:
    """Return the gain of a cascade at a frequency in cycles a sample."""
    delay = np.exp(-2j * math.pi * frequency * np.arange(3))
    back = np.concatenate([np.ones((len(sections), 1)), sections[:, 3:]], axis=1)
    return float(np.abs(np.prod((sections[:, :3] @ delay) / (back @ delay))))


def loudness_lufs(energy: float) -> float:
    """Return the loudness of a mean square, summed over the channels, after K-weighting."""
    return OFFSET_LU + 10.0 * math.log10(energy) if energy > 1e-20 else LOWEST_DB


class Loudness:
    """A meter of loudness for two channels.

    `rate` in Hz, `longest` block in samples, `kernel` by name. Its four readings are single
    numbers, so any thread may read them while another calls `read`.
    """

    def __init__(self, rate: int, longest: int, kernel: str = NUMPY) -> None:
        self._rate = rate
        self._filter = RecursiveFilter(k_weighting(rate), kernel)
        self._block = np.zeros((2, longest))
        self._steps = np.zeros(SHORT_TERM_STEPS)
        self.reset()

    def reset(self) -> None:
        """Forget all that was heard; on the thread that calls `read`."""
        self.momentary_lufs = self.short_term_lufs = LOWEST_DB
        self.integrated_lufs = LOWEST_DB
        self.range_lu = 0.0
        self._energy, self._made, self._ends = 0.0, 0, self._end_of_step(0)
        self._count = 0
        self._steps[:] = 0.0
        self._gated, self._ranged = Bins(), Bins()

    def read(self, block: F32) -> None:
        """Hear `block` (2, samples), finite, of any length up to `longest`; leave it as it is.

        Safe in the audio callback.
        """
        samples = block.shape[1]
        heard = self._block[:, :samples]
        heard[:] = block
        self._filter.apply(self._block, samples)
        done = 0
        while self._made + samples - done >= self._ends:
            upto = done + self._ends - self._made
            self._add(heard[:, done:upto])
            self._step()
            done = upto
        self._add(heard[:, done:])

    def _add(self, heard: F64) -> None:
        self._energy += float(np.vdot(heard[0], heard[0]) + np.vdot(heard[1], heard[1]))
        self._made += heard.shape[1]

    def _end_of_step(self, step: int) -> int:
        """Return where a step ends, in samples; not every rate is a whole number of steps."""
        return (step + 1) * self._rate // STEPS_A_SECOND

    def _step(self) -> None:
        self._steps[self._count % SHORT_TERM_STEPS] = self._energy * STEPS_A_SECOND / self._rate
        self._count += 1
        self._energy, self._ends = 0.0, self._end_of_step(self._count)
        latest = np.arange(self._count - MOMENTARY_STEPS, self._count) % SHORT_TERM_STEPS
        momentary = float(self._steps[latest].mean())
        short_term = float(self._steps.mean())
        self.momentary_lufs = loudness_lufs(momentary)
        self.short_term_lufs = loudness_lufs(short_term)
        if self._count >= MOMENTARY_STEPS and self._gated.add(self.momentary_lufs, momentary):
            self.integrated_lufs = self._gated.mean_lufs(RELATIVE_GATE_LU)
        if self._count >= SHORT_TERM_STEPS and self._ranged.add(self.short_term_lufs, short_term):
            self.range_lu = self._ranged.range_lu()


class Bins:
    """Energies counted by their loudness, those above the absolute gate."""

    def __init__(self) -> None:
        size = round((LOUDEST_LUFS - GATE_LUFS) * BINS_A_LU)
        self._counts, self._energies = np.zeros(size), np.zeros(size)

    def add(self, lufs: float, energy: float) -> bool:
        """Count an energy whose loudness is `lufs`; tell whether it passes the gate."""
        if lufs <= GATE_LUFS:
            return False
        place = min(int((lufs - GATE_LUFS) * BINS_A_LU), len(self._counts) - 1)
        self._counts[place] += 1.0
        self._energies[place] += energy
        return True

    def mean_lufs(self, gate_lu: float) -> float:
        """Return the loudness of the mean energy above a gate relative to the mean of all."""
        first = self._gate(gate_lu)
        return loudness_lufs(float(self._energies[first:].sum() / self._counts[first:].sum()))

    def range_lu(self) -> float:
        """Return the loudness range: from its 10th to its 95th percentile, gated."""
        first = self._gate(RANGE_GATE_LU)
        risen = np.cumsum(self._counts[first:])
        low, high = (
            np.searchsorted(risen, round((risen[-1] - 1.0) * share) + 1.0)
            for share in (RANGE_FROM, RANGE_TO)
        )
        return float(high - low) / BINS_A_LU

    def _gate(self, gate_lu: float) -> int:
        """Return the first bin above the relative gate, which is never the last one passed by."""
        mean = loudness_lufs(float(self._energies.sum() / self._counts.sum()))
        return max(0, int((mean + gate_lu - GATE_LUFS) * BINS_A_LU))
