"""What a bank of notes is: the same to whoever plays, whether its notes are additive or FM."""

from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.kernel import F32, F64, Rows
from meantide.voice.touch import RESTING_TIMBRE


@dataclass(frozen=True, slots=True)
class Strike:
    """How a note begins: its frequency, velocity above 0 to 1, and what touches it from the start.

    With `from_hz` and `glide_samples` it comes to its frequency from another, linear in cents.
    `seed` is a number that no two notes of a performance share: chance is made from it.
    """

    hz: float
    velocity: float
    grid: DegreeGrid | None = None
    seed: int = 0
    from_hz: float = 0.0
    glide_samples: int = 0
    bend_cents: float = 0.0
    pressure: float = 0.0
    timbre: float = RESTING_TIMBRE


Prepared_contra = TypeVar("Prepared_contra", contravariant=True)


class Bank(Protocol[Prepared_contra]):
    """Notes in numbered rows; whoever owns the bank says which are in use.

    All methods are safe in the audio callback. What they do acts from the next sample read. Rows
    are ascending; arrays of goals have one number a row.
    """

    def start(self, row: int, prepared: Prepared_contra, strike: Strike) -> None:
        """Begin a note in `row`."""

    def release(self, rows: Rows, stage: Stage = Stage.RELEASED) -> None:
        """Let notes go, by their release or at once."""

    def retune(self, rows: Rows, hz: F64, samples: int, grid: DegreeGrid | None) -> None:
        """Bring notes to `hz`, linear in cents over `samples`, and what follows the scale to it."""

    def touch(self, ramp: str, rows: Rows, goals: F64, samples: int) -> None:
        """Move "bend" (cents), "pressure" or "timbre" (0..1), linearly over `samples`."""

    def revoice(
        self, rows: Rows, prepared: Prepared_contra, samples: int, grid: DegreeGrid | None
    ) -> None:
        """Give sounding notes the numbers of another version of their voice, over `samples`.

        Levels, ratios, colour, vibrato and response move; envelopes stay as they were struck.
        """

    def gone(self, rows: Rows) -> NDArray[np.bool_]:
        """Tell which notes are over and silent."""

    def loudness(self, rows: Rows) -> F32:
        """Return the power that each note stands at, or is rising to in its attack."""

    def hz(self, row: int) -> float:
        """Return the frequency that a note is at or gliding to, without bend and vibrato."""

    def read(self, rows: Rows, gains: F32, out: F32) -> None:
        """Write the sum of the next samples of the notes in `rows` into `out`; see `Reader`."""
