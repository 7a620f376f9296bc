"""Numbers that move in straight lines, as functions of the sample count."""

from dataclasses import dataclass

SHORTEST_TOUCH_S = 0.005
"""What changes a sounding note takes at least so long: no step is heard."""


@dataclass(slots=True)
class Line:
    """A number that stands at `goal`, or moves to it in a straight line until sample `arrive`.

    The same law as that of the ramps in `voice.course`, in samples of the performance.
    """

    goal: float = 0.0
    slope: float = 0.0
    arrive: int = 0

    def at(self, sample: int) -> float:
        """Return the value at `sample`, which is not before the last move."""
        return self.goal - self.slope * max(self.arrive - sample, 0)

    def move(self, sample: int, goal: float, samples: int) -> None:
        """Let it come from where it stands at `sample` to `goal` within `samples`; 0: at once."""
        self.slope = (goal - self.at(sample)) / samples if samples else 0.0
        self.goal, self.arrive = goal, sample + samples
