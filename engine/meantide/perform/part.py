"""What a part's next notes are made of, and the pedals under it."""

import math
from dataclasses import dataclass

from meantide.perform.note import Note
from meantide.voice.voices import Prepared


@dataclass(slots=True)
class Part:
    """A part's voice, place and level, its glide in samples, its pedals, and its last note."""

    voice: Prepared | None = None
    family: int = 0
    """Counts the voices given to the performance's parts, not the later versions of one."""
    pan: float = 0.0
    gain: float = 1.0
    glide_samples: int = 0
    sustain: bool = False
    sostenuto: bool = False
    last: Note | None = None

    @property
    def sides(self) -> tuple[float, float]:
        """The gains of the left and the right channel: constant power, so cos and sin."""
        angle = (self.pan + 1.0) * math.pi / 4.0
        return self.gain * math.cos(angle), self.gain * math.sin(angle)

    def keeps(self, note: Note) -> bool:
        """Tell whether a note of the part may sound on: whether a piano's damper would be up.

        Its key holds it up, or the sustain pedal, or the sostenuto pedal, which catches the
        dampers that are up when it goes down: those of keys that are down, and those that the
        sustain pedal holds then. Dampers that come up later it leaves free, as on a piano, where
        it holds what sounds and not what is yet to be struck.
        """
        return note.key_down or self.sustain or note.caught
