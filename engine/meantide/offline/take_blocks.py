"""The blocks of a take: as its log dates them, and measured on their way to the file."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from meantide.perform.meter import Meter
from meantide.perform.performance import Performance
from meantide.voice.kernel import F32


def undelayed(performance: Performance, blocks: Iterable[F32]) -> Iterator[F32]:
    """Yield `blocks`, all that `performance` fills, without the latency of its line.

    So a sample in what is yielded is the sample that its events are dated by. The first samples,
    silent, are left out, and at the end what the line still holds is fetched. Each array is
    overwritten by the next.
    """
    late = performance.line.latency_samples
    to_drop = late
    for block in blocks:
        dropped = min(to_drop, block.shape[1])
        to_drop -= dropped
        if dropped < block.shape[1]:
            yield block[:, dropped:]
    rest = np.zeros((2, min(late, performance.longest)), np.float32)
    while late > 0:
        piece = rest[:, : min(late, rest.shape[1])]
        performance.fill(piece)
        late -= piece.shape[1]
        yield piece


@dataclass(frozen=True, slots=True)
class Measured:
    """What was written: its frames, its integrated loudness and its highest true peak."""

    frames: int
    loudness_lufs: float
    true_peak_dbtp: float


class Measuring:
    """Counts and meters blocks (2, samples) of at most `longest` samples as they go by."""

    def __init__(self, rate: int, longest: int, kernel: str) -> None:
        self._meter = Meter(rate, longest, kernel)
        self._frames = 0

    def over(self, blocks: Iterable[F32]) -> Iterator[F32]:
        """Yield `blocks` as they are."""
        for block in blocks:
            self._meter.read(block)
            self._frames += block.shape[1]
            yield block

    def told(self) -> Measured:
        """Return what was measured so far."""
        meter = self._meter
        return Measured(self._frames, meter.integrated_lufs, meter.highest_true_peak_dbtp)
