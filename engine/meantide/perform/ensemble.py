"""The parts and their notes: what events do to them."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from meantide.perform.early_touch import RESTING, EarlyTouch
from meantide.perform.event import (
    ALL_PARTS,
    MOST_BEND_CENTS,
    MOST_THINNED,
    NO_NOTE,
    Event,
    Held,
    Kind,
    Outcome,
    OutcomeKind,
    PitchKind,
)
from meantide.perform.master import LOUDEST_DB, level_gain
from meantide.perform.note import Note
from meantide.perform.notes import Notes
from meantide.perform.part import Part
from meantide.perform.sounding_pitch import bent, can_sound, pitch_hz
from meantide.perform.values import Values
from meantide.pitch import Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage

SHORTEST_TOUCH_S = 0.005
"""What touches or revoices a sounding note takes at least so long: no step is heard."""
AMOUNTS = {Kind.BEND: (-MOST_BEND_CENTS, MOST_BEND_CENTS)}
ZERO_TO_ONE = (0.0, 1.0)


@dataclass(slots=True)
class Counts:
    """What happened so far, for whoever asks."""

    events: int = 0
    late: int = 0
    refused: int = 0
    taken: int = 0
    thinned: int = 0
    struck: int = 0
    softened_samples: int = 0


class Ensemble:
    """Parts with their voices and pedals, the tuning they share, and the notes that sound.

    An event acts at its own sample, which must be the next to be made. `outcomes` receives what
    becomes of each note.
    """

    def __init__(
        self, notes: Notes, rate: int, counts: Counts, outcomes: list[Outcome] | deque[Outcome]
    ) -> None:
        self.notes, self.rate, self.counts, self.outcomes = notes, rate, counts, outcomes
        self.tuning: Tuning | None = None
        self._grid: DegreeGrid | None = None
        self.values = Values(notes, rate)
        self._parts: dict[int, Part] = {}
        self._families = 0
        self._early = EarlyTouch()
        self._acts: dict[Kind, Callable[[Event], None]] = {
            Kind.NOTE_ON: self._note_on,
            Kind.NOTE_OFF: self._note_off,
            Kind.BEND: self._touch,
            Kind.PRESSURE: self._touch,
            Kind.TIMBRE: self._touch,
            Kind.SUSTAIN: self._sustain,
            Kind.SOSTENUTO: self._sostenuto,
            Kind.NOTES_OFF: self._notes_off,
            Kind.SOUND_OFF: self._sound_off,
            Kind.THIN: self._thin,
            Kind.TUNING: self._retune,
            Kind.VOICE: self._change_voice,
            Kind.REVOICE: self._revoice,
            Kind.GLIDE: self._change_glide,
            Kind.PAN: self._pan,
            Kind.PART_LEVEL: self._change_level,
        }

    # -- what happens -----------------------------------------------------------------------

    def act(self, event: Event) -> None:
        """Let `event` happen, at its sample."""
        self._acts[event.kind](event)

    def sweep(self, sample: int) -> None:
        """Forget, and tell of, the notes that are over by `sample`."""
        for note in self.notes.sweep():
            self._tell(OutcomeKind.ENDED, sample, note)

    def _note_on(self, event: Event) -> None:
        part = self._part(event.part)
        hz = pitch_hz(self.tuning, event.pitch, self.rate)
        early = self._early.take(event.note)
        bend_cents = early[Kind.BEND]
        if (
            part.voice is None
            or hz is None
            or not can_sound(bent(hz, bend_cents), self.rate)
            or not 0.0 < event.amount <= 1.0
        ):
            self._refuse(event)
            return
        self._make_way(event)
        note = Note(event.note, event.part, event.pitch, part.voice, part.family, event.sample, hz)
        note.bend.move(event.sample, bend_cents, 0)
        from_hz = hz
        if part.glide_samples and part.last is not None:
            from_hz = part.last.unbent_hz(event.sample)
            note.come_from(from_hz, hz, event.sample, part.glide_samples)
        part.last = note
        strike = Strike(
            hz,
            event.amount,
            self._grid,
            seed=self.counts.struck,
            from_hz=from_hz,
            glide_samples=part.glide_samples if from_hz != hz else 0,
            bend_cents=bend_cents,
            pressure=early[Kind.PRESSURE],
            timbre=early[Kind.TIMBRE],
        )
        self.counts.struck += 1
        taken = self.notes.start(note, strike, part.sides)
        if taken is not None:
            self.counts.taken += 1
            self._tell(OutcomeKind.TAKEN, event.sample, taken)
        self.outcomes.append(
            Outcome(OutcomeKind.BEGAN, event.sample, note.id, note.hz(event.sample))
        )
        if from_hz != hz:
            self._tell_way(event.sample, note)
        if any(early[kind] != RESTING[kind] for kind in (Kind.PRESSURE, Kind.TIMBRE)):
            self._tell_touch(event.sample, note)

    def _make_way(self, event: Event) -> None:
        """Let the note go whose id a new one comes with, and give it another."""
        former = self.notes.get(event.note)
        if former is not None:
            self._let_go(event, [former] if former.held else [])
            spare = min(note.id for note in self.notes) - (1 << 40)
            self.notes.rename(former, spare)

    def _note_off(self, event: Event) -> None:
        """Let the key of that id come up; else those of the notes that were begun by that pitch."""
        notes = [note for note in self._meant(event) if note.key_down]
        for note in notes:
            note.key_down = False
        self._settle_dampers(event, notes)

    def _meant(self, event: Event) -> list[Note]:
        """Return the note of an event's id; else those of its part that were begun by its pitch."""
        note = self.notes.get(event.note)
        if note is not None:
            return [note]
        if event.pitch.kind == PitchKind.NONE:
            return []
        return [n for n in self.notes if n.pitch == event.pitch and n.part == event.part]

    def _touch(self, event: Event) -> None:
        """Move what an event means; keep it for the note of that id if none has its key down.

        So a touch that comes before its note, as MPE asks, is heard from the note's first sample,
        whether or not the tail of a former note of the same id still sounds.
        """
        low, high = AMOUNTS.get(event.kind, ZERO_TO_ONE)
        notes = self._meant(event)
        if not low <= event.amount <= high or (
            event.kind == Kind.BEND
            and not all(can_sound(bent(n.goal_hz, event.amount), self.rate) for n in notes)
        ):
            self._refuse(event)
            return
        if event.note != NO_NOTE and not any(note.key_down for note in notes):
            self._early.keep(event.note, event.kind, event.amount)
        if not notes:
            return
        samples = self._touch_samples(event)
        self.notes.touch(notes, event.kind, event.amount, samples)
        for note in notes:
            if event.kind == Kind.BEND:
                note.bend.move(event.sample, event.amount, samples)
                self._tell_way(event.sample, note)
            else:
                self._tell_touch(event.sample, note)

    # -- dampers ----------------------------------------------------------------------------

    def _sustain(self, event: Event) -> None:
        for number, part in self._parts_of(event).items():
            part.sustain = event.amount >= 0.5
            self._settle_dampers(event, self._held(number))

    def _sostenuto(self, event: Event) -> None:
        for number, part in self._parts_of(event).items():
            down = event.amount >= 0.5
            if down == part.sostenuto:
                continue
            part.sostenuto = down
            notes = self._held(number)
            for note in notes:
                note.caught = down
            self._settle_dampers(event, notes)

    def _settle_dampers(self, event: Event, notes: list[Note]) -> None:
        """Let those of `notes` go that neither a key nor a pedal keeps."""
        self._let_go(event, [n for n in notes if n.held and not self._part(n.part).keeps(n)])

    def _let_go(self, event: Event, notes: list[Note], stage: Stage = Stage.RELEASED) -> None:
        if notes:
            self.notes.release(notes, stage)
            for note in notes:
                note.key_down = note.caught = False
                self._tell(OutcomeKind.RELEASED, event.sample, note)

    def _notes_off(self, event: Event) -> None:
        self._let_go(event, self._held(event.part))

    def _sound_off(self, event: Event) -> None:
        self._early.forget()
        self._let_go(event, list(self.notes), Stage.SILENCED)

    def _thin(self, event: Event) -> None:
        if not 1.0 <= event.amount <= MOST_THINNED:
            self._refuse(event)
            return
        notes = self.notes.least_missed(int(event.amount))
        self.notes.release(notes, Stage.SILENCED)
        for note in notes:
            note.key_down = note.caught = False
            self._tell(OutcomeKind.THINNED, event.sample, note)
        self.counts.thinned += len(notes)

    # -- what notes are made of -------------------------------------------------------------

    def _retune(self, event: Event) -> None:
        value = self.values.take_tuning(event.value)
        if value is None:
            self._refuse(event)
            return
        self.tuning, self._grid = value
        if event.held == Held.STAY:
            return
        moved: dict[int, list[Note]] = {}
        for note in self.notes:
            hz = pitch_hz(self.tuning, note.pitch, self.rate)
            if hz is None or not can_sound(bent(hz, note.bend.goal), self.rate):
                continue
            if hz != note.goal_hz:
                note.retune(event.sample, hz, event.samples)
                self._tell_way(event.sample, note)
                moved.setdefault(event.samples, []).append(note)
            elif note.voice.follows_scale:  # its pitch stays, or comes where it was bound for
                left = max(note.glide.arrive - event.sample, 0)
                moved.setdefault(left or event.samples, []).append(note)
        for samples, notes in moved.items():
            self.notes.retune(notes, samples, self._grid)

    def _change_voice(self, event: Event) -> None:
        voice = self.values.take_voice(event.value)
        if voice is None:
            self._refuse(event)
            return
        part = self._part(event.part)
        self._families += 1
        part.voice, part.family = voice, self._families

    def _revoice(self, event: Event) -> None:
        """Give the part another version of its voice.

        The notes that were struck with another version come to it too, unless it needs another
        bank (as for more partials): then they stay as they are.
        """
        part = self._part(event.part)
        voice = self.values.take_voice(event.value)
        if voice is None or part.voice is None:
            self._refuse(event)
            return
        part.voice = voice
        notes = [
            note
            for note in self.notes
            if note.part == event.part and note.family == part.family and note.bank == voice.bank
        ]
        if notes:
            self.notes.revoice(notes, voice, self._touch_samples(event), self._grid)
            for note in notes:
                self._tell(OutcomeKind.REVOICED, event.sample, note)

    def _change_glide(self, event: Event) -> None:
        for part in self._parts_of(event).values():
            part.glide_samples = event.samples

    def _pan(self, event: Event) -> None:
        self._part(event.part).pan = min(max(event.amount, -1.0), 1.0)

    def _change_level(self, event: Event) -> None:
        if event.amount <= LOUDEST_DB:
            self._part(event.part).gain = level_gain(event.amount)
        else:  # also what is no number
            self._refuse(event)

    # -- inside -----------------------------------------------------------------------------

    def _tell(self, kind: OutcomeKind, sample: int, note: Note) -> None:
        self.outcomes.append(Outcome(kind, sample, note.id))

    def _tell_way(self, sample: int, note: Note) -> None:
        """Tell how the pitch of a note goes on from `sample`."""
        for start, samples, hz in note.ways(sample):
            self.outcomes.append(Outcome(OutcomeKind.MOVED, start, note.id, hz, samples))

    def _tell_touch(self, sample: int, note: Note) -> None:
        if not note.touched:
            note.touched = True
            self._tell(OutcomeKind.TOUCHED, sample, note)

    def _refuse(self, event: Event) -> None:
        self.counts.refused += 1
        # of a touch that is refused the note itself knows nothing
        note = event.note if event.kind == Kind.NOTE_ON else NO_NOTE
        self.outcomes.append(Outcome(OutcomeKind.REFUSED, event.sample, note))

    def _part(self, number: int) -> Part:
        return self._parts.setdefault(number, Part())

    def _parts_of(self, event: Event) -> dict[int, Part]:
        """Return the parts that an event means, by number."""
        if event.part == ALL_PARTS:
            return self._parts
        return {event.part: self._part(event.part)}

    def _held(self, part: int) -> list[Note]:
        return [note for note in self.notes if note.held and part in (ALL_PARTS, note.part)]

    def _touch_samples(self, event: Event) -> int:
        return max(event.samples, round(SHORTEST_TOUCH_S * self.rate))
