"""What a part's next notes are made of, and the pedals under it."""

from dataclasses import dataclass, field

from meantide.perform.balance import Balance
from meantide.perform.keys import Keys
from meantide.perform.note import Note
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.voices import Prepared


@dataclass(slots=True)
class Part:
    """A part's voice, layout, place and level, its glide in samples, its pedals, its last note."""

    voice: Prepared | None = None
    family: int = 0
    """Counts the voices given to the performance's parts, not the later versions of one."""
    tuned: tuple[Tuning, DegreeGrid] | None = None
    """Its own tuning, if it has a layout of its own."""
    balance: Balance = field(default_factory=Balance)
    limit: int = 0
    """The most notes that it sounds at once; 0: as many as there is room for."""
    keys: Keys | None = None
    """The keys that are down, if it plays one note at a time."""
    glide_samples: int = 0
    sustain: bool = False
    sostenuto: bool = False
    last: Note | None = None

    def keeps(self, note: Note) -> bool:
        """Tell whether a note of the part may sound on: whether a piano's damper would be up.

        Its key holds it up, or the sustain pedal, or the sostenuto pedal, which catches the
        dampers that are up when it goes down: those of keys that are down, and those that the
        sustain pedal holds then. Dampers that come up later it leaves free, as on a piano, where
        it holds what sounds and not what is yet to be struck.
        """
        return note.key_down or self.sustain or note.caught
