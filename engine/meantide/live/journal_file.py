"""Writing the journal of a live set, off the audio path."""

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

    Raises InvalidValue if the file is there already or cannot be made.
    """

    def __init__(self, path: Path, head: JournalHead) -> None:
        try:
            self._file: TextIO = path.open("x", encoding="utf-8")
        except OSError as error:
            reason = error.strerror or str(error)
            raise InvalidValue("journal", str(path), f"a new file ({reason})") from error
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
        """Write what was accepted since the last call, and once a second how far it has come."""
        events = engine.dated_events()
        while self._values:
            self._file.write(self._values.popleft())
        for heard, event in events:
            self._file.write(event_line(heard, event))
        if engine.sample - self._told >= engine.rate:
            self._told = engine.sample
            self._file.write(end_line(self._told))
        self._file.flush()

    def close(self, engine: AudioSide) -> None:
        """Write the rest and the end."""
        self.write(engine)
        self._file.write(end_line(engine.sample))
        self._file.close()
