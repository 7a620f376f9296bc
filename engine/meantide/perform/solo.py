"""Parts that play one note at a time: the note that sounds goes on from key to key."""

from meantide.perform.early_touch import RESTING
from meantide.perform.event import Kind
from meantide.perform.keys import Key
from meantide.perform.note import Note
from meantide.perform.notes import Notes
from meantide.perform.part import Part
from meantide.perform.sounding_pitch import bent, can_sound
from meantide.perform.telling import Telling
from meantide.voice.degree_grid import DegreeGrid


def goes_on(part: Part, notes: Notes) -> bool:
    """Tell whether the next key takes over the note that the part sounds.

    It does if that is held, by its key or a pedal, and struck with the voice that the part has.
    """
    note = part.keys.note if part.keys is not None else None
    return (
        note is not None and note.held and notes.get(note.id) is note and note.family == part.family
    )


def can_take(key: Key, hz: float | None, rate: int) -> bool:
    """Tell whether a key has a pitch that can sound, with its bend."""
    return hz is not None and can_sound(bent(hz, _touch_of(key)[Kind.BEND]), rate)


def pass_on(
    note: Note, key: Key, hz: float, sample: int, samples: int, notes: Notes,
    grid: DegreeGrid | None, telling: Telling,
) -> None:  # fmt: skip
    """Let `note` go on as that of `key`, at `hz` within `samples`, touched as the key is.

    No other note may have the key's id.
    """
    former = note.id
    if former != key.id:
        notes.rename(note, key.id)
    note.pitch = note.followed = key.pitch
    note.key_down = True
    note.retune(sample, hz, samples)
    notes.retune([note], samples, grid)
    telling.passing(sample, note, former, samples)
    for kind, amount in _touch_of(key).items():
        if kind == Kind.BEND:
            if amount != note.bend.goal:
                note.bend.move(sample, amount, samples)
                notes.touch([note], kind, amount, samples)
        elif note.touched or amount != RESTING[kind]:
            notes.touch([note], kind, amount, samples)
            telling.touch(sample, note)
    telling.way(sample, note)


def _touch_of(key: Key) -> dict[Kind, float]:
    return RESTING | key.touch
