"""How a voice answers to touch, and its vibrato: frozen values."""

from dataclasses import dataclass, field
from enum import IntEnum

from meantide.voice.envelope import check_range

MOST_CENTS = 1200.0
MOST_DB = 48.0


class Source(IntEnum):
    """What a player does to a note: each a number from 0 to 1.

    Velocity is that of the strike. Pressure rests at 0, timbre at 1/2, which is the middle of its
    way: a controller may send more or less than that.
    """

    VELOCITY = 0
    PRESSURE = 1
    TIMBRE = 2


class Destination(IntEnum):
    """What touch can move."""

    LEVEL = 0
    VIBRATO = 1
    COLOUR = 2
    BREATH = 3


RESTING_TIMBRE = 0.5


@dataclass(frozen=True, slots=True)
class Answer:
    """What one source adds when it is full.

    Velocity and pressure add their share of it; timbre adds nothing at 1/2, all of it at 1 and the
    opposite at 0. `colour` moves an additive voice towards its second table (1: all the way), and
    the indices of an FM voice by as many times 12 dB.
    """

    level_db: float = 0.0
    vibrato_cents: float = 0.0
    colour: float = 0.0
    breath_db: float = 0.0

    def __post_init__(self) -> None:
        check_range("level_db", self.level_db, -MOST_DB, MOST_DB)
        check_range("vibrato_cents", self.vibrato_cents, -MOST_CENTS, MOST_CENTS)
        check_range("colour", self.colour, -4.0, 4.0)
        check_range("breath_db", self.breath_db, -MOST_DB, MOST_DB)


@dataclass(frozen=True, slots=True)
class Response:
    """A voice's answers to the three sources."""

    velocity: Answer = field(default_factory=Answer)
    pressure: Answer = field(default_factory=Answer)
    timbre: Answer = field(default_factory=Answer)

    def of(self, source: Source) -> Answer:
        """Return the answer to one source."""
        return (self.velocity, self.pressure, self.timbre)[source]


@dataclass(frozen=True, slots=True)
class Vibrato:
    """A slow sine on the pitch: `depth_cents` either way, `rate_hz` times a second.

    It begins `delay_s` after the note, and comes to its depth within `rise_s` (sin²).
    """

    rate_hz: float = 5.5
    depth_cents: float = 0.0
    delay_s: float = 0.0
    rise_s: float = 0.3

    def __post_init__(self) -> None:
        check_range("rate_hz", self.rate_hz, 0.01, 20.0)
        check_range("depth_cents", self.depth_cents, 0.0, MOST_CENTS)
        check_range("delay_s", self.delay_s, 0.0, 60.0)
        check_range("rise_s", self.rise_s, 0.0, 60.0)
