"""Events: what can happen at a sample, as records of plain numbers.

An event holds nothing but integers and floats, so that it packs into a fixed number of bytes and
can cross a ring between two processes. What does not fit into numbers (a tuning, a voice) is
handed over beforehand under a number, and the event that names the number takes it.
"""

import struct
from enum import IntEnum
from typing import NamedTuple

AT_ONCE = -1
"""The sample of an event that shall act as soon as it is seen."""
NO_NOTE = -1
"""The note of an event that means none by id."""
MAIN_PART = 0
ALL_PARTS = -1


class Kind(IntEnum):
    """What an event does."""

    NOTE_ON = 1
    NOTE_OFF = 2
    TUNING = 3
    VOICE = 4
    PAN = 5
    LEVEL = 6
    NOTES_OFF = 7
    SOUND_OFF = 8
    PART_LEVEL = 9
    BEND = 10
    PRESSURE = 11
    TIMBRE = 12
    SUSTAIN = 13
    SOSTENUTO = 14
    GLIDE = 15
    """From now on the part's notes come from the pitch of the one before, within `samples`."""
    REVOICE = 16
    """The part's voice, and its notes that sound, take on other numbers within `samples`."""
    LAYOUT = 17
    """The part has a tuning of its own: the one there is, but for the layout; see TUNING."""
    WIDTH = 18
    MODE = 19
    """The part plays many notes at once (0), or one (1)."""
    LIMIT = 20
    """The part sounds at most so many notes; 0: as many as there is room for."""
    THIN = 21
    """So many notes (`amount`) are faded out, of those that would be missed least."""


TOUCHES = frozenset({Kind.BEND, Kind.PRESSURE, Kind.TIMBRE})
"""Events that move one note: that of an id, else those of a pitch."""
PEDALS = frozenset({Kind.SUSTAIN, Kind.SOSTENUTO})
"""Events that put a part's pedal down (an amount of 1/2 or more) or let it up."""
ENDING_KINDS = frozenset({Kind.NOTE_OFF, Kind.NOTES_OFF, Kind.SOUND_OFF, Kind.THIN})
MOST_BEND_CENTS = 12_000.0
"""Ten octaves either way."""
MOST_THINNED = 4096.0
"""More notes than that never sound."""


class PitchKind(IntEnum):
    """How an event says which pitch it means."""

    NONE = 0
    KEY = 1
    DEGREE = 2
    NAME = 3
    """A place on the chain of fifths, and an octave."""
    INTERVAL = 4
    """Octaves (log2 of the ratio) above the anchored note."""
    HERTZ = 5


class Pitch(NamedTuple):
    """A pitch as it was asked for; a held note keeps it, and follows the tuning by it."""

    kind: PitchKind
    value: float
    octave: int = 0


class Held(IntEnum):
    """What held notes do when the tuning changes."""

    FOLLOW = 0
    STAY = 1


class Event(NamedTuple):
    """One thing that happens at one sample.

    The fields that a kind does not use are left at their defaults.
    """

    kind: Kind
    sample: int = AT_ONCE
    part: int = MAIN_PART
    note: int = NO_NOTE
    """The note's id: 0 and above as given by the player, below NO_NOTE as given by the engine."""
    pitch: Pitch = Pitch(PitchKind.NONE, 0.0)
    amount: float = 0.0
    """Velocity, pressure, timbre, width, mode or pedal 0..1, bend in cents, level in dB, pan -1..1,
    or a number of notes."""
    samples: int = 0
    """Length of a glide or ramp."""
    value: int = 0
    """The number of a tuning or voice handed over before."""
    held: Held = Held.FOLLOW

    @property
    def ends_sound(self) -> bool:
        """Whether it ends sound: such an event is never refused for want of room."""
        return self.kind in ENDING_KINDS or (self.kind in PEDALS and self.amount < 0.5)

    def pack(self) -> bytes:
        """Return the event as `RECORD.size` bytes."""
        return RECORD.pack(
            self.kind,
            self.sample,
            self.part,
            self.note,
            self.pitch.kind,
            self.pitch.value,
            self.pitch.octave,
            self.amount,
            self.samples,
            self.value,
            self.held,
        )

    @classmethod
    def unpack(cls, record: bytes) -> "Event":
        """Return the event packed in `record`."""
        kind, sample, part, note, how, pitch, octave, amount, samples, value, held = RECORD.unpack(
            record
        )
        return cls(
            Kind(kind),
            sample,
            part,
            note,
            Pitch(PitchKind(how), pitch, octave),
            amount,
            samples,
            value,
            Held(held),
        )


RECORD = struct.Struct("<hqiqhdidqqh")


class OutcomeKind(IntEnum):
    """What a performance reports of its notes."""

    BEGAN = 1
    MOVED = 2
    RELEASED = 3
    TAKEN = 4
    """Faded out early to make room for another note."""
    ENDED = 5
    REFUSED = 6
    """The event could not be obeyed: no such pitch in the tuning, or out of range."""
    TOUCHED = 7
    """For the first time pressure or timbre is not at rest."""
    REVOICED = 8
    """Its voice took on other numbers."""
    PASSED = 9
    """A part that plays one note at a time goes on with it for another key: from here on the note
    is told of by that key's id, and was by `former`. `hz` is where it goes, but for its bend."""
    THINNED = 10
    """Faded out early because blocks took too long to make."""


class Outcome(NamedTuple):
    """One report: what became of a note at a sample, and the frequency it has or goes to.

    A MOVED may be dated ahead, where a note's way turns later (its bend done, its glide not yet);
    it holds unless another of that note, with an earlier sample, comes after it.
    """

    kind: OutcomeKind
    sample: int
    note: int
    hz: float = 0.0
    samples: int = 0
    former: int = NO_NOTE
