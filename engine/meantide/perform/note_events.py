"""What begins, ends and touches notes, by ids and by keys."""

from collections.abc import Callable

from meantide.perform.balance import spread_of
from meantide.perform.company import Company
from meantide.perform.early_touch import RESTING, EarlyTouch
from meantide.perform.event import (
    ALL_PARTS,
    MOST_BEND_CENTS,
    MOST_THINNED,
    NO_NOTE,
    Event,
    Kind,
    OutcomeKind,
    PitchKind,
)
from meantide.perform.keys import Key, Keys
from meantide.perform.note import Note
from meantide.perform.part import Part
from meantide.perform.solo import can_take, goes_on, pass_on
from meantide.perform.sounding_pitch import bent, can_sound
from meantide.voice.bank import Strike
from meantide.voice.envelope import Stage
from meantide.voice.voices import Prepared

AMOUNTS = {Kind.BEND: (-MOST_BEND_CENTS, MOST_BEND_CENTS)}
ZERO_TO_ONE = (0.0, 1.0)


class NoteEvents:
    """What players do with their keys."""

    def __init__(self, company: Company) -> None:
        self._company = company
        self._notes, self._telling, self._rate = company.notes, company.telling, company.rate
        self._early = EarlyTouch()

    @property
    def acts(self) -> dict[Kind, Callable[[Event], None]]:
        """What is done here, by the kind of event."""
        return {
            Kind.NOTE_ON: self._note_on,
            Kind.NOTE_OFF: self._note_off,
            Kind.BEND: self._touch,
            Kind.PRESSURE: self._touch,
            Kind.TIMBRE: self._touch,
            Kind.MODE: self._change_mode,
            Kind.NOTES_OFF: self._notes_off,
            Kind.SOUND_OFF: self._sound_off,
            Kind.THIN: self._thin,
        }

    # -- notes --------------------------------------------------------------------------------

    def _note_on(self, event: Event) -> None:
        part = self._company.part(event.part)
        hz = self._company.hz(part, event.pitch)
        key = Key(event.note, event.pitch, self._early.take(event.note))
        if (
            part.voice is None
            or hz is None
            or not can_take(key, hz, self._rate)
            or not 0.0 < event.amount <= 1.0
        ):
            self._company.refuse(event)
            return
        self._make_way(event, part)
        if part.keys is None:
            self._strike(event, part, part.voice, hz, key)
            return
        part.keys.press(key)
        if goes_on(part, self._notes):
            self._pass_on(event, part, key, hz)
        else:
            former = [note for note in self._notes if note.part == event.part]
            self._company.let_go(event, former, Stage.SILENCED)
            part.keys.note = self._strike(event, part, part.voice, hz, key)

    def _strike(self, event: Event, part: Part, voice: Prepared, hz: float, key: Key) -> Note:
        """Begin a note at `hz`, touched as `key` is."""
        note = Note(
            event.note, event.part, event.pitch, event.pitch, voice, part.family, event.sample, hz,
            part.balance, spread_of(hz),
        )  # fmt: skip
        note.bend.move(event.sample, key.touch[Kind.BEND], 0)
        from_hz = hz
        if part.glide_samples and part.last is not None:
            from_hz = part.last.unbent_hz(event.sample)
            note.come_from(from_hz, hz, event.sample, part.glide_samples)
        part.last = note
        strike = Strike(
            hz,
            event.amount,
            self._company.grid(part),
            seed=self._company.counts.struck,
            from_hz=from_hz,
            glide_samples=part.glide_samples if from_hz != hz else 0,
            bend_cents=key.touch[Kind.BEND],
            pressure=key.touch[Kind.PRESSURE],
            timbre=key.touch[Kind.TIMBRE],
        )
        self._company.counts.struck += 1
        for taken in self._notes.start(note, strike, part.limit):
            self._company.counts.taken += 1
            self._telling.tell(OutcomeKind.TAKEN, event.sample, taken)
        self._telling.beginning(event.sample, note)
        if from_hz != hz:
            self._telling.way(event.sample, note)
        if any(key.touch[kind] != RESTING[kind] for kind in (Kind.PRESSURE, Kind.TIMBRE)):
            self._telling.touch(event.sample, note)
        return note

    def _make_way(self, event: Event, part: Part) -> None:
        """Let the note go whose id a new one comes with, and give it another.

        One that goes on as the new one's keeps it.
        """
        for other, key in self._keys_of_id(event.note):
            if other is part and part.keys is not None:
                part.keys.lift(key)
            else:
                self._lift(event, other, key)
        former = self._notes.get(event.note)
        if part.keys is not None and part.keys.note is former and goes_on(part, self._notes):
            return
        if former is not None:
            self._company.let_go(event, [former] if former.held else [])
            self._give_other_id(former)

    def _give_other_id(self, note: Note) -> None:
        spare = min(each.id for each in self._notes) - (1 << 40)
        self._notes.rename(note, spare)

    def _note_off(self, event: Event) -> None:
        """Let the key of that id come up; else those of the notes that were begun by that pitch."""
        keys = self._keys_meant(event)
        for part, key in keys:
            self._lift(event, part, key)
        if keys:
            return
        notes = [note for note in self._meant(event) if note.key_down]
        for note in notes:
            note.key_down = False
        self._company.settle_dampers(event, notes)

    def _notes_off(self, event: Event) -> None:
        self._company.lift_all(event)
        self._company.let_go(event, self._company.held(event.part))

    def _sound_off(self, event: Event) -> None:
        self._early.forget()
        self._company.lift_all(event._replace(part=ALL_PARTS))
        self._company.let_go(event, list(self._notes), Stage.SILENCED)

    def _thin(self, event: Event) -> None:
        if not 1.0 <= event.amount <= MOST_THINNED:
            self._company.refuse(event)
            return
        notes = self._notes.least_missed(int(event.amount))
        self._notes.release(notes, Stage.SILENCED)
        for note in notes:
            note.key_down = note.caught = False
            self._company.telling.tell(OutcomeKind.THINNED, event.sample, note)
        self._company.counts.thinned += len(notes)

    def _meant(self, event: Event) -> list[Note]:
        """Return the note of an event's id; else those of its part that were begun by its pitch."""
        note = self._notes.get(event.note)
        if note is not None:
            return [note]
        if event.pitch.kind == PitchKind.NONE:
            return []
        return [n for n in self._notes if n.pitch == event.pitch and n.part == event.part]

    # -- parts that play one note at a time ---------------------------------------------------

    def _keys_of_id(self, note: int) -> list[tuple[Part, Key]]:
        """Return the keys of an id, in whatever part."""
        keys = ((p, p.keys.of_id(note)) for p in self._company.parts.values() if p.keys is not None)
        return [(part, key) for part, key in keys if key is not None]

    def _keys_meant(self, event: Event) -> list[tuple[Part, Key]]:
        """Return the key of an event's id; else those of its part that were struck for its pitch.

        None of a part that plays many notes at once.
        """
        keys = self._keys_of_id(event.note)
        part = self._company.part(event.part)
        if keys or part.keys is None or event.pitch.kind == PitchKind.NONE:
            return keys
        return [(part, key) for key in part.keys.of_pitch(event.pitch)]

    def _pass_on(self, event: Event, part: Part, key: Key, hz: float) -> None:
        """Let the note that the part sounds go on as that of `key`."""
        if part.keys is None or part.keys.note is None:
            return
        note = part.keys.note
        ringing = self._notes.get(key.id)
        if ringing is not None and ringing is not note:
            self._give_other_id(ringing)
        samples = max(part.glide_samples, self._company.shortest)
        pass_on(
            note,
            key,
            hz,
            event.sample,
            samples,
            self._notes,
            self._company.grid(part),
            self._telling,
        )
        part.last = note

    def _lift(self, event: Event, part: Part, key: Key) -> None:
        """Let a key up; what it sounded goes on for the latest that is still down, or ends."""
        if part.keys is None:
            return
        heard = part.keys.latest is key
        part.keys.lift(key)
        if not heard:
            return
        going_on = goes_on(part, self._notes)
        while going_on and (latest := part.keys.latest) is not None:
            hz = self._company.hz(part, latest.pitch)
            if hz is not None and can_take(latest, hz, self._rate):
                self._pass_on(event, part, latest, hz)
                return
            part.keys.lift(latest)  # the tuning has no such pitch any more
        note = part.keys.note
        if note is not None and note.held and self._notes.get(note.id) is note:
            note.key_down = False
            self._company.settle_dampers(event, [note])

    def _change_mode(self, event: Event) -> None:
        """Let a part play one note at a time, or many again.

        Of the notes whose keys are down the latest goes on, and the others' keys wait.
        """
        part = self._company.part(event.part)
        if not event.amount >= 0.5:
            part.keys = None
        elif part.keys is None:
            notes = [note for note in self._company.held(event.part) if note.key_down]
            notes.sort(key=lambda note: note.began)
            part.keys = Keys(notes[-1] if notes else None)
            for note in notes:
                part.keys.press(Key(note.id, note.pitch, {Kind.BEND: note.bend.goal}))
            others = [n for n in self._company.held(event.part) if n is not part.keys.note]
            self._company.let_go(event, others)

    # -- touch --------------------------------------------------------------------------------

    def _touch(self, event: Event) -> None:
        """Move what an event means; keep it for the note of that id if none has its key down.

        So a touch that comes before its note, as MPE asks, is heard from the note's first sample,
        whether or not the tail of a former note of the same id still sounds.
        """
        low, high = AMOUNTS.get(event.kind, ZERO_TO_ONE)
        keys = self._keys_meant(event)
        notes = self._meant(event)
        if not low <= event.amount <= high or (
            event.kind == Kind.BEND
            and not all(can_sound(bent(n.goal_hz, event.amount), self._rate) for n in notes)
        ):
            self._company.refuse(event)
            return
        for _, key in keys:
            key.touch[event.kind] = event.amount
        if event.note != NO_NOTE and not keys and not any(note.key_down for note in notes):
            self._early.keep(event.note, event.kind, event.amount)
        if not notes:
            return
        samples = self._company.touch_samples(event)
        self._notes.touch(notes, event.kind, event.amount, samples)
        for note in notes:
            if event.kind == Kind.BEND:
                note.bend.move(event.sample, event.amount, samples)
                self._telling.way(event.sample, note)
            else:
                self._telling.touch(event.sample, note)
