"""The parts and their notes: what events do to them."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from meantide.perform.balance import MOST_WIDTH, spread_of
from meantide.perform.early_touch import RESTING, EarlyTouch
from meantide.perform.event import (
    ALL_PARTS,
    MOST_BEND_CENTS,
    NO_NOTE,
    Event,
    Held,
    Kind,
    Outcome,
    OutcomeKind,
    Pitch,
    PitchKind,
)
from meantide.perform.keys import Key, Keys
from meantide.perform.line import Line
from meantide.perform.master import LOUDEST_DB, level_gain
from meantide.perform.note import Note
from meantide.perform.notes import Notes
from meantide.perform.part import Part
from meantide.perform.solo import can_take, goes_on, pass_on
from meantide.perform.sounding_pitch import bent, can_sound, followed_pitch, pitch_hz
from meantide.perform.telling import Telling
from meantide.perform.values import Values
from meantide.pitch import Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage
from meantide.voice.voices import Prepared

SHORTEST_TOUCH_S = 0.005
"""What touches or revoices a sounding note takes at least so long: no step is heard."""
AMOUNTS = {Kind.BEND: (-MOST_BEND_CENTS, MOST_BEND_CENTS)}
ZERO_TO_ONE = (0.0, 1.0)
MOST_LIMIT = 4096
"""The most notes that a part's limit may name: as many as a performance may have."""


