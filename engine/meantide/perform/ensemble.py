"""The parts and their notes: what events do to them."""

from collections import deque

from meantide.perform.company import Company, Counts
from meantide.perform.event import Event, Outcome, OutcomeKind
from meantide.perform.note_events import NoteEvents
from meantide.perform.notes import Notes
from meantide.perform.part_events import PartEvents
from meantide.perform.values import Values


class Ensemble:
    """Parts with their voices and pedals, the tuning they share, and the notes that sound.

    An event acts at its own sample, which must be the next to be made. `outcomes` receives what
    becomes of each note.
    """

    def __init__(
        self, notes: Notes, rate: int, counts: Counts, outcomes: list[Outcome] | deque[Outcome]
    ) -> None:
        self.values = Values(notes, rate)
        self._company = Company(notes, rate, counts, outcomes)
        self._acts = NoteEvents(self._company).acts | PartEvents(self._company, self.values).acts

    def act(self, event: Event) -> None:
        """Let `event` happen, at its sample."""
        self._acts[event.kind](event)

    def sweep(self, sample: int) -> None:
        """Forget, and tell of, the notes that are over by `sample`."""
        for note in self._company.notes.sweep():
            self._company.telling.tell(OutcomeKind.ENDED, sample, note)
