"""A live set from start to end: an engine elsewhere, its control, its server, its journal."""

import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from meantide.catalogue import Catalogue
from meantide.errors import DeviceError
from meantide.journal import Journal, JournalHead, read_journal
from meantide.live.control import Control
from meantide.live.journal_file import JournalFile
from meantide.live.overload_words import OverloadWords
from meantide.live.remote_engine import RemoteEngine, Sought
from meantide.live.resume import check_goes_on, state_of
from meantide.live.server import Network, OscServer
from meantide.live.state import State
from meantide.perform.master import QUIETEST_DB
from meantide.pitch import Tuning
from meantide.voice.voices import Voice

FADE_IN_S = 1.0
FADE_OUT_S = 0.1
TICK_S = 0.05
"""How often the journal is written and the device looked after."""
AGAIN_S = 1.0
"""How long until an audio process is tried again, when there was none to be had."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a live set is asked to be."""

    audio: str
    rate: int
    block: int
    notes: int
    host: str
    port: int
    tuning: Tuning
    voice: Voice
    level_db: float
    journal: Path | None
    kernel: str
    resume: bool = False
    """Whether the journal, if it is there, tells what is set, and goes on."""
    allow: tuple[Network, ...] = ()
    """Who may speak besides this machine."""


class Session:
    """A live set. `run` returns when `end` is called, from a signal or another thread.

    The sound is made in a process of its own; when that goes, or its device, another takes over
    with all that is set, as soon as it can be had. `tell` is given lines: of that, and of overload.
    Raises DeviceError if there is no device or the port is taken, InvalidValue for a bad journal.
    """

    def __init__(self, wishes: Wishes, catalogue: Catalogue, tell: Callable[[str], None]) -> None:
        self._tell, self._overload = tell, OverloadWords(wishes.notes)
        self._notes = wishes.notes
        self._ended = threading.Event()
        self._journal: JournalFile | None = None
        former = _former(wishes)
        sought = Sought(wishes.audio, wishes.rate, wishes.block, wishes.notes, wishes.kernel)
        state = State.opening(wishes.tuning, wishes.voice, wishes.level_db)
        sample, number = 0, 1
        if former is not None:
            state = state_of(former, str(wishes.journal))
            sample, number = former.ended + wishes.block, max(former.values, default=0) + 1
        self.engine = RemoteEngine(sought, tell, sample, number)
        with ExitStack() as undo:  # what was opened is closed again if the rest cannot be had
            undo.callback(self.engine.close)
            self.control = Control(self.engine, catalogue, state, self)
            self.server = OscServer(wishes.host, wishes.port, self.control, wishes.allow)
            undo.callback(self.server.stop)
            if wishes.journal is not None:  # last: a set that never began leaves no file
                if former is not None:
                    check_goes_on(former, self._head(), str(wishes.journal))
                self._journal = JournalFile(wishes.journal, self._head(), former is not None)
            undo.pop_all()

    def end(self) -> None:
        """Ask `run` to come to an end."""
        self._ended.set()

    def run(self) -> None:
        """Play until `end`; then fade out and leave."""
        try:
            self.engine.start()
            self.control.start(FADE_IN_S)
            self.server.start()
            self._look_after()
        finally:
            self.server.stop()
            self._fade_out()
            self.engine.close()
            if self._journal is not None:
                self._journal.close(self.engine)

    def _head(self) -> JournalHead:
        engine = self.engine
        return JournalHead(engine.rate, engine.block, self._notes, engine.kernel, engine.first)

    def _look_after(self) -> None:
        while not self._ended.wait(TICK_S):
            self._tick()
            if not self.engine.alive:
                self._find_audio_again()

    def _find_audio_again(self) -> None:
        """Let another audio process take over; try until there is one, or the set ends."""
        why = self.engine.why()
        self.engine.give_up()
        self._tick()
        self._tell(f"audio gone: {why}; what is set is kept, and audio is looked for")
        while not self._ended.is_set():
            try:
                child = self.engine.renew()
            except DeviceError:
                self._ended.wait(AGAIN_S)
                continue
            with self.control.turn:
                former = self.engine.sample
                self.engine.take_over(child)
                if self._journal is not None:
                    self._journal.begin(self._head(), former)
                self.control.start(FADE_IN_S)
            self._tell(f"audio again: {self.engine.host}, fading in; notes that sounded are gone")
            return

    def _tick(self) -> None:
        if self._journal is not None:
            self._journal.write(self.engine)
        else:
            self.engine.dated_events()
        if line := self._overload.look(self.engine.counts.thinned, self.engine.limit):
            self._tell(line)

    def _fade_out(self) -> None:
        """Bring the level to silence, and wait until that was played or the device stands still."""
        with self.control.turn:
            self.control.begin(None)
            self.control.change_level(QUIETEST_DB, FADE_OUT_S)
            self.control.commit()
        left = round(2 * FADE_OUT_S * self.engine.rate) + self.engine.latency_samples
        target = self.engine.sample + left + self.engine.block
        while self.engine.sample < target and self.engine.alive:
            before = self.engine.sample
            threading.Event().wait(2 * TICK_S)
            if self.engine.sample == before:
                break

    def value_handed_over(self, number: int, value: Tuning | Voice) -> None:
        """Note a value that the control gave to the engine."""
        if self._journal is not None:
            self._journal.value(number, value)

    def part_made(self, number: int, name: str) -> None:
        """Note a part that the control made."""
        if self._journal is not None:
            self._journal.part(number, name)


def _former(wishes: Wishes) -> Journal | None:
    """Return the journal that shall go on, if that is wished for and it is there."""
    if not wishes.resume or wishes.journal is None or not wishes.journal.exists():
        return None
    return read_journal(wishes.journal)
