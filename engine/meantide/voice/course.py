"""The course of a note: its pitch and how it is touched, as laws of its age.

Everything that moves is a ramp: a goal, a slope, and the age at which it arrives,

    value(age) = goal - slope · max(arrive - age, 0),

so that a note's pitch, gain and colour are known at any age from numbers that only events change,
and nothing depends on when they are asked for. The pitch glides linearly in cents; bend and vibrato
add cents to it; velocity, pressure and timbre act through the voice's `Response`.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from meantide.voice.bank import Strike
from meantide.voice.kernel import F64, Rows
from meantide.voice.touch import RESTING_TIMBRE, Destination, Response, Source, Vibrato

NEPERS_PER_CENT = math.log(2.0) / 1200.0
NEPERS_PER_DB = math.log(10.0) / 20.0
FAINTEST = 1e-12
"""The least gain there is, so that it has a logarithm: -240 dB."""
COLOUR_DB = 12.0
"""What a colour of 1 is to the indices of an FM voice."""

RAMPS = ("pitch", "bend", "pressure", "timbre", "depth", "level", "colour", "breath")
"""Pitch: goal in cycles a sample, slope in nepers a sample; bend and depth (of the vibrato) in
cents; level and breath in nepers; the rest are numbers from 0 to 1."""
COURSE = np.dtype(
    [(f"{ramp}_{part}", np.float64) for ramp in RAMPS for part in ("goal", "slope", "arrive")]
    + [
        (name, np.float64)
        for name in ("velocity", "rate", "origin", "delay", "rise", "settled", "vibrates")
    ]
)
"""One note's course; `rate` of the vibrato in cycles a sample, ages in samples."""

Ages = NDArray[np.int64] | NDArray[np.float64]


class NoteGains(Protocol):
    """What knows how loud its notes are: a voice of either form."""

    def note_gain(self, velocity: float, hz: float) -> float:
        """Return the factor on the level of a note at `hz`."""


