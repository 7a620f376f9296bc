"""What the control side knows to be set: the mirror of what the audio side will have."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from meantide.pitch import Layout, Tuning
from meantide.voice.voices import Voice

MAIN = "main"
MOST_PARTS = 64
"""More would be a sender's mistake: each keeps a voice and a tuning."""


@dataclass(frozen=True, slots=True)
class PartState:
    """What a part is set to, and what lies under its player's feet."""

    number: int
    voice: Voice
    layout: Layout | None = None
    """Its own; None: the tuning's."""
    level_db: float = 0.0
    pan: float = 0.0
    width: float = 0.0
    mono: bool = False
    limit: int = 0
    """The most notes at once; 0: as many as there is room for."""
    glide_s: float = 0.0
    """How long a note comes from the one before; 0: it begins at its own pitch."""
    sustain: bool = False
    sostenuto: bool = False


@dataclass(frozen=True, slots=True)
class State:
    """What is tuned, how loud it all is, and the parts there are, by name."""

    tuning: Tuning
    level_db: float
    parts: Mapping[str, PartState]

    @classmethod
    def opening(cls, tuning: Tuning, voice: Voice, level_db: float) -> "State":
        """Return the state of a set that begins: one part, `main`, with a voice."""
        return cls(tuning, level_db, MappingProxyType({MAIN: PartState(0, voice)}))

    @property
    def main(self) -> PartState:
        """The part that is always there."""
        return self.parts[MAIN]

    def with_part(self, name: str, part: PartState) -> "State":
        """Return the state with a part that is new, or otherwise."""
        return replace(self, parts=MappingProxyType({**self.parts, name: part}))
