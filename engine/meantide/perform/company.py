"""What everything that happens to notes has in common: the parts, the notes, what is told."""

from collections import deque
from dataclasses import dataclass

from meantide.perform.event import ALL_PARTS, Event, Outcome, OutcomeKind, Pitch
from meantide.perform.line import SHORTEST_TOUCH_S
from meantide.perform.note import Note
from meantide.perform.notes import Notes
from meantide.perform.part import Part
from meantide.perform.sounding_pitch import pitch_hz
from meantide.perform.telling import Telling
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import Stage


@dataclass(slots=True)
class Counts:
    """What happened so far, for whoever asks."""

    events: int = 0
    late: int = 0
    refused: int = 0
    taken: int = 0
    thinned: int = 0
    struck: int = 0


class Company:
    """The parts, the tuning they share, and the notes that sound.

    `outcomes` receives what becomes of each note.
    """

    def __init__(
        self, notes: Notes, rate: int, counts: Counts, outcomes: list[Outcome] | deque[Outcome]
    ) -> None:
        self.notes, self.rate, self.counts = notes, rate, counts
        self.telling = Telling(outcomes)
        self.tuned: tuple[Tuning, DegreeGrid] | None = None
        """The tuning of the parts that have no layout of their own."""
        self.parts: dict[int, Part] = {}
        self.shortest = round(SHORTEST_TOUCH_S * rate)
        """The samples that a change of a sounding note takes at least."""

    # -- who is meant -----------------------------------------------------------------------

    def part(self, number: int) -> Part:
        """Return the part of a number; it is made when it is first named."""
        return self.parts.setdefault(number, Part())

    def parts_of(self, event: Event) -> dict[int, Part]:
        """Return the parts that an event means, by number."""
        if event.part == ALL_PARTS:
            return self.parts
        return {event.part: self.part(event.part)}

    def held(self, part: int) -> list[Note]:
        """Return the notes of a part, or of ALL_PARTS, that were not let go."""
        return [note for note in self.notes if note.held and part in (ALL_PARTS, note.part)]

    # -- how it is tuned --------------------------------------------------------------------

    def hz(self, part: Part, pitch: Pitch) -> float | None:
        """Return the frequency of a pitch in the tuning of a part, or None."""
        tuned = part.tuned or self.tuned
        return pitch_hz(tuned[0] if tuned else None, pitch, self.rate)

    def grid(self, part: Part) -> DegreeGrid | None:
        """Return where the degrees lie in the tuning of a part, or None."""
        tuned = part.tuned or self.tuned
        return tuned[1] if tuned else None

    # -- what ends --------------------------------------------------------------------------

    def settle_dampers(self, event: Event, notes: list[Note]) -> None:
        """Let those of `notes` go that neither a key nor a pedal keeps."""
        self.let_go(event, [n for n in notes if n.held and not self.part(n.part).keeps(n)])

    def let_go(self, event: Event, notes: list[Note], stage: Stage = Stage.RELEASED) -> None:
        """Let notes go, by their own release or at once, whatever keeps them."""
        if notes:
            self.notes.release(notes, stage)
            for note in notes:
                note.key_down = note.caught = False
                self.telling.tell(OutcomeKind.RELEASED, event.sample, note)

    def lift_all(self, event: Event) -> None:
        """Let up the keys of the parts that an event means, where one note sounds at a time."""
        for part in self.parts_of(event).values():
            if part.keys is not None:
                part.keys.lift_all()

    # -- what is told, and how fast things go -----------------------------------------------

    def refuse(self, event: Event) -> None:
        """Count, and tell, that an event cannot be obeyed."""
        self.counts.refused += 1
        self.telling.refusal(event)

    def touch_samples(self, event: Event) -> int:
        """Return in how many samples an event changes sounding notes."""
        return max(event.samples, self.shortest)
