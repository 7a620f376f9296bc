"""The music of a Standard MIDI File: its events as plain notes in exact seconds."""

import heapq
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import mido

from meantide.errors import InvalidValue
from meantide.offline.midi_channel import Channel, MidiTouch, Sounding
from meantide.offline.midi_file import END_OF_TRACK, TEMPO, TRACK_NAME, Event, bad_file, open_tracks

MAX_FILE_BYTES = 4 * 2**20
"""Ten notes a second, eight bytes each, fill 1 MiB in three and a half hours."""

_DEFAULT_TEMPO_US = 500_000  # 120 quarter notes a minute, until the file says otherwise
_PERCUSSION_CHANNEL = 10  # common practice, no source
_TEXT_LENGTH = 80  # names are shown in tables and lists of parts

# SMPTE frames a second; "29" stands for the rate of colour television (from memory).
_FRAME_RATES = {24: Fraction(24), 25: Fraction(25), 29: Fraction(30_000, 1001), 30: Fraction(30)}

_IGNORED = {
    "program_change": "program changes{} ignored: voices are chosen by part",
    "control_change": "controllers other than the sustain and sostenuto pedals{} ignored",
    "sysex": "system exclusive messages ignored",
}


@dataclass(frozen=True, slots=True)
class MidiNote:
    """One note: its part, channel (1 to 16), key (0 to 127), velocity (above 0, to 1) and times.

    Times are exact seconds from the beginning of the file; the end is after the start. Touches are
    in order of time, none before the start or after the end.
    """

    part: str
    channel: int
    key: int
    velocity: float
    start_s: Fraction
    end_s: Fraction
    touches: tuple[MidiTouch, ...] = ()


@dataclass(frozen=True, slots=True)
class MidiPiece:
    """A file's notes by start, channel and key, its title, and what of it was not used."""

    title: str
    notes: tuple[MidiNote, ...]
    notices: tuple[str, ...]


