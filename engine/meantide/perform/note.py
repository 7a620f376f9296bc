"""The notes that sound, and the banks that make their samples."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.perform.event import Pitch
from meantide.voice.additive import AdditiveBank
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import SILENCING_S, Stage
from meantide.voice.kernel import CELL, F32, Kernel
from meantide.voice.prepared import PreparedVoice


@dataclass(slots=True)
class Note:
    """One sounding note: who asked for it, and where it is computed."""

    id: int
    part: int
    pitch: Pitch
    count: int
    """The padded count of its voice's partials: which bank it is in."""
    row: int
    began: int
    held: bool = True


class Notes:
    """At most `most` notes, in banks by their count of partials.

    A bank is built on the control side when the first voice of its size is handed over
    (`provide`); all else is safe in the audio callback.
    """

    def __init__(self, most: int, rate: int, longest: int, kernel: Kernel) -> None:
        self.most, self.rate = most, rate
        self._banks: dict[int, AdditiveBank] = {}
        self._kernel = kernel
        self._rows: dict[int, NDArray[np.intp]] = {}
        self._by_id: dict[int, Note] = {}
        self._gains: dict[int, F32] = {}
        self._owner: dict[int, list[Note | None]] = {}
        self._mixed = np.zeros(2 * longest, np.float32)
        self._tail = np.zeros((2, (math.ceil(SILENCING_S * rate / CELL) + 1) * CELL), np.float32)
        self._tail_left = 0

    def provide(self, voice: PreparedVoice) -> None:
        """Make room for notes of `voice`: control side."""
        if voice.count not in self._banks:
            bank = AdditiveBank(self.most, voice.count, self.rate, self._kernel)
            self._rows[voice.count] = np.zeros(0, np.intp)
            self._gains[voice.count] = np.zeros((2, self.most), np.float32)
            self._owner[voice.count] = [None] * self.most
            self._banks[voice.count] = bank  # last: whoever sees the bank sees it whole

    def __len__(self) -> int:
        return len(self._by_id)

    def __iter__(self) -> Iterator[Note]:
        return iter(list(self._by_id.values()))

    def get(self, note_id: int) -> Note | None:
        """Return the sounding note of that id, or None."""
        return self._by_id.get(note_id)

    def hz(self, note: Note) -> float:
        """Return the frequency the note is at or gliding to."""
        return self._banks[note.count].hz(note.row)

    def start(
        self,
        note: Note,
        voice: PreparedVoice,
        strike: Strike,
        sides: tuple[float, float],
    ) -> Note | None:
        """Begin `note`; return the note that had to be taken for it, if one was."""
        taken = self._take_quietest() if len(self._by_id) >= self.most else None
        owner = self._owner[voice.count]
        note.count, note.row = voice.count, owner.index(None)
        owner[note.row] = note
        self._by_id[note.id] = note
        self._gains[note.count][:, note.row] = sides
        self._banks[note.count].start(note.row, voice, strike)
        self._recount(note.count)
        return taken

    def rename(self, note: Note, note_id: int) -> None:
        """Give a note another id, because a new note comes with its own."""
        del self._by_id[note.id]
        note.id = note_id
        self._by_id[note_id] = note

    def release(self, notes: list[Note], stage: Stage) -> None:
        """Let notes go, by their own release or at once."""
        for count, rows in self._rows_of(notes).items():
            self._banks[count].release(rows, stage)
        for note in notes:
            note.held = False

    def retune(
        self, notes: list[Note], hz: list[float], samples: int, grid: DegreeGrid | None
    ) -> None:
        """Bring notes to new frequencies within `samples`."""
        wanted = {id(note): value for note, value in zip(notes, hz, strict=True)}
        for count, rows in self._rows_of(notes).items():
            owner = self._owner[count]
            goals = np.array([wanted[id(owner[row])] for row in rows.tolist()])
            self._banks[count].retune(rows, goals, samples, grid)

    def sound(self, out: F32) -> None:
        """Add the next samples of all notes to `out` (2, samples)."""
        length = out.shape[1]
        for count, rows in self._used():
            if len(rows) == 0:
                continue
            mixed = self._mixed[: 2 * length].reshape(2, length)
            self._banks[count].read(rows, self._gains[count], mixed)
            out += mixed
        if self._tail_left > 0:
            self._sound_tail(out)

    def sweep(self) -> list[Note]:
        """Forget the notes that are over, and return them."""
        over: list[Note] = []
        for count, rows in self._used():
            if len(rows) == 0:
                continue
            for row in rows[self._banks[count].gone(rows)].tolist():
                note = self._owner[count][row]
                if note is not None:
                    over.append(note)
        for note in over:
            self._forget(note)
        return over

    # -- inside -----------------------------------------------------------------------------

    def _used(self) -> list[tuple[int, NDArray[np.intp]]]:
        """Return the rows in use by bank, as they stand: `provide` may add a bank meanwhile."""
        return list(self._rows.items())

    def _take_quietest(self) -> Note:
        """Take the quietest note away, the older of equals; it fades within 5 ms."""
        best: tuple[float, int, Note] | None = None
        for count, rows in self._used():
            if len(rows) == 0:
                continue
            powers = self._banks[count].loudness(rows).tolist()
            for row, power in zip(rows.tolist(), powers, strict=True):
                note = self._owner[count][row]
                if note is not None and (best is None or (power, note.began) < best[:2]):
                    best = (power, note.began, note)
        if best is None:
            raise AssertionError("no note to take, though all are in use")
        note = best[2]
        self._fade_into_tail(note)
        self._forget(note)
        return note

    def _fade_into_tail(self, note: Note) -> None:
        """Compute the note's last milliseconds now, so that its row is free."""
        bank, rows = self._banks[note.count], np.array([note.row])
        bank.release(rows, Stage.SILENCED)
        last = np.zeros(self._tail.shape, np.float32)
        bank.read(rows, self._gains[note.count], last)
        self._tail += last
        self._tail_left = self._tail.shape[1]

    def _sound_tail(self, out: F32) -> None:
        length = min(out.shape[1], self._tail.shape[1])
        out[:, :length] += self._tail[:, :length]
        self._tail[:, :-length] = self._tail[:, length:].copy()
        self._tail[:, -length:] = 0.0
        self._tail_left -= length

    def _forget(self, note: Note) -> None:
        self._owner[note.count][note.row] = None
        del self._by_id[note.id]
        self._recount(note.count)

    def _recount(self, count: int) -> None:
        used = [row for row, note in enumerate(self._owner[count]) if note is not None]
        self._rows[count] = np.array(used, np.intp)

    def _rows_of(self, notes: list[Note]) -> dict[int, NDArray[np.intp]]:
        rows: dict[int, list[int]] = {}
        for note in notes:
            rows.setdefault(note.count, []).append(note.row)
        return {count: np.array(sorted(found)) for count, found in rows.items()}
