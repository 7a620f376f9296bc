"""Writing the journal of a live set, off the audio path."""

import os
from collections import deque
from pathlib import Path
from typing import TextIO

from meantide.errors import InvalidValue
from meantide.journal import JournalHead, end_line, event_line, head_line, part_line, value_line
from meantide.live.audio_side import AudioSide
from meantide.pitch import Tuning
from meantide.voice.voices import Voice


class JournalFile:
    """A journal growing at `path`.

    `value` and `part` may be called from the OSC thread, all else from one.

    What was accepted is the system's within a twentieth of a second, so that a killed process
    loses no more; once a second it is the disk's, so that a machine that stops loses no more.

    `goes_on` says that the file is there, and this the next engine of its set. Raises InvalidValue
    if the file is there otherwise, or cannot be written.
    """

    def __init__(self, path: Path, head: JournalHead, goes_on: bool = False) -> None:
        try:
            if goes_on:
                _drop_cut_line(path)
            self._file: TextIO = path.open("a" if goes_on else "x", encoding="utf-8")
        except OSError as error:
            reason = error.strerror or str(error)
            allowed = f"a new file, or one that can be written with --resume ({reason})"
            raise InvalidValue("journal", str(path), allowed) from error
        self._values: deque[str] = deque()
        self._told = head.sample
        self._file.write(head_line(head))

    def value(self, number: int, value: Tuning | Voice) -> None:
        """Note a value handed over; it is written before the event that takes it."""
        self._values.append(value_line(number, value))

    def part(self, number: int, name: str) -> None:
        """Note the name of a part that was made; it is written before the events of the part."""
        self._values.append(part_line(number, name))

    def begin(self, head: JournalHead, former_sample: int) -> None:
        """Note that another engine takes over from one that had come to `former_sample`.

        What that had accepted is written already.
        """
        self._file.write(end_line(former_sample))
        self._file.write(head_line(head))
        self._file.flush()

    def write(self, engine: AudioSide) -> None:
        """Write what was accepted since the last call, and how far it has come.

        That is said always while notes sound, else once a second.
        """
        events = engine.dated_events()
        while self._values:
            self._file.write(self._values.popleft())
        for heard, event in events:
            self._file.write(event_line(heard, event))
        second_over = engine.sample - self._told >= engine.rate
        if second_over or engine.sounding:
            self._file.write(end_line(engine.sample))
        self._file.flush()
        if second_over:
            self._told = engine.sample
            os.fsync(self._file.fileno())

    def close(self, engine: AudioSide) -> None:
        """Write the rest and the end."""
        self.write(engine)
        self._file.write(end_line(engine.sample))
        self._file.close()


def _drop_cut_line(path: Path) -> None:
    """Cut off a last line that a crash left without its end."""
    with path.open("r+b") as file:
        whole = file.read()
        file.truncate(whole.rfind(b"\n") + 1)