def read_midi(path: Path) -> MidiPiece:
    """Read a Standard MIDI File of format 0 or 1.

    Time follows the tempo map, or the SMPTE division. The pedals, sustain and sostenuto, put off
    the ends of notes until they are lifted or their key is struck again; bends (by two semitones
    either way, or as the file says by registered parameter 0) and pressure of channels and keys
    touch notes from their start to their end. Overlapping notes of one key on one channel end first
    on, first off; notes never ended end with their track, which is told in a notice. Parts are
    channels; one that has a track to itself goes by that track's name. The title is the first
    track's name, or the file's.

    Raises `InvalidValue`, naming the file and what is wrong with it.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a path with a zero in it
        reason = getattr(error, "strerror", None) or str(error)
        raise InvalidValue("MIDI file", reason, "a file that can be read", str(path)) from None
    try:
        if len(data) > MAX_FILE_BYTES:
            raise bad_file(f"more than {MAX_FILE_BYTES} bytes", f"up to {MAX_FILE_BYTES} bytes")
        division, tracks = open_tracks(data)
        reading = _Reading(_Clock(division))
        # Equal ticks are merged in the order of the tracks, so each track keeps its own order.
        for event in heapq.merge(*tracks, key=lambda event: event.tick):
            reading.take(event)
        return reading.piece(path.stem)
    except InvalidValue as error:
        raise error.at(str(path)) from None


class _Clock:
    """Ticks to seconds, exactly; asked in the order of time."""

    def __init__(self, division: int) -> None:
        self.beat_ticks = division
        self.base_tick = 0
        self.base_s = Fraction(0)
        if division > 0:
            self.tick_s = Fraction(_DEFAULT_TEMPO_US, 1_000_000 * division)
            return
        frames, ticks = -(division >> 8), division & 0xFF
        if frames not in _FRAME_RATES or not ticks:
            allowed = "ticks a quarter note from 1, or 24, 25, 29 or 30 frames of 1 to 255 ticks"
            raise bad_file(f"division {division & 0xFFFF:04X}", allowed)
        self.tick_s = 1 / (_FRAME_RATES[frames] * ticks)

    def seconds(self, tick: int) -> Fraction:
        """Return the time of a tick at or after the last change of tempo."""
        return self.base_s + (tick - self.base_tick) * self.tick_s

    def set_tempo(self, tick: int, tempo_us: int) -> None:
        """From this tick on a quarter note has so many microseconds; SMPTE time knows no tempo."""
        if self.beat_ticks > 0:
            self.base_s, self.base_tick = self.seconds(tick), tick
            self.tick_s = Fraction(tempo_us, 1_000_000 * self.beat_ticks)


class _Reading:
    """A file's events, taken in the order of time, becoming notes."""

    def __init__(self, clock: _Clock) -> None:
        self.clock = clock
        self.channels: dict[int, Channel] = {}
        self.ended: list[tuple[Sounding, Fraction]] = []
        self.names: dict[int, str] = {}
        self.track_ends_s: dict[int, Fraction] = {}
        self.ignored: defaultdict[str, set[int]] = defaultdict(set)

    def take(self, event: Event) -> None:
        """Let one event happen."""
        if event.message is not None:
            self._message(event.message, event.track, self.clock.seconds(event.tick))
        elif event.meta == TEMPO:
            self.clock.set_tempo(event.tick, int.from_bytes(event.body))
        elif event.meta == TRACK_NAME:
            self.names.setdefault(event.track, _plain_text(event.body))
        elif event.meta == END_OF_TRACK:
            self.track_ends_s[event.track] = self.clock.seconds(event.tick)

    def _message(self, message: mido.Message, track: int, now_s: Fraction) -> None:
        if message.type == "sysex":
            self.ignored["sysex"].add(0)
            return
        number = message.channel + 1
        channel = self.channels.setdefault(number, Channel(number))
        ended: Iterable[Sounding] | None = ()
        if message.type == "note_on" and message.velocity:
            ended = channel.note_on(track, message.note, message.velocity, now_s)
        elif message.type in ("note_on", "note_off"):
            ended = channel.note_off(message.note, now_s)
        elif message.type == "control_change":
            ended = channel.control(message.control, message.value, now_s)
        elif message.type == "pitchwheel":
            channel.bend(message.pitch, now_s)
        elif message.type == "aftertouch":
            channel.press(message.value, now_s)
        elif message.type == "polytouch":
            channel.press_key(message.note, message.value, now_s)
        else:
            ended = None
        if ended is None:
            self.ignored[message.type].add(number)
        else:
            self.ended += [(note, now_s) for note in ended]

    def piece(self, file_name: str) -> MidiPiece:
        """End what still sounds, and return the whole."""
        hanging = set()
        for number, channel in self.channels.items():
            for note in channel:
                hanging.add(number)
                self.ended.append((note, max(self.track_ends_s[note.track], note.released_s)))
        sounding = [(note, end_s) for note, end_s in self.ended if end_s > note.start_s]
        if not sounding:
            raise bad_file("no notes", "a file with at least one note that lasts")
        parts = self._parts([note for note, _ in sounding])
        notes = [
            MidiNote(
                parts[note.channel],
                note.channel,
                note.key,
                note.velocity,
                note.start_s,
                end_s,
                tuple(touch for touch in note.touches if touch.at_s <= end_s),
            )
            for note, end_s in sounding
        ]
        notes.sort(key=lambda note: (note.start_s, note.channel, note.key, note.end_s))
        notices = [
            text.format(_on(self.ignored[kind]))
            for kind, text in _IGNORED.items()
            if kind in self.ignored
        ]
        if _PERCUSSION_CHANNEL in parts:
            notices.append("channel 10, by custom percussion, is read as pitches like the others")
        if hanging:
            notices.append(f"notes{_on(hanging)} that are never ended end with their track")
        if len(sounding) < len(self.ended):
            notices.append(f"notes of no length left out: {len(self.ended) - len(sounding)}")
        return MidiPiece(
            self.names.get(0) or _plain_text(file_name.encode("utf-8", "replace")),
            tuple(notes),
            tuple(notices),
        )

    def _parts(self, notes: list[Sounding]) -> dict[int, str]:
        """Name the channels that have notes, each differently."""
        pairs = {(note.track, note.channel) for note in notes}
        parts: dict[int, str] = {}
        for channel in sorted({channel for _, channel in pairs}):
            own = [track for track, other in pairs if other == channel]
            alone = len(own) == 1 and sum(track == own[0] for track, _ in pairs) == 1
            name = wanted = (alone and self.names.get(own[0])) or f"channel-{channel}"
            count = 1
            while name in parts.values():
                count += 1
                name = f"{wanted} ({count})"
            parts[channel] = name
        return parts


def _on(channels: set[int]) -> str:
    return " on channel " + ", ".join(map(str, sorted(channels)))


def _plain_text(raw: bytes) -> str:
    """Return text of either usual encoding as one short line of printable characters."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    printable = "".join(character if character.isprintable() else " " for character in text)
    return " ".join(printable.split())[:_TEXT_LENGTH]
