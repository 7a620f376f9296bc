"""Make chorale.mid from the four-part hymn that the music21 package carries.

    python -m venv /tmp/m21 && /tmp/m21/bin/pip install music21==10.5.1 mido==1.3.3
    /tmp/m21/bin/python tests/data/make_chorale.py

The bytes are the same each time. Notes are taken as written: tied notes are one note, a fermata
adds nothing, every velocity is the same. README.md beside this file says what the piece is.
"""

from fractions import Fraction
from pathlib import Path

import mido
from music21 import corpus, stream

PIECE = "johnson_j_r/lift_every_voice"
TICKS_PER_QUARTER = 480
QUARTERS_PER_MINUTE = 120  # the source's own mark
VELOCITY = 80
TARGET = Path(__file__).with_name("chorale.mid")


def ticks(quarters: float | Fraction) -> int:
    """Return a time in ticks, or fail if it does not fall on one."""
    exact = Fraction(quarters) * TICKS_PER_QUARTER
    if exact.denominator != 1:
        raise ValueError(f"{quarters} quarter notes are no whole number of ticks")
    return exact.numerator


def voice_track(voice: stream.Part, channel: int) -> mido.MidiTrack:
    """Write one voice as a track: note offs before note ons of the same tick, low keys first."""
    events: list[tuple[int, int, int]] = []
    for note in voice.stripTies().flatten().notes:
        start, length = ticks(note.offset), ticks(note.quarterLength)
        for pitch in note.pitches:  # the altos divide in two places
            events.append((start, 1, pitch.midi))
            events.append((start + length, 0, pitch.midi))
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=voice.partName)])
    now = 0
    for tick, on, key in sorted(events):
        kind = "note_on" if on else "note_off"
        velocity = VELOCITY if on else 64
        track.append(
            mido.Message(kind, channel=channel, note=key, velocity=velocity, time=tick - now)
        )
        now = tick
    track.append(mido.MetaMessage("end_of_track"))
    return track


def main() -> None:
    """Write chorale.mid beside this file."""
    score = corpus.parse(PIECE)
    tempo = mido.bpm2tempo(QUARTERS_PER_MINUTE)
    head = mido.MidiTrack(
        [
            mido.MetaMessage("track_name", name=score.metadata.movementName),
            mido.MetaMessage("copyright", text=score.metadata.copyright),
            mido.MetaMessage("set_tempo", tempo=tempo),
            mido.MetaMessage("time_signature", numerator=6, denominator=8),
            mido.MetaMessage("end_of_track"),
        ]
    )
    voices = [voice_track(voice, channel) for channel, voice in enumerate(score.parts)]
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, tracks=[head, *voices])
    file.save(TARGET)


if __name__ == "__main__":
    main()
