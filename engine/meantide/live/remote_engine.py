"""The engine as the control process has it: behind it an audio process, and after that another.

It has what `Engine` has for the control side (`AudioSide`), so that nobody there asks where the
sound is made.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import count

from meantide.errors import DeviceError
from meantide.live.audio_child import AudioChild
from meantide.live.block_clock import BlockStart
from meantide.live.engine import MOST_KEPT, AudioHealth, Load, Vitals
from meantide.live.messages import MeterReading, Status
from meantide.perform.company import Counts
from meantide.perform.event import Event, Kind, Outcome
from meantide.perform.true_peak import LOWEST_DB
from meantide.perform.values import make_ready
from meantide.pitch import Tuning
from meantide.voice.voices import Voice


@dataclass(frozen=True, slots=True)
class Sought:
    """The audio side that is wanted."""

    audio: str
    rate: int
    block: int
    notes: int
    kernel: str


@dataclass(frozen=True, slots=True)
class DistantMeter(MeterReading):
    """The meter of the audio side, as it was told of last."""

    reset: Callable[[], None]

    def ask_reset(self) -> None:
        """Have all begin anew with the next block."""
        self.reset()


class RemoteEngine:
    """An engine in a process of its own. Raises DeviceError if there is no device.

    `sample` is the first to be made, `number` that of the first value handed over.

    One thread at a time may `send` and `hand_over`, another may look after it (`fetch`, `renew`).
    """

    def __init__(
        self, sought: Sought, tell: Callable[[str], None], sample: int = 0, number: int = 1
    ) -> None:
        self._sought, self._tell = sought, tell
        self._child = self._new_child()
        opened = self._child.opened
        self.rate, self.block, self.kernel = opened.rate, opened.block, opened.kernel
        self.host, self.clock_name = opened.host, opened.clock
        self.latency_samples = opened.latency_samples
        self.most = sought.notes
        self.outcomes: deque[Outcome] = deque(maxlen=MOST_KEPT)
        self._began_s = time.monotonic()
        self.renewals = 0
        """How often another audio process took over."""
        self.unheard = 0
        """Notes begun that no audio process played, since the one they were sent to was going."""
        self._numbers = count(number)
        self._lock = threading.Lock()
        self._rest: list[tuple[int, Event]] = []
        """What the last audio process had dated when it went."""
        self._down = False
        self._first = sample
        self._start = self._last = BlockStart(sample, time.time(), 1.0 / self.rate)

    def start(self) -> None:
        """Let blocks be asked for."""
        self._child.start(self._first)

    # -- what the control side has of an engine -----------------------------------------------

    @property
    def away(self) -> bool:
        """Tell whether there is no audio process at present, so that notes would be lost."""
        return not self.alive

    @property
    def has_room(self) -> bool:
        """Tell whether the audio side keeps up; while there is none, changes of state may go on."""
        with self._lock:
            return self._down or self._child.link.events.has_room

    def send(self, events: Sequence[Event]) -> None:
        """Send events to the audio side, where they arrive together; without one they are lost."""
        with self._lock:
            if self._down:
                self.unheard += _notes_begun(events)
            else:
                self._child.link.events.write(events)

    def hand_over(self, value: Tuning | Voice) -> int:
        """Make `value` ready, and give it to the audio side; return its number."""
        ready = make_ready(value, self.rate)
        with self._lock:
            number = next(self._numbers)
            if not self._down:
                self._child.hand_over(number, ready)
        return number

    def dated_events(self) -> list[tuple[int, Event]]:
        """Return the events accepted since the last call, each with the sample it was heard at."""
        with self._lock:
            dated, self._rest = self._rest, []
            if not self._down:
                self._child.link.events.write(())  # what had to wait for room goes on its way
                dated += self._fetch()
        return dated

    def sample_at(self, wall_s: float) -> int:
        """Return the sample that leaves at a wall time (seconds since 1970)."""
        return self.clock.sample_at(wall_s) - self.latency_samples

    @property
    def clock(self) -> BlockStart:
        """When the last block was asked for."""
        began = BlockStart(*self._clock()[:3])
        return began if began.began_s > 0.0 else self._start

    @property
    def block_began_s(self) -> float:
        """Wall time (seconds since 1970) at which the last block was asked for."""
        return self.clock.began_s

    @property
    def blocks(self) -> int:
        """Blocks that the present audio process made."""
        return self._clock()[3]

    @property
    def sounding(self) -> int:
        """Notes sounding now."""
        return self._clock()[4]

    @property
    def sample(self) -> int:
        """Samples made so far."""
        return self._clock()[5]

    @property
    def status(self) -> Status:
        """How the audio side got on when it told last."""
        return self._child.status or NO_STATUS

    @property
    def meter(self) -> DistantMeter:
        """What the meter at the end of the line shows."""
        return DistantMeter(**asdict(self.status.meter), reset=self.reset_meter)

    @property
    def limited_db(self) -> float:
        """How much the limiter takes off now, in dB."""
        return self.status.limited_db

    @property
    def faults(self) -> int:
        """Blocks in which something was not finite, and was made silence."""
        return self.status.faults

    @property
    def limit(self) -> int:
        """How many notes may sound now: fewer than all while blocks take too long."""
        return self.status.load.limit or self.most

    @property
    def counts(self) -> Counts:
        """What the performance counted so far."""
        return self.status.counts

    @property
    def health(self) -> AudioHealth:
        """Blocks, and errors in them."""
        return self.status.health

    @property
    def load(self) -> Load:
        """How the engine gets on."""
        return self.status.load

    @property
    def vitals(self) -> Vitals:
        """How the audio process gets on, and how often it was another."""
        status = self.status
        return Vitals(
            uptime_s=time.monotonic() - self._began_s,
            memory_bytes=status.memory_bytes,
            xruns=status.xruns,
            renewals=self.renewals,
            unheard=self.unheard,
            unreported=status.unreported,
        )

    def reset_meter(self) -> None:
        """Have the meter begin anew."""
        self._child.reset_meter()

    # -- looking after it ---------------------------------------------------------------------

    @property
    def alive(self) -> bool:
        """Tell whether there is an audio process that plays."""
        return not self._down and self._child.alive

    @property
    def audio_pid(self) -> int:
        """The number of the audio process."""
        return self._child.pid

    def why(self) -> str:
        """Return why the audio process is gone."""
        return self._child.why()

    def give_up(self) -> None:
        """Fetch what is left of an audio process that is gone, and let go of it."""
        with self._lock:
            if self._down:
                return
            self._last = self.clock
            self._rest += self._fetch()
            self._gone = self._clock()
            self._down = True
        self._child.end()
        self.unheard += _notes_begun(self._child.link.events.read())
        self._child.close()

    def renew(self) -> AudioChild:
        """Return another audio process, open and not yet playing. DeviceError if there is none.

        It must have the rate of the set, since all that is played is dated by it.
        """
        child = self._new_child()
        if child.opened.rate != self.rate:
            child.end()
            child.close()
            raise DeviceError(
                f"{child.opened.host} runs at {child.opened.rate} Hz now, and the set at "
                f"{self.rate} Hz"
            )
        return child

    def take_over(self, child: AudioChild) -> None:
        """Go on with another audio process, at the sample that it is now by the wall clock."""
        now = self._last.sample_at(time.time())
        sample = max(now, self._gone[5]) + child.opened.block
        with self._lock:
            self._child, self._down = child, False
            opened = child.opened
            self.block, self.kernel, self.host = opened.block, opened.kernel, opened.host
            self._first = sample
            self._start = BlockStart(sample, time.time(), 1.0 / self.rate)
            self.renewals += 1
            child.start(sample)

    @property
    def first(self) -> int:
        """The first sample of the present audio process."""
        return self._first

    def close(self) -> None:
        """End the audio process."""
        self.give_up()

    # -- inside -------------------------------------------------------------------------------

    def _new_child(self) -> AudioChild:
        sought = self._sought
        return AudioChild(
            sought.audio, sought.rate, sought.block, sought.notes, sought.kernel, self._tell
        )

    def _clock(self) -> tuple[int, float, float, int, int, int]:
        return self._gone if self._down else self._child.link.clock.read()

    def _fetch(self) -> list[tuple[int, Event]]:
        dated, told = self._child.link.reports.read()
        self.outcomes.extend(told)
        return dated


def _notes_begun(events: Iterable[Event]) -> int:
    return sum(event.kind == Kind.NOTE_ON for event in events)


NO_STATUS = Status(
    Load(0.0, 0.0, 0.0, 0.0, 0, 0, 0, 0, 0, 0, 0, 0),
    Counts(),
    AudioHealth(),
    MeterReading(LOWEST_DB, LOWEST_DB, LOWEST_DB, LOWEST_DB, LOWEST_DB, LOWEST_DB, 0.0),
    0,
    0.0,
    0,
    -1,
    0,
)
"""Before anything was told."""
