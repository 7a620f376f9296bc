"""What a voice costs on this machine, measured in one run beside plain partials."""

from dataclasses import dataclass
from statistics import median
from time import perf_counter

import numpy as np

from meantide.perform.event import Event, Kind, Pitch, PitchKind
from meantide.perform.performance import Performance
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.kernel import Kernel
from meantide.voice.voices import Voice

BLOCK = 256
NOTES = 8
_PLAIN_PARTIALS = 64
_WARM, _TIMED = 10, 60  # blocks


@dataclass(frozen=True, slots=True)
class Cost:
    """One note's cost: the share of a block's time that it takes, and in plain partials.

    A plain partial is one of a steady sum of 64, played by the same kernel in the same run.
    """

    kernel: str
    block: int
    share: float
    plain_partials: float


def cost_of(voice: Voice, hz: float, rate: int, kernel: Kernel) -> Cost:
    """Time blocks of a performance with a few notes of `voice` at about `hz`: 0.2 s or so."""
    plain = AdditiveVoice("plain", (Partial(1.0),) * _PLAIN_PARTIALS, Envelope())
    none_s = _block_s(plain, 0, hz, rate, kernel)
    one_s = (_block_s(plain, NOTES, hz, rate, kernel) - none_s) / (NOTES * _PLAIN_PARTIALS)
    note_s = (_block_s(voice, NOTES, hz, rate, kernel) - none_s) / NOTES
    share = max(note_s, 0.0) * rate / BLOCK
    return Cost(kernel.name, BLOCK, share, max(note_s, 0.0) / max(one_s, 1e-12))


def _block_s(voice: Voice, notes: int, hz: float, rate: int, kernel: Kernel) -> float:
    """Return the median time of a block while so many notes sound, each a little higher."""
    performance = Performance(rate, BLOCK, NOTES, -60.0, [], kernel)
    performance.hand_over(1, voice)
    performance.schedule(Event(Kind.VOICE, 0, value=1))
    for number in range(notes):
        pitch = Pitch(PitchKind.HERTZ, hz * 2.0 ** (number / 100.0))
        performance.schedule(Event(Kind.NOTE_ON, 0, note=number, pitch=pitch, amount=0.7))
    out = np.zeros((2, BLOCK), np.float32)
    took = []
    for _ in range(_WARM + _TIMED):
        begun = perf_counter()
        performance.fill(out)
        took.append(perf_counter() - begun)
    return median(took[_WARM:])
