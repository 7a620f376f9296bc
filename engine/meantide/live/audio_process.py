"""The audio process: a device, an engine, and next to nothing else: `python -m` this module.

It is started by the control process and talks to it over its standard input and output
(`messages.py`) and through shared memory (`link.py`). When the control process is gone, which its
standard input tells, it fades out and ends: nobody is left who could end a note.
"""

import gc
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import IO, NoReturn

from meantide.errors import MeantideError
from meantide.live.engine import Engine
from meantide.live.host import Host, open_host
from meantide.live.messages import (
    End,
    Failed,
    HandedOver,
    Kept,
    Opened,
    Opening,
    ResetMeter,
    Said,
    Start,
    Status,
    hear,
    say,
)
from meantide.live.shared_memory import SharedLink
from meantide.perform.event import ALL_PARTS, Event, Kind
from meantide.perform.master import QUIETEST_DB
from meantide.voice.kernel import F32
from meantide.voice.kernels import kernel_named

STATUS_S = 0.1
FADE_OUT_S = 0.2
"""How long the sound takes to go when the control process is gone."""
NOTHING = Said("")
LONGEST_STILL_S = 5.0
"""A device that asks for no block for so long is gone."""


class AudioProcess:
    """The device and the engine behind it; `run` goes on until it is told to end."""

    def __init__(self, heard: IO[bytes], said: IO[bytes]) -> None:
        self._said = said
        self._words: queue.SimpleQueue[object] = queue.SimpleQueue()
        self._ear = threading.Thread(target=self._listen, args=(heard,), daemon=True)
        self._ear.start()

    def run(self) -> int:
        """Open what is asked for, play, and return the exit code."""
        opening = self._words.get()
        if not isinstance(opening, Opening):
            return 2
        try:
            host = open_host(opening.audio, opening.rate, opening.block)
        except MeantideError as error:
            self._say(Failed(str(error)))
            return error.exit_code
        self._link = link = SharedLink(opening.memory)  # kept: views of it outlive this call
        try:
            return self._play(opening, host, link)
        except MeantideError as error:
            self._say(Failed(str(error)))
            return error.exit_code
        finally:
            host.stop()

    def _play(self, opening: Opening, host: Host, link: SharedLink) -> int:
        kernel = kernel_named(opening.kernel, lambda line: self._say(Said(line)))
        entries = host.entries()
        trial = Engine(host.rate, host.block, 1, kernel)
        self._say(
            Opened(
                host.name, host.rate, host.block, kernel.name, entries.name, trial.latency_samples
            ),
        )
        start = self._words.get()
        if not isinstance(start, Start):
            return 0
        engine = Engine(
            host.rate, host.block, opening.notes, kernel, sample=start.sample,
            queue=link.events, entries=entries,
        )  # fmt: skip
        _favour_audio()
        host.start(_published(engine, link))
        return self._look_after(host, engine, link)

    def _look_after(self, host: Host, engine: Engine, link: SharedLink) -> int:
        """Take in what is said, and tell how it goes, until the end."""
        blocks, moved_s, told_s = -1, time.monotonic(), 0.0
        while True:
            try:
                word = self._words.get(timeout=STATUS_S)
            except queue.Empty:
                word = NOTHING
            if word is None:
                _fade_out(host, engine)
                return 0
            if isinstance(word, End):
                return 0
            self._obey(word, engine)
            now_s = time.monotonic()
            if engine.health.blocks != blocks:
                blocks, moved_s = engine.health.blocks, now_s
            if not host.alive() or now_s - moved_s > LONGEST_STILL_S:
                self._say(Failed(f"{host.name}: the device went away"))
                return 3
            if now_s - told_s >= STATUS_S:
                told_s = now_s
                lost = link.reports.lost
                self._say(Status.of(engine, lost, host.xruns(), memory_bytes()))

    def _obey(self, word: object, engine: Engine) -> None:
        if isinstance(word, HandedOver):
            engine.keep(word.number, word.ready)
            self._say(Kept(word.number))
        elif isinstance(word, ResetMeter):
            engine.meter.ask_reset()

    def _say(self, message: object) -> None:
        """Tell the control process; that it is gone is for `_listen` to find, and to end it all."""
        with suppress(OSError):
            say(self._said, message)

    def _listen(self, heard: IO[bytes]) -> None:
        while (word := hear(heard)) is not None:
            self._words.put(word)
        self._words.put(None)


def _published(engine: Engine, link: SharedLink) -> Callable[[F32], None]:
    """Return what the host calls: it fills a block, and says through the memory what was done."""
    outcomes, clock, reports = engine.outcomes, link.clock, link.reports

    def fill(out: F32) -> None:
        engine.fill(out)
        dated = engine.dated_events()
        told = [outcomes.popleft() for _ in range(len(outcomes))]
        if dated or told:
            reports.write(dated, told)
        clock.write(*engine.clock, engine.health.blocks, engine.sounding, engine.sample)

    return fill


def _fade_out(host: Host, engine: Engine) -> None:
    """Bring the level to silence; nobody else writes to the ring any more."""
    samples = round(FADE_OUT_S * engine.rate)
    engine.send([Event(Kind.LEVEL, part=ALL_PARTS, amount=QUIETEST_DB, samples=samples)])
    target = engine.sample + samples + engine.latency_samples + 2 * engine.block
    ends_s = time.monotonic() + 5.0 * FADE_OUT_S
    while engine.sample < target and host.alive() and time.monotonic() < ends_s:
        time.sleep(FADE_OUT_S / 10.0)


def memory_bytes() -> int:
    """Return what this process holds of the machine's memory, or 0 where that is not told."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return 0
    return pages * os.sysconf("SC_PAGE_SIZE")


def _favour_audio() -> None:
    """Let the callback wait less for the other thread, and keep the collector out of its way.

    Measured: with the usual 5 ms a busy thread costs a third of all blocks, with 0.1 ms a few.
    """
    sys.setswitchinterval(1e-4)
    gc.collect()
    gc.freeze()
    gc.disable()


def main() -> NoReturn:
    """Play for the process that started this one, and end without tidying up.

    The audio library's tables, and the shared memory, may be gone before the views of them.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the control process's to obey
    heard = os.fdopen(os.dup(0), "rb")
    said = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints must not come between
    process = AudioProcess(heard, said)
    code = process.run()
    sys.stderr.flush()
    os._exit(code)


if __name__ == "__main__":
    main()
