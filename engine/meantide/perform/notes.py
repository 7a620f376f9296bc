"""The notes that sound, and the banks that make their samples."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from heapq import nsmallest

import numpy as np
from numpy.typing import NDArray

from meantide.perform.balance import Balance
from meantide.perform.early_touch import RAMPS
from meantide.perform.event import Kind
from meantide.perform.mix import Mix
from meantide.perform.note import Note
from meantide.perform.stretch import Stretch
from meantide.voice.bank import Bank, Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.kernel import F32, Kernel, Rows
from meantide.voice.voices import Prepared, make_bank


@dataclass(slots=True)
class Room:
    """A bank, who is in its rows, and the gains of its notes (4, notes).

    They are the left and the right gain where the present `Stretch` begins, and where it ends.
    """

    bank: Bank[Prepared]
    mix: Mix
    owner: list[Note | None]
    gains: F32
    rows: NDArray[np.intp]
    """The rows in use, ascending."""

    def standing(self, share: float) -> F32:
        """Return the left and the right gains (2, notes) at that share of the stretch."""
        gains: F32 = self.gains[:2] + (self.gains[2:] - self.gains[:2]) * np.float32(share)
        return gains

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
        self._read = np.zeros(4 * longest, np.float32)
        self._stretch = Stretch()
        self._moving_until = 0
        """The sample from which on no balance moves."""

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
            np.zeros((4, self.most), np.float32),
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
            for power, note in self._powers(list(self))
            if not note.silenced
        ]
        return [note for *_, note in nsmallest(count, found)]

    def start(self, note: Note, strike: Strike, limit: int) -> list[Note]:
        """Begin `note`, one of at most `limit` of its part; return what was taken for it."""
        now, taken = note.began, []
        while limit and len(own := [each for each in self if each.part == note.part]) >= limit:
            taken.append(self._take_quietest(now, own))
        if len(self._by_id) >= self.most:
            taken.append(self._take_quietest(now, list(self)))
        room = self._rooms[note.bank]
        note.row = room.owner.index(None)
        room.owner[note.row] = note
        self._by_id[note.id] = note
        begins, ends = self._stretch.over(now)
        room.gains[:2, note.row] = note.balance.sides(note.spread, begins)
        room.gains[2:, note.row] = note.balance.sides(note.spread, ends)
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

    def rebalance(self, balance: Balance, sample: int) -> None:
        """Bring the notes of a balance that was moved at `sample` from where they stand to it.

        They take 5 ms at least; notes struck from now on are there at once.
        """
        self._moving_until = max(self._moving_until, balance.arrive)
        if not self._by_id and self._moving_until <= sample:
            return
        share = self._stretch.share(sample)
        for room in self._in_use():
            room.gains[:2] = room.standing(share)
        self._stretch = Stretch.after_event(sample, self.rate)
        self._aim()

    def sound(self, sample: int, out: F32) -> None:
        """Add the next samples of all notes, from `sample` on, to `out` (2, samples)."""
        at, length = 0, out.shape[1]
        while at < length:
            upto = length
            if self._stretch.moves:
                self._go_on(sample + at)
                if self._stretch.moves:
                    upto = min(length, self._stretch.end - sample)
            self._sound_piece(sample + at, out[:, at:upto])
            at = upto

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

    def _go_on(self, sample: int) -> None:
        """Begin the next stretch if the present one is over by `sample`."""
        if sample < self._stretch.end:
            return
        for room in self._in_use():
            room.gains[:2] = room.gains[2:]
        self._stretch = self._stretch.next_until(self._moving_until)
        if self._stretch.moves:
            self._aim()

    def _aim(self) -> None:
        """Set where the gains of all notes are at the end of the stretch."""
        end = self._stretch.end
        for room in self._in_use():
            for row in room.rows.tolist():
                note = room.owner[row]
                if note is not None:
                    room.gains[2:, row] = note.balance.sides(note.spread, end)

    def _sound_piece(self, sample: int, out: F32) -> None:
        """Add samples that lie within one stretch, or where nothing moves."""
        length, moves = out.shape[1], self._stretch.moves
        channels = 4 if moves else 2
        read = self._read[: channels * length].reshape(channels, length)
        for room in self._in_use():
            room.bank.read(room.rows, room.gains[:channels], read)
            if moves:
                read[2:] -= read[:2]
                read[2:] *= self._stretch.shares(sample, length)
                read[:2] += read[2:]
            room.mix.add(read[:2])
        for mix in list(self._mixes.values()):
            mix.sound(out)

    def _take_quietest(self, sample: int, among: list[Note]) -> Note:
        """Take the quietest of some notes away, the older of equals; it fades within 5 ms."""
        powers = self._powers(among)
        *_, note = min((power, note.began, note.id, note) for power, note in powers)
        self._fade_into_tail(note, sample)
        self._forget(note)
        return note

    def _powers(self, among: list[Note]) -> Iterator[tuple[float, Note]]:
        """Yield notes with the power that each stands at, or is rising to in its attack."""
        for room, rows in self._rows_of(among):
            powers = room.bank.loudness(rows) * np.square(room.gains[:2, rows]).sum(axis=0)
            for row, power in zip(rows.tolist(), powers.tolist(), strict=True):
                note = room.owner[row]
                if note is not None:
                    yield power, note

    def _fade_into_tail(self, note: Note, sample: int) -> None:
        """Compute the note's last milliseconds now, so that its row is free."""
        room, rows = self._rooms[note.bank], np.array([note.row])
        room.bank.release(rows, Stage.SILENCED)
        last = np.zeros(room.mix.tail.shape, np.float32)
        room.bank.read(rows, room.standing(self._stretch.share(sample)), last)
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