@dataclass(slots=True)
class Counts:
    """What happened so far, for whoever asks."""

    events: int = 0
    late: int = 0
    refused: int = 0
    taken: int = 0
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
        self._telling = Telling(outcomes)
        self._tuned: tuple[Tuning, DegreeGrid] | None = None
        """The tuning of the parts that have no layout of their own."""
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
            Kind.TUNING: self._retune,
            Kind.LAYOUT: self._lay_keys,
            Kind.VOICE: self._change_voice,
            Kind.REVOICE: self._revoice,
            Kind.GLIDE: self._change_glide,
            Kind.PAN: self._move_pan,
            Kind.WIDTH: self._move_width,
            Kind.PART_LEVEL: self._move_level,
            Kind.MODE: self._change_mode,
            Kind.LIMIT: self._change_limit,
        }

    # -- what happens -----------------------------------------------------------------------

    def act(self, event: Event) -> None:
        """Let `event` happen, at its sample."""
        self._acts[event.kind](event)

    def sweep(self, sample: int) -> None:
        """Forget, and tell of, the notes that are over by `sample`."""
        for note in self.notes.sweep():
            self._telling.tell(OutcomeKind.ENDED, sample, note)

    def _note_on(self, event: Event) -> None:
        part = self._part(event.part)
        hz = self._hz(part, event.pitch)
        key = Key(event.note, event.pitch, self._early.take(event.note))
        if (
            part.voice is None
            or hz is None
            or not can_take(key, hz, self.rate)
            or not 0.0 < event.amount <= 1.0
        ):
            self._refuse(event)
            return
        self._make_way(event, part)
        if part.keys is None:
            self._strike(event, part, part.voice, hz, key)
            return
        part.keys.press(key)
        if goes_on(part, self.notes):
            self._pass_on(event, part, key, hz)
        else:
            former = [note for note in self.notes if note.part == event.part]
            self._let_go(event, former, Stage.SILENCED)
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
            self._grid(part),
            seed=self.counts.struck,
            from_hz=from_hz,
            glide_samples=part.glide_samples if from_hz != hz else 0,
            bend_cents=key.touch[Kind.BEND],
            pressure=key.touch[Kind.PRESSURE],
            timbre=key.touch[Kind.TIMBRE],
        )
        self.counts.struck += 1
        for taken in self.notes.start(note, strike, part.limit):
            self.counts.taken += 1
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
        former = self.notes.get(event.note)
        if part.keys is not None and part.keys.note is former and goes_on(part, self.notes):
            return
        if former is not None:
            self._let_go(event, [former] if former.held else [])
            self._give_other_id(former)

    def _give_other_id(self, note: Note) -> None:
        spare = min(each.id for each in self.notes) - (1 << 40)
        self.notes.rename(note, spare)

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
        self._settle_dampers(event, notes)

    # -- parts that play one note at a time -------------------------------------------------

    def _keys_of_id(self, note: int) -> list[tuple[Part, Key]]:
        """Return the keys of an id, in whatever part."""
        keys = ((p, p.keys.of_id(note)) for p in self._parts.values() if p.keys is not None)
        return [(part, key) for part, key in keys if key is not None]

    def _keys_meant(self, event: Event) -> list[tuple[Part, Key]]:
        """Return the key of an event's id; else those of its part that were struck for its pitch.

        None of a part that plays many notes at once.
        """
        keys = self._keys_of_id(event.note)
        part = self._part(event.part)
        if keys or part.keys is None or event.pitch.kind == PitchKind.NONE:
            return keys
        return [(part, key) for key in part.keys.of_pitch(event.pitch)]

    def _pass_on(self, event: Event, part: Part, key: Key, hz: float) -> None:
        """Let the note that the part sounds go on as that of `key`."""
        if part.keys is None or part.keys.note is None:
            return
        note = part.keys.note
        ringing = self.notes.get(key.id)
        if ringing is not None and ringing is not note:
            self._give_other_id(ringing)
        samples = max(part.glide_samples, self._shortest)
        pass_on(note, key, hz, event.sample, samples, self.notes, self._grid(part), self._telling)
        part.last = note

    def _lift(self, event: Event, part: Part, key: Key) -> None:
        """Let a key up; what it sounded goes on for the latest that is still down, or ends."""
        if part.keys is None:
            return
        heard = part.keys.latest is key
        part.keys.lift(key)
        if not heard:
            return
        going_on = goes_on(part, self.notes)
        while going_on and (latest := part.keys.latest) is not None:
            hz = self._hz(part, latest.pitch)
            if hz is not None and can_take(latest, hz, self.rate):
                self._pass_on(event, part, latest, hz)
                return
            part.keys.lift(latest)  # the tuning has no such pitch any more
        note = part.keys.note
        if note is not None and note.held and self.notes.get(note.id) is note:
            note.key_down = False
            self._settle_dampers(event, [note])

    def _change_mode(self, event: Event) -> None:
        """Let a part play one note at a time, or many again.

        Of the notes whose keys are down the latest goes on, and the others' keys wait.
        """
        part = self._part(event.part)
        if not event.amount >= 0.5:
            part.keys = None
        elif part.keys is None:
            notes = [note for note in self._held(event.part) if note.key_down]
            notes.sort(key=lambda note: note.began)
            part.keys = Keys(notes[-1] if notes else None)
            for note in notes:
                part.keys.press(Key(note.id, note.pitch, {Kind.BEND: note.bend.goal}))
            others = [n for n in self._held(event.part) if n is not part.keys.note]
            self._let_go(event, others)

    # -- touch ------------------------------------------------------------------------------

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
        keys = self._keys_meant(event)
        notes = self._meant(event)
        if not low <= event.amount <= high or (
            event.kind == Kind.BEND
            and not all(can_sound(bent(n.goal_hz, event.amount), self.rate) for n in notes)
        ):
            self._refuse(event)
            return
        for _, key in keys:
            key.touch[event.kind] = event.amount
        if event.note != NO_NOTE and not keys and not any(note.key_down for note in notes):
            self._early.keep(event.note, event.kind, event.amount)
        if not notes:
            return
        samples = self._touch_samples(event)
        self.notes.touch(notes, event.kind, event.amount, samples)
        for note in notes:
            if event.kind == Kind.BEND:
                note.bend.move(event.sample, event.amount, samples)
                self._telling.way(event.sample, note)
            else:
                self._telling.touch(event.sample, note)

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
                self._telling.tell(OutcomeKind.RELEASED, event.sample, note)

    def _notes_off(self, event: Event) -> None:
        self._lift_all(event)
        self._let_go(event, self._held(event.part))

    def _sound_off(self, event: Event) -> None:
        self._early.forget()
        self._lift_all(event._replace(part=ALL_PARTS))
        self._let_go(event, list(self.notes), Stage.SILENCED)

    # -- what notes are made of -------------------------------------------------------------

    def _retune(self, event: Event) -> None:
        tuned = self.values.take_tuning(event.value)
        if tuned is None:
            self._refuse(event)
            return
        former, self._tuned = self._tuned, tuned
        notes = [note for note in self.notes if self._part(note.part).tuned is None]
        self._bring(event, notes, tuned, former)

    def _lay_keys(self, event: Event) -> None:
        """Give a part a tuning of its own: another layout of the one there is."""
        tuned = self.values.take_tuning(event.value)
        if tuned is None:
            self._refuse(event)
            return
        part = self._part(event.part)
        former, part.tuned = part.tuned or self._tuned, tuned
        notes = [note for note in self.notes if note.part == event.part]
        self._bring(event, notes, tuned, former)

    def _bring(
        self,
        event: Event,
        notes: list[Note],
        tuned: tuple[Tuning, DegreeGrid],
        former: tuple[Tuning, DegreeGrid] | None,
    ) -> None:
        """Let notes follow a change of their tuning, or stay."""
        tuning, grid = tuned
        for note in notes:
            note.followed = followed_pitch(
                note.pitch, note.followed, event.held, former[0] if former else None, tuning
            )
        if event.held == Held.STAY:
            return
        moved: dict[int, list[Note]] = {}
        for note in notes:
            hz = pitch_hz(tuning, note.followed, self.rate)
            if hz is None or not can_sound(bent(hz, note.bend.goal), self.rate):
                continue
            if hz != note.goal_hz:
                note.retune(event.sample, hz, event.samples)
                self._telling.way(event.sample, note)
                moved.setdefault(event.samples, []).append(note)
            elif note.voice.follows_scale:  # its pitch stays, or comes where it was bound for
                left = max(note.glide.arrive - event.sample, 0)
                moved.setdefault(left or event.samples, []).append(note)
        for samples, some in moved.items():
            self.notes.retune(some, samples, grid)

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
            samples = self._touch_samples(event)
            self.notes.revoice(notes, voice, samples, self._grid(part))
            for note in notes:
                self._telling.tell(OutcomeKind.REVOICED, event.sample, note)

    def _change_glide(self, event: Event) -> None:
        for part in self._parts_of(event).values():
            part.glide_samples = event.samples

    def _move_pan(self, event: Event) -> None:
        self._move(event, -1.0 <= event.amount <= 1.0, event.amount, lambda part: part.balance.pan)

    def _move_width(self, event: Event) -> None:
        fits = 0.0 <= event.amount <= MOST_WIDTH
        self._move(event, fits, event.amount, lambda part: part.balance.width)

    def _move_level(self, event: Event) -> None:
        fits = event.amount <= LOUDEST_DB
        gain = level_gain(event.amount) if fits else 0.0
        self._move(event, fits, gain, lambda part: part.balance.gain)

    def _move(self, event: Event, fits: bool, goal: float, line_of: Callable[[Part], Line]) -> None:
        """Move a line of the balance of what parts an event means, and their notes with it."""
        if not fits:  # also what is no number
            self._refuse(event)
            return
        for part in self._parts_of(event).values():
            line_of(part).move(event.sample, goal, event.samples)
            self.notes.rebalance(part.balance, event.sample)

    def _change_limit(self, event: Event) -> None:
        if not 0.0 <= event.amount <= MOST_LIMIT or event.amount != int(event.amount):
            self._refuse(event)
            return
        self._part(event.part).limit = int(event.amount)

    # -- inside -----------------------------------------------------------------------------

    def _hz(self, part: Part, pitch: Pitch) -> float | None:
        """Return the frequency of a pitch in the tuning of a part, or None."""
        tuned = part.tuned or self._tuned
        return pitch_hz(tuned[0] if tuned else None, pitch, self.rate)

    def _grid(self, part: Part) -> DegreeGrid | None:
        tuned = part.tuned or self._tuned
        return tuned[1] if tuned else None

    def _lift_all(self, event: Event) -> None:
        for part in self._parts_of(event).values():
            if part.keys is not None:
                part.keys.lift_all()

    def _refuse(self, event: Event) -> None:
        self.counts.refused += 1
        self._telling.refusal(event)

    def _part(self, number: int) -> Part:
        return self._parts.setdefault(number, Part())

    def _parts_of(self, event: Event) -> dict[int, Part]:
        """Return the parts that an event means, by number."""
        if event.part == ALL_PARTS:
            return self._parts
        return {event.part: self._part(event.part)}

    def _held(self, part: int) -> list[Note]:
        return [note for note in self.notes if note.held and part in (ALL_PARTS, note.part)]

    @property
    def _shortest(self) -> int:
        return round(SHORTEST_TOUCH_S * self.rate)

    def _touch_samples(self, event: Event) -> int:
        return max(event.samples, self._shortest)