class CourseTable:
    """The courses of many notes, one row a note.

    Methods take the rows they act on, and ages in samples: `(rows,)` for events, `(rows, points)`
    for values, which have the shape of the ages. Safe in the audio callback.
    """

    def __init__(self, notes: int, rate: int) -> None:
        self.rate = rate
        self.records = np.zeros(notes, COURSE)
        self.answers = np.zeros((notes, len(Destination), len(Source)))
        """What each source adds to each destination when it is full: nepers, cents or a share."""

    # -- events -----------------------------------------------------------------------------

    def start(self, row: int, template: "CourseTemplate", strike: Strike, gain: float) -> None:
        """Begin a note in `row`, its level times `gain`; its age is 0."""
        self.records[row] = template.record
        self.answers[row] = template.answers
        record = self.records[row]
        record["pitch_goal"] = strike.hz / self.rate
        if strike.glide_samples:
            record["pitch_slope"] = math.log(strike.hz / strike.from_hz) / strike.glide_samples
            record["pitch_arrive"] = record["settled"] = strike.glide_samples
        record["level_goal"] = math.log(max(gain, FAINTEST))
        record["velocity"] = strike.velocity
        record["bend_goal"] = strike.bend_cents
        record["pressure_goal"] = strike.pressure
        record["timbre_goal"] = strike.timbre

    def give(
        self, rows: Rows, ages: Ages, vibrato: Vibrato, response: Response, samples: int
    ) -> None:
        """Give the notes in `rows` a vibrato and a response, coming to its depth in `samples`.

        What a touched note is then to have at once it has at once: callers fade over that.
        """
        records, rate = self.records, vibrato.rate_hz / self.rate
        former = records["rate"][rows]
        begun = former > 0.0
        # the sine goes on where it stands
        turned = ages - former * (ages - records["origin"][rows]) / rate
        records["origin"][rows] = np.where(begun, turned, vibrato.delay_s * self.rate)
        records["rate"][rows] = rate
        records["delay"][rows] = vibrato.delay_s * self.rate
        records["rise"][rows] = max(vibrato.rise_s * self.rate, 1.0)
        self.move("depth", rows, ages, vibrato.depth_cents, samples)
        answers = np.array(answer_matrix(response))
        self.answers[rows] = answers
        vibrates = vibrato.depth_cents != 0.0 or bool(answers[Destination.VIBRATO].any())
        records["vibrates"][rows] = np.maximum(records["vibrates"][rows], float(vibrates))

    def move(self, ramp: str, rows: Rows, ages: Ages, goals: F64 | float, samples: int) -> None:
        """Let a ramp run from where it stands to `goals` within `samples`; 0: it is there now."""
        records, at = self.records, np.asarray(ages, np.float64)[:, None]
        if ramp == "pitch":
            way = np.log(goals / self.base_frequencies(rows, at)[:, 0])
        else:
            way = np.subtract(goals, self._ramp(ramp, rows, at)[:, 0])
        records[f"{ramp}_goal"][rows] = goals
        records[f"{ramp}_slope"][rows] = way / max(samples, 1) if samples else 0.0
        arrive = np.asarray(ages, np.float64) + samples
        records[f"{ramp}_arrive"][rows] = arrive
        records["settled"][rows] = np.maximum(records["settled"][rows], arrive)

    def move_to_level_of(self, voice: NoteGains, rows: Rows, ages: Ages, samples: int) -> None:
        """Let the levels come to those of `voice` at the pitches the notes are going to."""
        records = self.records[rows]
        gains = [
            voice.note_gain(velocity, pitch * self.rate)
            for velocity, pitch in zip(
                records["velocity"].tolist(), records["pitch_goal"].tolist(), strict=True
            )
        ]
        self.move("level", rows, ages, np.log(np.maximum(gains, FAINTEST)), samples)

    # -- what stands ------------------------------------------------------------------------

    def restless(self, rows: Rows, ages: Ages) -> NDArray[np.bool_]:
        """Tell which of the notes move on from `ages` (rows,)."""
        records = self.records
        restless: NDArray[np.bool_] = (records["settled"][rows] > ages) | (
            records["vibrates"][rows] != 0.0
        )
        return restless

    def base_frequencies(self, rows: Rows, ages: Ages) -> F64:
        """Return the frequencies, in cycles a sample, without bend and vibrato."""
        records = self.records
        rest = np.maximum(records["pitch_arrive"][rows, None] - ages, 0.0)
        nepers = records["pitch_slope"][rows, None] * rest
        base: F64 = records["pitch_goal"][rows, None] * np.exp(-nepers)
        return base

    def frequencies(self, rows: Rows, ages: Ages) -> F64:
        """Return the frequencies, in cycles a sample."""
        cents = self._ramp("bend", rows, ages) + self._vibrato(rows, ages)
        frequencies: F64 = self.base_frequencies(rows, ages) * np.exp(cents * NEPERS_PER_CENT)
        return frequencies

    def gains(self, rows: Rows, ages: Ages) -> F64:
        """Return the factors on the notes' levels."""
        nepers = self._ramp("level", rows, ages) + self._touched(Destination.LEVEL, rows, ages)
        gains: F64 = np.exp(nepers)
        return gains

    def colours(self, rows: Rows, ages: Ages) -> F64:
        """Return the colours as touched, unbounded: 0 is the first table, 1 the second."""
        colours: F64 = self._ramp("colour", rows, ages) + self._touched(
            Destination.COLOUR, rows, ages
        )
        return colours

    def breaths(self, rows: Rows, ages: Ages) -> F64:
        """Return the factors on the notes' breath, over their gains."""
        nepers = self._ramp("breath", rows, ages) + self._touched(Destination.BREATH, rows, ages)
        breaths: F64 = np.exp(nepers)
        return breaths

    # -- inside -----------------------------------------------------------------------------

    def _ramp(self, ramp: str, rows: Rows, ages: Ages) -> F64:
        records = self.records
        rest = np.maximum(records[f"{ramp}_arrive"][rows, None] - ages, 0.0)
        value: F64 = records[f"{ramp}_goal"][rows, None] - (
            records[f"{ramp}_slope"][rows, None] * rest
        )
        return value

    def _touched(self, destination: Destination, rows: Rows, ages: Ages) -> F64:
        answers = self.answers[rows, destination][:, None]
        pressure = self._ramp("pressure", rows, ages)
        timbre = (self._ramp("timbre", rows, ages) - RESTING_TIMBRE) / RESTING_TIMBRE
        touched: F64 = (
            answers[..., Source.VELOCITY] * self.records["velocity"][rows, None]
            + answers[..., Source.PRESSURE] * pressure
            + answers[..., Source.TIMBRE] * timbre
        )
        return touched

    def _vibrato(self, rows: Rows, ages: Ages) -> F64:
        records = self.records
        depth = self._ramp("depth", rows, ages) + self._touched(Destination.VIBRATO, rows, ages)
        share = (ages - records["delay"][rows, None]) / np.maximum(records["rise"][rows, None], 1.0)
        risen = np.sin(0.5 * math.pi * np.clip(share, 0.0, 1.0)) ** 2
        turns = records["rate"][rows, None] * (ages - records["origin"][rows, None])
        turns -= np.floor(turns)
        vibrato: F64 = depth * risen * np.sin(2.0 * math.pi * turns)
        return vibrato


@dataclass(frozen=True, slots=True)
class CourseTemplate:
    """What a voice says of the course of its notes, made ready on the control side."""

    record: NDArray[np.void]
    answers: F64

    @classmethod
    def of(
        cls,
        vibrato: Vibrato,
        response: Response,
        colour: float,
        rate: int,
        breath_db: float = 0.0,
    ) -> "CourseTemplate":
        """Return the template for a sample rate."""
        table = CourseTable(1, rate)
        row, age = np.zeros(1, np.intp), np.zeros(1)
        table.give(row, age, vibrato, response, 0)
        table.move("colour", row, age, colour, 0)
        table.move("breath", row, age, breath_db * NEPERS_PER_DB, 0)
        return cls(table.records[0].copy(), table.answers[0].copy())


def answer_matrix(response: Response) -> list[list[float]]:
    """Return what each source (columns) adds to each destination (rows) when it is full."""
    answers = [response.of(source) for source in Source]
    return [
        [answer.level_db * NEPERS_PER_DB for answer in answers],
        [answer.vibrato_cents for answer in answers],
        [answer.colour for answer in answers],
        [answer.breath_db * NEPERS_PER_DB for answer in answers],
    ]
