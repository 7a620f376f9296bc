"""What the control side has of an engine, wherever it makes its sound."""

from collections.abc import Sequence
from typing import Protocol

from meantide.live.engine import AudioHealth, Load, Vitals
from meantide.perform.company import Counts
from meantide.perform.event import Event
from meantide.pitch import Tuning
from meantide.voice.voices import Voice


class MeterView(Protocol):
    """The meter at the end of the line; see `Meter`."""

    @property
    def peak_dbfs(self) -> float:
        """Sample peak of the last half to whole second."""

    @property
    def true_peak_dbtp(self) -> float:
        """True peak of the last half to whole second."""

    @property
    def highest_true_peak_dbtp(self) -> float:
        """The highest true peak since the reset."""

    @property
    def momentary_lufs(self) -> float:
        """Loudness of the last 400 ms."""

    @property
    def short_term_lufs(self) -> float:
        """Loudness of the last 3 s."""

    @property
    def integrated_lufs(self) -> float:
        """Gated loudness of all since the reset."""

    @property
    def range_lu(self) -> float:
        """Loudness range of all since the reset."""

    def ask_reset(self) -> None:
        """Have all begin anew."""


class AudioSide(Protocol):
    """See `Engine`, of which this is the control side; `RemoteEngine` is one elsewhere."""

    rate: int
    block: int

    @property
    def meter(self) -> MeterView: ...  # noqa: D102
    @property
    def away(self) -> bool: ...  # noqa: D102
    @property
    def has_room(self) -> bool: ...  # noqa: D102
    @property
    def latency_samples(self) -> int: ...  # noqa: D102
    @property
    def limited_db(self) -> float: ...  # noqa: D102
    @property
    def faults(self) -> int: ...  # noqa: D102
    @property
    def sample(self) -> int: ...  # noqa: D102
    @property
    def sounding(self) -> int: ...  # noqa: D102
    @property
    def limit(self) -> int: ...  # noqa: D102
    @property
    def counts(self) -> Counts: ...  # noqa: D102
    @property
    def health(self) -> AudioHealth: ...  # noqa: D102
    @property
    def load(self) -> Load: ...  # noqa: D102
    @property
    def vitals(self) -> Vitals: ...  # noqa: D102
    def send(self, events: Sequence[Event]) -> None: ...  # noqa: D102
    def hand_over(self, value: Tuning | Voice) -> int: ...  # noqa: D102
    def dated_events(self) -> list[tuple[int, Event]]: ...  # noqa: D102
    def sample_at(self, wall_s: float) -> int: ...  # noqa: D102
