"""The audio side: a performance behind the link, filled block by block by a host.

`fill` is what a host's callback calls. It never raises and never leaves stale audio: on any error
it writes silence, counts, and goes on; the control side reports.
"""

import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import count

from meantide.live.block_clock import BlockStart, EntryClock, NowClock
from meantide.live.block_times import BlockTimes, LostBlocks
from meantide.live.link import RecordQueue
from meantide.live.overload import Overload
from meantide.perform.company import Counts
from meantide.perform.event import ALL_PARTS, Event, Kind, Outcome
from meantide.perform.master import QUIETEST_DB
from meantide.perform.meter import Meter
from meantide.perform.performance import Performance
from meantide.perform.values import Ready
from meantide.pitch import Tuning
from meantide.voice.kernel import F32, Kernel
from meantide.voice.voices import Voice

MOST_KEPT = 65_536
"""Dated events and outcomes that wait for the control side; the oldest go first."""


@dataclass(slots=True)
class AudioHealth:
    """What the audio side counts; read by the control side."""

    blocks: int = 0
    errors: int = 0
    last_error: str = ""


@dataclass(frozen=True, slots=True)
class Load:
    """How an engine gets on; times of blocks are shares of a block's length."""

    now: float
    """What blocks take at present; see `Overload`."""
    median: float
    high: float
    """The 99.9th percentile of all blocks."""
    worst: float
    blocks: int
    long: int
    """Blocks that took longer than they last."""
    lost: int
    """Blocks that the device had to do without, by our own count."""
    notes: int
    limit: int
    """How many notes may sound now."""
    most: int
    """How many may sound when all is well."""
    thinned: int
    waiting: int
    """Events that wait for their sample."""


@dataclass(frozen=True, slots=True)
class Vitals:
    """How the process behind an engine gets on."""

    uptime_s: float
    memory_bytes: int = 0
    """What it holds of the machine's memory; 0 where that is not told."""
    xruns: int = -1
    """Late or lost blocks by JACK's own count; -1 where there is no JACK to ask."""
    renewals: int = 0
    """How often another audio process took over."""
    unheard: int = 0
    """Notes begun that no audio process played, since the one they were sent to was going."""
    unreported: int = 0
    """Reports that found no room: if there are any, the journal is not whole."""


