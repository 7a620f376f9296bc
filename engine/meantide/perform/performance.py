"""The deterministic state machine that turns events into samples.

Same events and same blocks give the same samples, bit for bit, live and offline. The control side
calls `hand_over`; all else happens on the side that makes the sound.
"""

from collections import deque

from meantide.errors import InvalidValue
from meantide.perform.company import Counts
from meantide.perform.end_of_line import Line
from meantide.perform.ensemble import Ensemble
from meantide.perform.event import AT_ONCE, Event, Kind, Outcome
from meantide.perform.master import LOUDEST_DB, Level, level_gain, rise_samples
from meantide.perform.notes import Notes
from meantide.perform.queue import EventQueue
from meantide.perform.values import Ready
from meantide.pitch import Tuning
from meantide.voice.kernel import F32, LONGEST_READ, Kernel
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.voices import Voice

LOWEST_RATE, HIGHEST_RATE = 8_000, 192_000
MOST_NOTES = 4096


class Performance:
    """Notes in time, at one sample rate, two channels.

    `rate` in samples a second, `longest` the largest block that will be asked for, `notes` the
    most that sound at once, `level_db` the level at the start. `outcomes` receives what becomes
    of each note (a list offline; live a bounded deque). `kernel` does the arithmetic: numpy's, if
    none is given. `sample` is the first to be made: one that goes on for another begins later.
    """

    def __init__(
        self,
        rate: int,
        longest: int = 1024,
        notes: int = 64,
        level_db: float = 0.0,
        outcomes: list[Outcome] | deque[Outcome] | None = None,
        kernel: Kernel | None = None,
        sample: int = 0,
    ) -> None:
        _check_whole("rate", rate, LOWEST_RATE, HIGHEST_RATE)
        _check_whole("block", longest, 1, LONGEST_READ)
        _check_whole("notes", notes, 1, MOST_NOTES)
        self.rate, self.longest = rate, longest
        self.sample = sample
        """Samples made so far: the clock everything is dated by."""
        self.counts = Counts()
        self.outcomes = [] if outcomes is None else outcomes
        kernel = kernel or NumpyKernel()
        self.notes = Notes(notes, rate, longest, kernel)
        self.level = Level(level_gain(level_db))
        self.line = Line(rate, longest, kernel.name)
        self._ensemble = Ensemble(self.notes, rate, self.counts, self.outcomes)
        self._queue = EventQueue()

    # -- control side -----------------------------------------------------------------------

    def hand_over(self, number: int, value: Tuning | Voice) -> None:
        """Make `value` ready under `number`, to be taken by the one event that names it."""
        self._ensemble.values.hand_over(number, value)

    def keep(self, number: int, ready: Ready) -> None:
        """Keep a value that was made ready elsewhere, as `hand_over` does."""
        self._ensemble.values.keep(number, ready)

    # -- audio side -------------------------------------------------------------------------

    def schedule(self, event: Event) -> Event | None:
        """Take an event in; one dated in the past, or AT_ONCE, acts at the next sample made.

        Returns the event as dated, or None, counting it, if too many wait already.
        """
        if event.sample < self.sample:
            if event.sample != AT_ONCE:
                self.counts.late += 1
            event = event._replace(sample=self.sample)
        if not self._queue.put(event):
            self.counts.refused += 1
            self._ensemble.values.forget(event.value)
            return None
        return event

    @property
    def waiting(self) -> int:
        """How many events wait for their sample."""
        return len(self._queue)

    @property
    def untaken(self) -> int:
        """How many values were handed over and not taken yet."""
        return len(self._ensemble.values)

    def fill(self, out: F32) -> None:
        """Make the next block into `out` (2, samples), at most `longest` samples.

        What is dated at a sample leaves `line.latency_samples` after it.
        """
        self.make(out)
        self.line.apply(out)

    def make(self, out: F32) -> None:
        """Make the next block as it is before the end of the line, into `out` (2, samples)."""
        out[:] = 0.0
        start, end = self.sample, self.sample + out.shape[1]
        while True:
            self._act_until_now()
            upcoming = self._queue.next_sample()
            upto = end if upcoming is None else min(upcoming, end)
            if upto > self.sample:
                piece = out[:, self.sample - start : upto - start]
                self.notes.sound(self.sample, piece)
                self.level.apply(self.sample, piece)
                self.sample = upto
                self._ensemble.sweep(self.sample)
            if upto == end:
                break

    # -- inside -----------------------------------------------------------------------------

    def _act_until_now(self) -> None:
        while (event := self._queue.take(self.sample)) is not None:
            self.counts.events += 1
            if event.kind == Kind.LEVEL:
                self._change_level(event)
                continue
            if event.kind == Kind.SOUND_OFF:
                self._queue.forget_notes()
            self._ensemble.act(event)

    def _change_level(self, event: Event) -> None:
        if not event.amount <= LOUDEST_DB:  # also true of what is no number
            self.counts.refused += 1
            return
        gain = level_gain(event.amount)
        fewest = rise_samples(self.level.at(self.sample), gain, self.rate)
        self.level.move(self.sample, gain, max(event.samples, fewest))


def _check_whole(field: str, value: object, low: int, high: int) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise InvalidValue(field, value, f"a whole number from {low} to {high}")
