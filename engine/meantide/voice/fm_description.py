"""What an FM voice is, as frozen values: operators, and the paths between them."""

from dataclasses import dataclass, field

from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.voice.description import QUIETEST_DB
from meantide.voice.envelope import Envelope, check_range
from meantide.voice.purpose import check_purpose, trim_at
from meantide.voice.touch import Response, Vibrato

MOST_OPERATORS = 6
MOST_INDEX = 50.0
LOWEST_RATIO, HIGHEST_RATIO = 0.01, 256.0
MOST_DEGREES = 1024
DECIMATING_S = 0.005
"""More than a decimator lasts, at any rate there is."""
KEY_CENTRE_HZ = 440.0 * 2.0 ** (-9 / 12)
"""Middle C at twelve equal parts and A at 440 Hz: above it `key_db` acts."""


@dataclass(frozen=True, slots=True)
class DegreesUp:
    """A ratio that the scale gives: that of the degree so many above the note's own."""

    degrees: int

    def __post_init__(self) -> None:
        if (
            isinstance(self.degrees, bool)
            or not isinstance(self.degrees, int)
            or abs(self.degrees) > MOST_DEGREES
        ):
            allowed = f"a whole number from {-MOST_DEGREES} to {MOST_DEGREES}"
            raise InvalidValue("degree", self.degrees, allowed)


@dataclass(frozen=True, slots=True)
class Operator:
    """One sine: where it lies, how it comes and goes, and whether it is heard.

    It lies at `ratio` over the note (a number, an interval or a degree of the scale), or at `hz`
    whatever is played: one of the two. Its amplitude A is 1 at the peak of its `envelope`; it falls
    by `velocity_db` towards velocity 0, and changes by `key_db` for every octave that the note lies
    above middle C. A acts on its level in the sum (`level_db`; None: it is not heard), on the
    indices of the paths that leave it, and on its `feedback` β upon itself: its sound is

        A · y,  y = sin(θ + β·A·y),  |β·A| ≤ 1 (Tomisawa 1981, as cited in the literature),

    which is Kepler's equation. `phase` is where it starts, in cycles.
    """

    ratio: float | Interval | DegreesUp | None = None
    hz: float | None = None
    level_db: float | None = None
    envelope: Envelope = field(default_factory=Envelope)
    feedback: float = 0.0
    phase: float = 0.0
    velocity_db: float = 0.0
    key_db: float = 0.0

    def __post_init__(self) -> None:
        if (self.ratio is None) == (self.hz is None):
            got = "neither" if self.ratio is None else "both"
            raise InvalidValue("operator", got, "one of ratio and hz")
        if isinstance(self.ratio, Interval):
            try:
                check_range("ratio", self.ratio.ratio_value, LOWEST_RATIO, HIGHEST_RATIO)
            except InvalidValue as error:
                raise InvalidValue("ratio", str(self.ratio), error.allowed) from None
        elif self.ratio is not None and not isinstance(self.ratio, DegreesUp):
            check_range("ratio", self.ratio, LOWEST_RATIO, HIGHEST_RATIO)
        if self.hz is not None:
            check_range("hz", self.hz, 0.01, 20_000.0)
        if self.level_db is not None:
            check_range("level_db", self.level_db, QUIETEST_DB, 24.0)
        check_range("feedback", self.feedback, -1.0, 1.0)
        check_range("phase", self.phase, -1.0, 1.0)
        check_range("velocity_db", self.velocity_db, 0.0, 96.0)
        check_range("key_db", self.key_db, -48.0, 12.0)


@dataclass(frozen=True, slots=True)
class Path:
    """Operator `source` moves the phase of `target` by ±`index` radians; they count from 1."""

    source: int
    target: int
    index: float

    def __post_init__(self) -> None:
        for name, number in (("source", self.source), ("target", self.target)):
            if (
                isinstance(number, bool)
                or not isinstance(number, int)
                or not 1 <= number <= MOST_OPERATORS
            ):
                allowed = f"the number of an operator, 1 to {MOST_OPERATORS}"
                raise InvalidValue(name, number, allowed)
        if self.source == self.target:
            allowed = "another operator; its feedback says how one moves itself"
            raise InvalidValue("target", self.target, allowed)
        check_range("index", self.index, 0.0, MOST_INDEX)


