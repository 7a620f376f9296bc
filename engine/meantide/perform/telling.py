"""What is told of notes, in the order in which it happens."""

from collections import deque

from meantide.perform.event import NO_NOTE, Event, Kind, Outcome, OutcomeKind
from meantide.perform.note import Note


class Telling:
    """Puts what becomes of notes at the end of `outcomes`."""

    def __init__(self, outcomes: list[Outcome] | deque[Outcome]) -> None:
        self._outcomes = outcomes

    def tell(self, kind: OutcomeKind, sample: int, note: Note) -> None:
        """Tell what needs no more than the note's id."""
        self._outcomes.append(Outcome(kind, sample, note.id))

    def beginning(self, sample: int, note: Note) -> None:
        """Tell that a note begins, and where."""
        self._outcomes.append(Outcome(OutcomeKind.BEGAN, sample, note.id, note.hz(sample)))

    def passing(self, sample: int, note: Note, former: int, samples: int) -> None:
        """Tell that a note goes on as that of another key."""
        kind = OutcomeKind.PASSED
        self._outcomes.append(Outcome(kind, sample, note.id, note.goal_hz, samples, former))

    def way(self, sample: int, note: Note) -> None:
        """Tell how the pitch of a note goes on from `sample`."""
        for start, samples, hz in note.ways(sample):
            self._outcomes.append(Outcome(OutcomeKind.MOVED, start, note.id, hz, samples))

    def touch(self, sample: int, note: Note) -> None:
        """Tell that pressure or timbre acts on a note, the first time."""
        if not note.touched:
            note.touched = True
            self.tell(OutcomeKind.TOUCHED, sample, note)

    def refusal(self, event: Event) -> None:
        """Tell that an event was refused; of a touch that is, the note itself knows nothing."""
        note = event.note if event.kind == Kind.NOTE_ON else NO_NOTE
        self._outcomes.append(Outcome(OutcomeKind.REFUSED, event.sample, note))
