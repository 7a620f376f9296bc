"""A Standard MIDI File as a score: its keys through a layout, its channels as parts."""

from pathlib import Path

from meantide.catalogue import Catalogue
from meantide.offline.midi_score import MidiNote, read_midi
from meantide.offline.score import (
    DEFAULT_ANCHOR,
    DEFAULT_LAYOUT,
    DEFAULT_SCALE,
    DEFAULT_VOICE,
    Overrides,
    Score,
    ScoreNote,
    ScorePart,
    ScoreTouch,
)
from meantide.perform.event import Pitch, PitchKind
from meantide.pitch import Tuning

WIDTH = 0.6
"""Parts stand side by side from -WIDTH (left) to WIDTH (right), in the order of their names."""


def read_midi_score(path: Path, catalogue: Catalogue, overrides: Overrides) -> Score:
    """Read the MIDI file `path` as a score in the tuning and voice asked for.

    Raises InvalidValue, naming the file, if it is no MIDI file or has no notes.
    """
    piece = read_midi(path)
    tuning = Tuning(
        catalogue.scale(overrides.scale or DEFAULT_SCALE),
        catalogue.anchor(overrides.anchor or DEFAULT_ANCHOR),
        catalogue.layout(overrides.layout or DEFAULT_LAYOUT),
    )
    voice = catalogue.voice(overrides.voice or DEFAULT_VOICE)
    by_part: dict[str, list[MidiNote]] = {}
    for note in piece.notes:
        by_part.setdefault(note.part, []).append(note)
    count = len(by_part)
    parts = tuple(
        ScorePart(
            name,
            voice,
            tuple(_score_note(note, path) for note in notes),
            pan=0.0 if count == 1 else WIDTH * (2 * place / (count - 1) - 1),
        )
        for place, (name, notes) in enumerate(by_part.items())
    )
    return Score(piece.title, tuning, parts, (), piece.notices)


def _score_note(note: MidiNote, path: Path) -> ScoreNote:
    return ScoreNote(
        note.start_s,
        note.end_s - note.start_s,
        Pitch(PitchKind.KEY, float(note.key)),
        {"key": note.key},
        note.velocity,
        str(path),
        "key",
        tuple(
            ScoreTouch(touch.kind, touch.at_s, touch.amount, where=str(path), field="bend")
            for touch in note.touches
        ),
    )