@dataclass(frozen=True, slots=True)
class FmVoice:
    """Sines that move each other's phases, in any arrangement without a circle.

    The powers of the operators that are heard add up to that of a sine at full scale at velocity 1,
    whatever moves them: so FM and additive voices are comparable. A note's level is its velocity to
    the power `velocity_exponent`; `level_db` trims the voice, and `trims_db` by pitch, evenly from
    `lowest_hz` to `highest_hz`. Colour, which touch moves, is 12 dB on all indices.

    `highest_hz` is the highest note that the voice is meant for: up there, its indices at full, it
    is oversampled enough for its aliases to be 80 dB down. Where no oversampling is enough, and for
    higher notes and fuller touch, a note's indices and feedback are held down to where that is so.
    """

    name: str
    operators: tuple[Operator, ...]
    paths: tuple[Path, ...] = ()
    vibrato: Vibrato = field(default_factory=Vibrato)
    response: Response = field(default_factory=Response)
    velocity_exponent: float = 1.5
    level_db: float = 0.0
    trims_db: tuple[float, ...] = ()
    family: str = ""
    lowest_hz: float = 20.0
    highest_hz: float = 2000.0
    about: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        count = len(self.operators)
        if not 1 <= count <= MOST_OPERATORS:
            raise InvalidValue("operators", count, f"1 to {MOST_OPERATORS} operators")
        check_range("velocity_exponent", self.velocity_exponent, 0.0, 4.0)
        check_range("level_db", self.level_db, -60.0, 12.0)
        check_purpose(self.family, self.lowest_hz, self.highest_hz, self.trims_db)
        seen = set()
        for path in self.paths:
            for name, number in (("source", path.source), ("target", path.target)):
                if number > count:
                    raise InvalidValue(name, number, f"the number of an operator, 1 to {count}")
            ends = (path.source, path.target)
            if ends in seen:
                got = f"{path.source} to {path.target} twice"
                raise InvalidValue("paths", got, "one path from an operator to another")
            seen.add(ends)
        self._check_that_all_are_heard(self.order())

    def order(self) -> tuple[int, ...]:
        """Return the operators' numbers, each after those that move it.

        InvalidValue, naming it, if there is a circle.
        """
        waiting = {number: self._sources(number) for number in range(1, len(self.operators) + 1)}
        order: list[int] = []
        while waiting:
            ready = next((n for n, of in waiting.items() if not of - set(order)), None)
            if ready is None:
                raise InvalidValue("paths", self._circle(set(waiting)), "paths without a circle")
            order.append(ready)
            del waiting[ready]
        return tuple(order)

    def levels(self) -> tuple[float, ...]:
        """Return each operator's amplitude in the sum, 0 where it is not heard."""
        heard = [op.level_db for op in self.operators if op.level_db is not None]
        loudest = max(heard)  # first, so that no power is too small for a float
        whole = sum(10.0 ** ((level - loudest) / 10.0) for level in heard) ** 0.5
        return tuple(
            0.0 if op.level_db is None else 10.0 ** ((op.level_db - loudest) / 20.0) / whole
            for op in self.operators
        )

    @property
    def gone_s(self) -> float:
        """Seconds from a note's release until it is silent, the decimator's reach included."""
        heard = [op.envelope.gone_s for op in self.operators if op.level_db is not None]
        return max(heard) + DECIMATING_S

    def note_gain(self, velocity: float, hz: float) -> float:
        """Return the factor on a note's level at `velocity`, above 0 to 1, with the trims."""
        trim_db = trim_at(self.trims_db, self.lowest_hz, self.highest_hz, hz)
        return float(velocity**self.velocity_exponent * 10.0 ** ((self.level_db + trim_db) / 20.0))

    def _sources(self, target: int) -> set[int]:
        return {path.source for path in self.paths if path.target == target}

    def _circle(self, among: set[int]) -> str:
        """Return a circle of operators, each of which is moved by another of `among`."""
        way = [min(among)]
        while way.count(way[-1]) == 1:
            way.append(min(self._sources(way[-1]) & among))
        circle = way[way.index(way[-1]) :]
        return " -> ".join(str(number) for number in reversed(circle))

    def _check_that_all_are_heard(self, order: tuple[int, ...]) -> None:
        useful = {n for n, op in enumerate(self.operators, 1) if op.level_db is not None}
        if not useful:
            raise InvalidValue("operators", "none that is heard", "at least one with a level_db")
        for number in reversed(order):
            if number in useful:
                useful |= self._sources(number)
        for number in order:
            if number not in useful:
                allowed = "a level_db, or a path that leads to an operator that is heard"
                raise InvalidValue(
                    f"operators item {number}", "neither heard nor moving one", allowed
                )
