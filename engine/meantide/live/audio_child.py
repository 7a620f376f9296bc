"""One audio process as the control process has it: started, spoken to, and ended."""

import os
import queue
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import meantide
from meantide.errors import DeviceError
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
from meantide.perform.values import Ready

LONGEST_ANSWER_S = 5.0
"""An audio process that does not acknowledge a value for so long is given up."""
LONGEST_END_S = 5.0
KEEP_PAGES = str(1 << 29)
"""Below so many bytes the C library keeps freed memory, and no block pays for fresh pages."""


class AudioChild:
    """A running audio process.

    `audio` and the rest are as `Opening` has them; `tell` is given lines for the terminal. It waits
    until the device is open. Raises DeviceError, with the reason, if there is none.
    """

    def __init__(
        self,
        audio: str,
        rate: int,
        block: int,
        notes: int,
        kernel: str,
        tell: Callable[[str], None],
    ) -> None:
        self.link = SharedLink()
        self.status: Status | None = None
        self.failure = ""
        """Why it ended, if it said so."""
        self._tell = tell
        self._answers: queue.SimpleQueue[Opened | Kept | None] = queue.SimpleQueue()
        self._speaking = threading.Lock()
        package = str(Path(meantide.__file__).parents[1])
        paths = os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH"))))
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "meantide.live.audio_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={
                "MALLOC_MMAP_THRESHOLD_": KEEP_PAGES,
                "MALLOC_TRIM_THRESHOLD_": KEEP_PAGES,
                **os.environ,
                "PYTHONPATH": paths,
            },
        )
        self._ear = threading.Thread(target=self._listen, name="meantide-audio-ear", daemon=True)
        self._ear.start()
        self._say(Opening(audio, rate, block, notes, kernel, self.link.name))
        try:  # however long that takes: a kernel may have to be compiled first
            opened = self._answers.get()
        except BaseException:  # Ctrl-C, that is
            self._process.kill()
            self.end()
            self.close()
            raise
        if not isinstance(opened, Opened):
            self.end()
            self.close()
            raise DeviceError(self.failure or "the audio process ended before the device was open")
        self.opened: Opened = opened

    @property
    def pid(self) -> int:
        """The process's number."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        """Tell whether it runs, and has not said that it cannot go on."""
        return self._process.poll() is None and not self.failure

    def why(self) -> str:
        """Return why it is gone."""
        if self.failure:
            return self.failure
        code = self._process.poll()
        if code is not None and code < 0:
            return f"the audio process was ended by signal {-code}"
        return f"the audio process ended with code {code}"

    def start(self, sample: int) -> None:
        """Let blocks be asked for, the first from `sample` on."""
        self.link.clock.write(sample, 0.0, 1.0 / self.opened.rate, 0, 0, sample)
        self._say(Start(sample))

    def hand_over(self, number: int, ready: Ready) -> None:
        """Give it a value, and wait until it has it; one that does not answer is ended."""
        self._say(HandedOver(number, ready))
        while self.alive:
            try:
                answer = self._answers.get(timeout=LONGEST_ANSWER_S)
            except queue.Empty:
                self.failure = f"the audio process did not answer within {LONGEST_ANSWER_S:g} s"
                self._process.kill()
                return
            if answer is None or (isinstance(answer, Kept) and answer.number == number):
                return

    def reset_meter(self) -> None:
        """Let its meter begin anew."""
        self._say(ResetMeter())

    def end(self) -> None:
        """Let it end; one that does not is ended."""
        self._say(End())
        try:
            self._process.wait(LONGEST_END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._ear.join()

    def close(self) -> None:
        """Let go of what is left of a process that ended."""
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                try:
                    stream.close()
                except OSError:  # what was not yet written found no reader
                    continue
        self.link.close()

    def _say(self, message: object) -> None:
        stream = self._process.stdin
        assert stream is not None  # noqa: S101  it was opened so
        with self._speaking:
            try:
                say(stream, message)
            except OSError:  # it is gone, which whoever looks after it will find
                return

    def _listen(self) -> None:
        stream = self._process.stdout
        assert stream is not None  # noqa: S101  it was opened so
        while (message := hear(stream)) is not None:
            if isinstance(message, Status):
                self.status = message
            elif isinstance(message, Said):
                self._tell(message.line)
            elif isinstance(message, Failed):
                self.failure = message.reason
            elif isinstance(message, Opened | Kept):
                self._answers.put(message)
        self._answers.put(None)
