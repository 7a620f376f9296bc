"""One sounding note: who asked for it, where it is computed, and the way its pitch takes."""

import math
from collections.abc import Hashable
from dataclasses import dataclass, field

from meantide.perform.balance import Balance
from meantide.perform.event import Pitch
from meantide.perform.line import Line
from meantide.voice.voices import Prepared


@dataclass(slots=True, eq=False)
class Note:
    """One sounding note.

    Its frequency is `goal_hz`, off by the cents of `glide`, which end at nothing, and of `bend`.
    """

    id: int
    part: int
    pitch: Pitch
    """What it was asked for by."""
    followed: Pitch
    """What it follows the tuning by: its pitch, but a degree if it stayed as keys were laid anew.
    """
    voice: Prepared
    """The voice it was struck with; `family` tells the later versions of it from other voices."""
    family: int
    began: int
    goal_hz: float
    balance: Balance = field(default_factory=Balance)
    """Where its part stands."""
    spread: float = 0.0
    """Where it stands in its part's width, by the pitch it was struck at."""
    row: int = 0
    glide: Line = field(default_factory=Line)
    bend: Line = field(default_factory=Line)
    key_down: bool = True
    caught: bool = False
    """Whether the sostenuto pedal keeps it."""
    touched: bool = False
    """Whether pressure or timbre ever acted on it."""
    held: bool = True
    """Whether it has not been let go: its key, or a pedal, keeps it sounding."""
    silenced: bool = False
    """Whether it is on its way out within 5 ms."""

    @property
    def bank(self) -> Hashable:
        """The key of the bank that it is in."""
        return self.voice.bank

    def unbent_hz(self, sample: int) -> float:
        """Return the frequency without its bend at `sample`."""
        return self.goal_hz * math.exp2(self.glide.at(sample) / 1200.0)

    def hz(self, sample: int) -> float:
        """Return the frequency at `sample`, vibrato apart."""
        cents = self.glide.at(sample) + self.bend.at(sample)
        return self.goal_hz * math.exp2(cents / 1200.0)

    def retune(self, sample: int, hz: float, samples: int) -> None:
        """From `sample` on come to `hz` within `samples`, linear in cents."""
        self.come_from(self.unbent_hz(sample), hz, sample, samples)

    def come_from(self, from_hz: float, hz: float, sample: int, samples: int) -> None:
        """Stand at `from_hz` at `sample`, and come to `hz` within `samples`."""
        self.goal_hz = hz
        self.glide = Line(1200.0 * math.log2(from_hz / hz), 0.0, sample)
        self.glide.move(sample, 0.0, samples)

    def ways(self, sample: int) -> list[tuple[int, int, float]]:
        """Return the straight pieces that the pitch goes through from `sample` on.

        Each is (its first sample, its length in samples, Hz at its end). Glide and bend may end
        apart; the pitch then turns where the first of them does.
        """
        turns = sorted({each.arrive for each in (self.glide, self.bend) if each.arrive > sample})
        if not turns:
            return [(sample, 0, self.hz(sample))]
        starts = [sample, *turns[:-1]]
        return [
            (start, turn - start, self.hz(turn)) for start, turn in zip(starts, turns, strict=True)
        ]
