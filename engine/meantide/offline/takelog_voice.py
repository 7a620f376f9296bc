"""What a take's log says of a voice: its partials, and how they move by themselves."""

from dataclasses import dataclass
from typing import Self

from meantide.reading import Fields, Value

# What a log may hold is wider than anything that sounds, and narrow enough to reckon with.
COUNTS = (0, 2**62)
POSITIVE = (1e-6, 1e9)
LEVELS_DB = (-1e6, 1e3)
LESS_DB = (0.0, 1e6)
CENTS = (-4800.0, 4800.0)
WIDTHS_CENTS = (0.0, 4800.0)
LENGTHS_S = (0.0, 1e9)
_MOST_COPIES = 1024


@dataclass(frozen=True, slots=True)
class LoggedPartial:
    """One partial of a voice; of a unison each copy is one.

    It sounds at `ratio` times the note's frequency (inharmonicity included) and `offset_hz` more,
    which does not follow the note. `level_db` is relative to the note's, the most it comes to;
    touch may leave it up to `quieter_db` below that. `decay_s` are the seconds in which it falls
    by 60 dB, or None if it does not; within `attack_s` it comes to 90 %. `drift_hz` is how often
    a second it drifts to and fro, or None where that is not told. Where it `turns`, sidebands of
    several phases lie on it, and so its own phase turns when their levels move.
    """

    ratio: float
    level_db: float
    decay_s: float | None = None
    attack_s: float | None = None
    quieter_db: float = 0.0
    offset_hz: float = 0.0
    drift_hz: float | None = None
    turns: bool = False

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log; what is usual is left out."""
        found: dict[str, object] = {
            "ratio": self.ratio,
            "level_db": self.level_db,
            "decay_s": self.decay_s,
        }
        return found | _unusual(
            attack_s=(self.attack_s, None),
            quieter_db=(self.quieter_db, 0.0),
            offset_hz=(self.offset_hz, 0.0),
            drift_hz=(self.drift_hz, None),
            turns=(self.turns, False),
        )

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read one partial; InvalidValue when it is not one."""
        fields = value.fields(
            "ratio", "level_db", "decay_s", "attack_s", "quieter_db", "offset_hz", "drift_hz",
            "turns",
        )  # fmt: skip
        decay = fields["decay_s"]
        return cls(
            fields.number("ratio", *POSITIVE),
            fields.number("level_db", *LEVELS_DB),
            None if decay.data is None else decay.number(*POSITIVE),
            _number_or_none(fields, "attack_s"),
            fields.number("quieter_db", *LESS_DB, 0.0),
            fields.number("offset_hz", -1e9, 1e9, 0.0),
            _number_or_none(fields, "drift_hz"),
            fields.flag("turns", default=False),
        )


@dataclass(frozen=True, slots=True)
class LoggedVibrato:
    """A vibrato, by its law.

    At t seconds after its delay the pitch is moved by

        depth · sin²(π/2 · min(t / rise_s, 1)) · sin(2π · rate_hz · t) cents.

    The delay counts from the note's start. The depth is `depth_cents`, unless the note tells its
    own; touch may add up to `touched_cents` either way.
    """

    rate_hz: float
    depth_cents: float
    delay_s: float = 0.0
    rise_s: float = 0.0
    touched_cents: float = 0.0

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        found: dict[str, object] = {
            "rate_hz": self.rate_hz,
            "depth_cents": self.depth_cents,
            "delay_s": self.delay_s,
            "rise_s": self.rise_s,
        }
        return found | _unusual(touched_cents=(self.touched_cents, 0.0))

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read a vibrato; InvalidValue when it is not one."""
        fields = value.fields("rate_hz", "depth_cents", "delay_s", "rise_s", "touched_cents")
        return cls(
            fields.number("rate_hz", *POSITIVE),
            fields.number("depth_cents", *CENTS),
            fields.number("delay_s", *LENGTHS_S),
            fields.number("rise_s", *LENGTHS_S),
            fields.number("touched_cents", *WIDTHS_CENTS, 0.0),
        )


@dataclass(frozen=True, slots=True)
class LoggedDrift:
    """A slow wandering, by its law.

    At t seconds after the note's start each partial is moved by

        cents · sin(2π · (its drift_hz · t + its phase)) cents,

    where the partial tells its rate and the note the phases. No rate exceeds `fastest_hz`.
    """

    cents: float
    fastest_hz: float

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log."""
        return {"cents": self.cents, "fastest_hz": self.fastest_hz}

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read a drift; InvalidValue when it is not one."""
        fields = value.fields("cents", "fastest_hz")
        return cls(fields.number("cents", *WIDTHS_CENTS), fields.number("fastest_hz", *POSITIVE))


@dataclass(frozen=True, slots=True)
class LoggedVoice:
    """A voice: its partials, its vibrato and drift if it has them.

    `copies` are how many partials in a row are copies of one (a unison). Of `sidebands` (FM) some
    may lie on each other, and levels move with the indices.
    """

    partials: tuple[LoggedPartial, ...]
    vibrato: LoggedVibrato | None = None
    drift: LoggedDrift | None = None
    copies: int = 1
    sidebands: bool = False

    def as_json(self) -> dict[str, object]:
        """Return the mapping written to the log; what is usual is left out."""
        found: dict[str, object] = {"partials": [each.as_json() for each in self.partials]}
        return found | _unusual(
            vibrato=(self.vibrato and self.vibrato.as_json(), None),
            drift=(self.drift and self.drift.as_json(), None),
            copies=(self.copies, 1),
            sidebands=(self.sidebands, False),
        )

    @classmethod
    def from_value(cls, value: Value) -> Self:
        """Read a voice; InvalidValue when it is not one."""
        fields = value.fields("partials", "vibrato", "drift", "copies", "sidebands")
        vibrato, drift = fields.get("vibrato"), fields.get("drift")
        return cls(
            partials_of(fields["partials"]),
            None if vibrato is None else LoggedVibrato.from_value(vibrato),
            None if drift is None else LoggedDrift.from_value(drift),
            fields.integer("copies", 1, _MOST_COPIES, 1),
            fields.flag("sidebands", default=False),
        )


def partials_of(value: Value) -> tuple[LoggedPartial, ...]:
    """Read a list of partials; InvalidValue when it is not one."""
    return tuple(LoggedPartial.from_value(item) for item in value.items())


def _unusual(**members: tuple[object, object]) -> dict[str, object]:
    """Return the members, given with their usual values, that are not as usual."""
    return {name: value for name, (value, usual) in members.items() if value != usual}


def _number_or_none(fields: Fields, key: str) -> float | None:
    value = fields.get(key)
    return None if value is None else value.number(*POSITIVE)
