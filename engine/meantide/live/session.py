"""A live set from start to end: a host, an engine, its control, its server, its journal."""

import gc
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from meantide.catalogue import Catalogue
from meantide.errors import DeviceError
from meantide.journal import JournalHead
from meantide.live.clock_host import ClockHost
from meantide.live.control import Control
from meantide.live.engine import Engine
from meantide.live.journal_file import JournalFile
from meantide.live.overload_words import OverloadWords
from meantide.live.server import Network, OscServer
from meantide.live.state import State
from meantide.perform.master import QUIETEST_DB
from meantide.pitch import Tuning
from meantide.voice.kernel import F32, Kernel
from meantide.voice.voices import Voice

FADE_IN_S = 1.0
FADE_OUT_S = 0.1
TICK_S = 0.05
"""How often the journal is written and the device looked after."""
LONGEST_STILL_S = 5.0
"""A device that asks for no block for so long is gone."""
BACK_ENDS = ("auto", "jack", "portaudio", "none")


class Host(Protocol):
    """What asks for blocks: a device, or the clock."""

    name: str
    rate: int
    block: int

    def start(self, fill: Callable[[F32], None]) -> None:
        """Begin to ask for blocks."""

    def alive(self) -> bool:
        """Tell whether it still asks."""

    def stop(self) -> None:
        """Stop asking."""


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
    kernel: Kernel
    allow: tuple[Network, ...] = ()
    """Who may speak besides this machine."""


class Session:
    """A live set. `run` returns when `end` is called, from a signal or another thread.

    `tell` is given a line when the engine is overloaded, and when it is no more. Raises DeviceError
    if there is no device or the port is taken, InvalidValue for a bad journal.
    """

    def __init__(self, wishes: Wishes, catalogue: Catalogue, tell: Callable[[str], None]) -> None:
        self.kernel = wishes.kernel.name
        self._tell, self._overload = tell, OverloadWords(wishes.notes)
        self._ended = threading.Event()
        self._journal: JournalFile | None = None
        self.host = open_host(wishes.audio, wishes.rate, wishes.block)
        with ExitStack() as undo:  # what was opened is closed again if the rest cannot be had
            undo.callback(self.host.stop)
            rate, block = self.host.rate, self.host.block
            self.engine = Engine(rate, block, wishes.notes, wishes.kernel)
            state = State.opening(wishes.tuning, wishes.voice, wishes.level_db)
            self.control = Control(self.engine, catalogue, state, self)
            self.server = OscServer(wishes.host, wishes.port, self.control, wishes.allow)
            undo.callback(self.server.stop)
            if wishes.journal is not None:  # last: a set that never began leaves no file
                head = JournalHead(rate, block, wishes.notes, self.kernel)
                self._journal = JournalFile(wishes.journal, head)
            undo.pop_all()

    def end(self) -> None:
        """Ask `run` to come to an end."""
        self._ended.set()

    def run(self) -> None:
        """Play until `end`; then fade out and leave. DeviceError if the device goes away."""
        _favour_audio()
        try:
            self.control.start(FADE_IN_S)
            self.host.start(self.engine.fill)
            self.server.start()
            self._look_after()
        finally:
            self.server.stop()
            self._fade_out()
            self.host.stop()
            if self._journal is not None:
                self._journal.close(self.engine)

    def _look_after(self) -> None:
        blocks, still_s = -1, 0.0
        while not self._ended.wait(TICK_S):
            self._tick()
            still_s = still_s + TICK_S if self.engine.health.blocks == blocks else 0.0
            blocks = self.engine.health.blocks
            if not self.host.alive() or still_s > LONGEST_STILL_S:
                raise DeviceError(f"{self.host.name}: the device went away")

    def _tick(self) -> None:
        if self._journal is not None:
            self._journal.write(self.engine)
        else:
            self.engine.dated_events()
        if line := self._overload.look(self.engine.counts.thinned, self.engine.limit):
            self._tell(line)

    def _fade_out(self) -> None:
        """Bring the level to silence, and wait until that was played or the device stands still."""
        self.control.begin(None)
        self.control.change_level(QUIETEST_DB, FADE_OUT_S)
        self.control.commit()
        left = round(2 * FADE_OUT_S * self.engine.rate) + self.engine.latency_samples
        target = self.engine.sample + left + self.engine.block
        while self.engine.sample < target and self.host.alive():
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


def _favour_audio() -> None:
    """Let the callback wait less for other threads, and the collector walk less.

    Measured: with the usual 5 ms a busy thread costs a third of all blocks, with 0.1 ms a few.
    """
    sys.setswitchinterval(1e-4)
    gc.collect()
    gc.freeze()


def open_host(audio: str, rate: int, block: int) -> Host:
    """Open what `audio` names; `auto` takes JACK, else a sound card.

    Raises DeviceError, with the list of what there is, if nothing can be had.
    """
    if audio == "none":
        return ClockHost(rate, block)
    from meantide.live.pyo_host import PyoHost, devices  # noqa: PLC0415  loads the audio library

    reasons = []
    for back_end in ("jack", "portaudio") if audio == "auto" else (audio,):
        try:
            return PyoHost(back_end, rate, block)
        except DeviceError as error:
            reasons.append(str(error))
    there = "\n  ".join(devices())
    raise DeviceError(
        f"no audio device: {'; '.join(reasons)}\nwhat there is:\n  {there}\n"
        "--audio none runs the engine without a device"
    )