class Engine:
    """One performance and the two ends of its link.

    The control side calls `send`, `hand_over`, `dated_events`, `sample_at`; the host calls `fill`.
    `clock` (seconds, steady) is what blocks are timed by. `thins` says whether notes are thinned
    when blocks take too long. `sample` is the first to be made, `queue` where events come from,
    `entries` what maps wall time to samples.
    """

    def __init__(
        self,
        rate: int,
        block: int,
        notes: int,
        kernel: Kernel,
        clock: Callable[[], float] = time.perf_counter,
        thins: bool = True,
        sample: int = 0,
        queue: RecordQueue | None = None,
        entries: EntryClock | None = None,
    ) -> None:
        self.rate, self.block = rate, block
        self.health = AudioHealth()
        self.outcomes: deque[Outcome] = deque(maxlen=MOST_KEPT)
        self._performance = Performance(
            rate, block, notes, QUIETEST_DB, self.outcomes, kernel, sample
        )
        self.meter = Meter(rate, block, kernel.name)
        """Of what leaves; any thread may read it."""
        self._to_audio = queue or RecordQueue()
        self._dated: deque[tuple[int, Event]] = deque(maxlen=MOST_KEPT)
        self._numbers = count(1)
        self._entries = entries or NowClock(rate)
        self.clock = BlockStart(sample, time.time(), 1.0 / rate)
        """When the last block was asked for, by the clock `entries`."""
        self._seconds, self._thins = clock, thins
        self._began_s = time.monotonic()
        self._times = BlockTimes()
        self._lost = LostBlocks(block / rate)
        self._overload = Overload(rate, block, notes)

    # -- control side -----------------------------------------------------------------------

    away = False
    """Whether the audio side is gone; this one is here as long as its process."""

    @property
    def has_room(self) -> bool:
        """Tell whether the audio side keeps up; if not, only what ends sound should be sent."""
        return self._to_audio.has_room

    def send(self, events: Sequence[Event]) -> None:
        """Send events to the audio side, where they arrive together."""
        self._to_audio.write(events)

    def hand_over(self, value: Tuning | Voice) -> int:
        """Make `value` ready on the audio side; return its number for the event that takes it."""
        number = next(self._numbers)
        self._performance.hand_over(number, value)
        return number

    def keep(self, number: int, ready: Ready) -> None:
        """Keep a value that the control side made ready, under the number it gave."""
        self._performance.keep(number, ready)

    def dated_events(self) -> list[tuple[int, Event]]:
        """Return the events accepted since the last call, each with the sample it was heard at."""
        events = []
        while self._dated:
            events.append(self._dated.popleft())
        return events

    def sample_at(self, wall_s: float) -> int:
        """Return the sample that leaves at a wall time (seconds since 1970), by the last block.

        As exact as the clock of block entries that there is.
        What is asked for sooner than `latency_samples` from now comes late.
        """
        return self.clock.sample_at(wall_s) - self.latency_samples

    @property
    def latency_samples(self) -> int:
        """How long after its sample a sound leaves; the device's own latency comes on top."""
        return self._performance.line.latency_samples

    @property
    def limited_db(self) -> float:
        """How much the limiter takes off now, in dB."""
        return self._performance.line.taken_db

    @property
    def faults(self) -> int:
        """Blocks in which something was not finite, and was made silence."""
        return self._performance.line.faults

    @property
    def block_began_s(self) -> float:
        """Wall time (seconds since 1970) at which the last block was asked for."""
        return self.clock.began_s

    @property
    def sample(self) -> int:
        """Samples made so far."""
        return self._performance.sample

    @property
    def sounding(self) -> int:
        """Notes sounding now."""
        return len(self._performance.notes)

    @property
    def limit(self) -> int:
        """How many notes may sound now: fewer than all while blocks take too long."""
        return self._overload.limit

    @property
    def counts(self) -> Counts:
        """What the performance counted so far."""
        return self._performance.counts

    @property
    def load(self) -> Load:
        """How the engine gets on."""
        times, overload = self._times, self._overload
        return Load(
            now=overload.share,
            median=times.quantile(0.5),
            high=times.quantile(0.999),
            worst=times.worst,
            blocks=times.blocks,
            long=times.long,
            lost=self._lost.lost,
            notes=self.sounding,
            limit=overload.limit,
            most=overload.most,
            thinned=self.counts.thinned,
            waiting=self._performance.waiting,
        )

    @property
    def vitals(self) -> Vitals:
        """How this process gets on, as far as the engine knows."""
        return Vitals(time.monotonic() - self._began_s)

    # -- audio side -------------------------------------------------------------------------

    def fill(self, out: F32) -> None:
        """Make the next block into `out` (2, samples); in the host's callback."""
        began_s = self._seconds()
        try:
            self._lost.asked(began_s)
            self.clock = self._entries.asked(self._performance.sample)
            self._take_events()
            if self._thins:
                self._thin()
            self._performance.fill(out)
            self.meter.read(out)
        except BaseException as error:  # noqa: BLE001  a stage must not go silent for good
            out[:] = 0.0
            self.health.errors += 1
            self.health.last_error = f"{type(error).__name__}: {error}"
        self.health.blocks += 1
        share = (self._seconds() - began_s) * self.rate / out.shape[1]
        self._times.add(share)
        self._overload.block_took(share, self.sounding)

    def _take_events(self) -> None:
        for event in self._to_audio.read():
            self._schedule(event)

    def _thin(self) -> None:
        """Let notes go if there are too many for the time: an event, so that it is journalled."""
        notes = self._performance.notes
        if len(notes) > self._overload.limit and (many := self._overload.too_many(notes.lasting)):
            self._schedule(Event(Kind.THIN, part=ALL_PARTS, amount=float(many)))

    def _schedule(self, event: Event) -> None:
        dated = self._performance.schedule(event)
        if dated is not None:
            self._dated.append((self._performance.sample, dated))
