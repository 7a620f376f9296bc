"""What parts are set to: their tuning, voice, pedals and balance, and what sounds with them."""

from collections.abc import Callable

from meantide.perform.balance import MOST_WIDTH
from meantide.perform.company import Company
from meantide.perform.event import (
    Event,
    Held,
    Kind,
    OutcomeKind,
)
from meantide.perform.line import Line
from meantide.perform.master import LOUDEST_DB, level_gain
from meantide.perform.note import Note
from meantide.perform.part import Part
from meantide.perform.sounding_pitch import bent, can_sound, followed_pitch, pitch_hz
from meantide.perform.values import Values
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid

MOST_LIMIT = 4096
"""The most notes that a part's limit may name: as many as a performance may have."""


class PartEvents:
    """What changes parts, and the notes that sound with them."""

    def __init__(self, company: Company, values: Values) -> None:
        self._company, self._values = company, values
        self._notes, self._telling, self._rate = company.notes, company.telling, company.rate
        self._families = 0
        """Voices given to parts so far."""

    @property
    def acts(self) -> dict[Kind, Callable[[Event], None]]:
        """What is done here, by the kind of event."""
        return {
            Kind.SUSTAIN: self._sustain,
            Kind.SOSTENUTO: self._sostenuto,
            Kind.TUNING: self._retune,
            Kind.LAYOUT: self._lay_keys,
            Kind.VOICE: self._change_voice,
            Kind.REVOICE: self._revoice,
            Kind.GLIDE: self._change_glide,
            Kind.PAN: self._move_pan,
            Kind.WIDTH: self._move_width,
            Kind.PART_LEVEL: self._move_level,
            Kind.LIMIT: self._change_limit,
        }

    # -- dampers ------------------------------------------------------------------------------

    def _sustain(self, event: Event) -> None:
        for number, part in self._company.parts_of(event).items():
            part.sustain = event.amount >= 0.5
            self._company.settle_dampers(event, self._company.held(number))

    def _sostenuto(self, event: Event) -> None:
        for number, part in self._company.parts_of(event).items():
            down = event.amount >= 0.5
            if down == part.sostenuto:
                continue
            part.sostenuto = down
            notes = self._company.held(number)
            for note in notes:
                note.caught = down
            self._company.settle_dampers(event, notes)

    # -- what notes are made of ---------------------------------------------------------------

    def _retune(self, event: Event) -> None:
        tuned = self._values.take_tuning(event.value)
        if tuned is None:
            self._company.refuse(event)
            return
        former, self._company.tuned = self._company.tuned, tuned
        notes = [note for note in self._notes if self._company.part(note.part).tuned is None]
        self._bring(event, notes, tuned, former)

    def _lay_keys(self, event: Event) -> None:
        """Give a part a tuning of its own: another layout of the one there is."""
        tuned = self._values.take_tuning(event.value)
        if tuned is None:
            self._company.refuse(event)
            return
        part = self._company.part(event.part)
        former, part.tuned = part.tuned or self._company.tuned, tuned
        notes = [note for note in self._notes if note.part == event.part]
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
            hz = pitch_hz(tuning, note.followed, self._rate)
            if hz is None or not can_sound(bent(hz, note.bend.goal), self._rate):
                continue
            if hz != note.goal_hz:
                note.retune(event.sample, hz, event.samples)
                self._telling.way(event.sample, note)
                moved.setdefault(event.samples, []).append(note)
            elif note.voice.follows_scale:  # its pitch stays, or comes where it was bound for
                left = max(note.glide.arrive - event.sample, 0)
                moved.setdefault(left or event.samples, []).append(note)
        for samples, some in moved.items():
            self._notes.retune(some, samples, grid)

    def _change_voice(self, event: Event) -> None:
        voice = self._values.take_voice(event.value)
        if voice is None:
            self._company.refuse(event)
            return
        part = self._company.part(event.part)
        self._families += 1
        part.voice, part.family = voice, self._families

    def _revoice(self, event: Event) -> None:
        """Give the part another version of its voice.

        The notes that were struck with another version come to it too, unless it needs another
        bank (as for more partials): then they stay as they are.
        """
        part = self._company.part(event.part)
        voice = self._values.take_voice(event.value)
        if voice is None or part.voice is None:
            self._company.refuse(event)
            return
        part.voice = voice
        notes = [
            note
            for note in self._notes
            if note.part == event.part and note.family == part.family and note.bank == voice.bank
        ]
        if notes:
            samples = self._company.touch_samples(event)
            self._notes.revoice(notes, voice, samples, self._company.grid(part))
            for note in notes:
                self._telling.tell(OutcomeKind.REVOICED, event.sample, note)

    def _change_glide(self, event: Event) -> None:
        for part in self._company.parts_of(event).values():
            part.glide_samples = event.samples

    # -- where and how many they are ----------------------------------------------------------

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
            self._company.refuse(event)
            return
        for part in self._company.parts_of(event).values():
            line_of(part).move(event.sample, goal, event.samples)
            self._notes.rebalance(part.balance, event.sample)

    def _change_limit(self, event: Event) -> None:
        if not 0.0 <= event.amount <= MOST_LIMIT or event.amount != int(event.amount):
            self._company.refuse(event)
            return
        self._company.part(event.part).limit = int(event.amount)
