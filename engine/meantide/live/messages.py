"""What the control and the audio process say to each other beside the rings: rare, and small.

They go over the audio process's standard input and output, pickled: each reads only from a process
that it started, or was started by.
"""

import pickle
from dataclasses import dataclass
from typing import IO, Any

from meantide.live.engine import AudioHealth, Engine, Load
from meantide.perform.company import Counts
from meantide.perform.values import Ready


@dataclass(frozen=True, slots=True)
class Opening:
    """To audio, first: what it shall be, and the name of the memory both share."""

    audio: str
    rate: int
    block: int
    notes: int
    kernel: str
    memory: str


@dataclass(frozen=True, slots=True)
class Opened:
    """To control: the device is there, and this is how it is."""

    host: str
    rate: int
    block: int
    kernel: str
    clock: str
    latency_samples: int


@dataclass(frozen=True, slots=True)
class Start:
    """To audio: begin to ask for blocks, the first of them from this sample on."""

    sample: int


@dataclass(frozen=True, slots=True)
class HandedOver:
    """To audio: a tuning or voice made ready, under its number. Acknowledged by `Kept`."""

    number: int
    ready: Ready


@dataclass(frozen=True, slots=True)
class Kept:
    """To control: the value of that number can be named by events."""

    number: int


@dataclass(frozen=True, slots=True)
class ResetMeter:
    """To audio: let the meter begin anew."""


@dataclass(frozen=True, slots=True)
class End:
    """To audio: stop asking, and end."""


@dataclass(frozen=True, slots=True)
class Said:
    """To control: a line for the terminal."""

    line: str


@dataclass(frozen=True, slots=True)
class Failed:
    """To control: it cannot be, or go on, for this reason; the process ends."""

    reason: str


@dataclass(frozen=True, slots=True)
class MeterReading:
    """What the meter of the audio side shows; see `Meter`."""

    peak_dbfs: float
    true_peak_dbtp: float
    highest_true_peak_dbtp: float
    momentary_lufs: float
    short_term_lufs: float
    integrated_lufs: float
    range_lu: float


@dataclass(frozen=True, slots=True)
class Status:
    """To control, ten times a second: how the audio side gets on."""

    load: Load
    counts: Counts
    health: AudioHealth
    meter: MeterReading
    faults: int
    limited_db: float
    unreported: int
    """Reports that found no room."""
    xruns: int
    """Blocks lost or late by JACK's own count; -1 where there is no JACK to ask."""
    memory_bytes: int
    """What the audio process holds of the machine's memory; 0 where that is not told."""

    @classmethod
    def of(cls, engine: Engine, unreported: int, xruns: int, memory_bytes: int) -> "Status":
        """Return how `engine` gets on now."""
        meter = engine.meter
        reading = MeterReading(
            meter.peak_dbfs, meter.true_peak_dbtp, meter.highest_true_peak_dbtp,
            meter.momentary_lufs, meter.short_term_lufs, meter.integrated_lufs, meter.range_lu,
        )  # fmt: skip
        return cls(
            engine.load, engine.counts, engine.health, reading, engine.faults, engine.limited_db,
            unreported, xruns, memory_bytes,
        )  # fmt: skip


def say(stream: IO[bytes], message: object) -> None:
    """Write a message whole; OSError if nobody reads any more."""
    stream.write(pickle.dumps(message, 5))
    stream.flush()


def hear(stream: IO[bytes]) -> Any:
    """Return the next message; None at the end, also if it was cut short."""
    try:
        return pickle.load(stream)  # noqa: S301  from our own child, or parent, alone
    except (EOFError, pickle.UnpicklingError, OSError, ValueError):
        return None
