"""The notes that sound, and the banks that make their samples."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from heapq import nsmallest

import numpy as np
from numpy.typing import NDArray

from meantide.perform.early_touch import RAMPS
from meantide.perform.event import Kind
from meantide.perform.mix import Mix
from meantide.perform.note import Note
from meantide.voice.bank import Bank, Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.kernel import F32, Kernel, Rows
from meantide.voice.voices import Prepared, make_bank


@dataclass(slots=True)
class Room:
    """A bank, who is in its rows, and the gains of its notes (2, notes)."""

    bank: Bank[Prepared]
    mix: Mix
    owner: list[Note | None]
    gains: F32
    rows: NDArray[np.intp]
    """The rows in use, ascending."""

    def recount(self) -> None:
        """Look anew which rows are in use."""
        used = [row for row, note in enumerate(self.owner) if note is not None]
        self.rows = np.array(used, np.intp)


class Notes:
    """At most `most` notes, in banks by the `bank` of their prepared voices.

    A bank is built on the control side when the first voice for it is handed over (`provide`); all
    else is safe in the audio callback.
    """

    def __init__(self, most: int, rate: int, longest: int, kernel: Kernel) -> None:
        self.most, self.rate, self._longest = most, rate, longest
        self._kernel = kernel
        self._rooms: dict[Hashable, Room] = {}
        self._mixes: dict[str, Mix] = {}
        self._by_id: dict[int, Note] = {}
        self._read = np.zeros(2 * longest, np.float32)

    def provide(self, voice: Prepared) -> None:
        """Make room for notes of `voice`: control side."""
        if voice.bank in self._rooms:
            return
        form = voice.bank[0]
        mix = self._mixes.get(form) or Mix(form, self.rate, self._longest)
        room = Room(
            make_bank(voice, self.most, self.rate, self._kernel),
            mix,
            [None] * self.most,
            np.zeros((2, self.most), np.float32),
            np.zeros(0, np.intp),
        )
        self._mixes[form] = mix
        self._rooms[voice.bank] = room  # last: whoever sees the room sees it whole

    def __len__(self) -> int:
        return len(self._by_id)

    def __iter__(self) -> Iterator[Note]:
        return iter(list(self._by_id.values()))

    def get(self, note_id: int) -> Note | None:
        """Return the sounding note of that id, or None."""
        return self._by_id.get(note_id)

    @property
    def lasting(self) -> int:
        """How many notes sound that are not on their way out within 5 ms."""
        return sum(not note.silenced for note in self._by_id.values())

    def least_missed(self, count: int) -> list[Note]:
        """Return up to `count` notes that may go first; none that is on its way out.

        Those let go come before those held, the quieter before the louder, the older of equals.
        """
        found = [
            (note.held, power, note.began, note.id, note)
            for power, note in self._powers()
            if not note.silenced
        ]
        return [note for *_, note in nsmallest(count, found)]

    def start(self, note: Note, strike: Strike, sides: tuple[float, float]) -> Note | None:
        """Begin `note`; return the note that had to be taken for it, if one was."""
        taken = self._take_quietest() if len(self._by_id) >= self.most else None
        room = self._rooms[note.bank]
        note.row = room.owner.index(None)
        room.owner[note.row] = note
        self._by_id[note.id] = note
        room.gains[:, note.row] = sides
        room.bank.start(note.row, note.voice, strike)
        room.recount()
        return taken

    def rename(self, note: Note, note_id: int) -> None:
        """Give a note another id, because a new note comes with its own."""
        del self._by_id[note.id]
        note.id = note_id
        self._by_id[note_id] = note

    def release(self, notes: list[Note], stage: Stage) -> None:
        """Let notes go, by their own release or at once."""
        for room, rows in self._rows_of(notes):
            room.bank.release(rows, stage)
        for note in notes:
            note.held = False
            note.silenced = stage == Stage.SILENCED

    def retune(self, notes: list[Note], samples: int, grid: DegreeGrid | None) -> None:
        """Bring notes to their goals, and what follows the scale to `grid`, within `samples`."""
        for room, rows in self._rows_of(notes):
            goals = [note.goal_hz for row in rows.tolist() if (note := room.owner[row]) is not None]
            room.bank.retune(rows, np.array(goals), samples, grid)

    def touch(self, notes: list[Note], kind: Kind, goal: float, samples: int) -> None:
        """Move the bend (cents), pressure or timbre of notes within `samples`."""
        for room, rows in self._rows_of(notes):
            room.bank.touch(RAMPS[kind], rows, np.full(len(rows), goal), samples)

    def revoice(
        self, notes: list[Note], voice: Prepared, samples: int, grid: DegreeGrid | None
    ) -> None:
        """Let notes, all of the bank of `voice`, become notes of it within `samples`."""
        for room, rows in self._rows_of(notes):
            room.bank.revoice(rows, voice, samples, grid)

    def sound(self, out: F32) -> None:
        """Add the next samples of all notes to `out` (2, samples)."""
        length = out.shape[1]
        read = self._read[: 2 * length].reshape(2, length)
        for room in self._in_use():
            room.bank.read(room.rows, room.gains, read)
            room.mix.add(read)
        for mix in list(self._mixes.values()):
            mix.sound(out)

    def sweep(self) -> list[Note]:
        """Forget the notes that are over, and return them."""
        over: list[Note] = []
        for room in self._in_use():
            for row in room.rows[room.bank.gone(room.rows)].tolist():
                note = room.owner[row]
                if note is not None:
                    over.append(note)
        for note in over:
            self._forget(note)
        return over

    # -- inside -----------------------------------------------------------------------------

    def _in_use(self) -> list[Room]:
        """Return the rooms with notes, as they stand: `provide` may add a room meanwhile."""
        return [room for room in list(self._rooms.values()) if len(room.rows)]

    def _take_quietest(self) -> Note:
        """Take the quietest note away, the older of equals; it fades within 5 ms."""
        _, _, _, note = min((power, note.began, note.id, note) for power, note in self._powers())
        self._fade_into_tail(note)
        self._forget(note)
        return note

    def _powers(self) -> Iterator[tuple[float, Note]]:
        """Yield every note with the power it stands at, or is rising to in its attack."""
        for room in self._in_use():
            powers = room.bank.loudness(room.rows).tolist()
            for row, power in zip(room.rows.tolist(), powers, strict=True):
                note = room.owner[row]
                if note is not None:
                    yield power, note

    def _fade_into_tail(self, note: Note) -> None:
        """Compute the note's last milliseconds now, so that its row is free."""
        room, rows = self._rooms[note.bank], np.array([note.row])
        room.bank.release(rows, Stage.SILENCED)
        last = np.zeros(room.mix.tail.shape, np.float32)
        room.bank.read(rows, room.gains, last)
        room.mix.add_tail(last)

    def _forget(self, note: Note) -> None:
        room = self._rooms[note.bank]
        room.owner[note.row] = None
        del self._by_id[note.id]
        room.recount()

    def _rows_of(self, notes: list[Note]) -> list[tuple[Room, Rows]]:
        rows: dict[Hashable, list[int]] = {}
        for note in notes:
            rows.setdefault(note.bank, []).append(note.row)
        return [(self._rooms[bank], np.array(sorted(found))) for bank, found in rows.items()]
