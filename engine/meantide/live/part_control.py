"""The control side of one part: what messages to it mean, as events."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.live.state import MAIN, MOST_PARTS, PartState
from meantide.perform.event import NO_NOTE, Event, Held, Kind, Pitch, PitchKind
from meantide.perform.sounding_pitch import pitch_hz
from meantide.pitch import Layout, NoteName, Tuning
from meantide.voice.parameters import with_parameter
from meantide.voice.voices import Voice

if TYPE_CHECKING:
    from meantide.live.control import Control


class SilentKey(InvalidValue):
    """A key struck for the first time that plays nothing; those it came with are obeyed."""


class PartControl:
    """Requests to the part called `name`; they raise InvalidValue as those of `Control`.

    The part is made by the first request that sets something up; until then it is as a new one.
    """

    def __init__(self, control: "Control", name: str) -> None:
        self._control, self.name = control, name

    @property
    def state(self) -> PartState:
        """What the part is set to, or would be as a new one: with the voice of `main`."""
        parts = self._control.state.parts
        return parts.get(self.name) or PartState(len(parts), parts[MAIN].voice)

    @property
    def tuning(self) -> Tuning:
        """The tuning that the part's keys play."""
        tuning, layout = self._control.state.tuning, self.state.layout
        return tuning if layout is None else replace(tuning, layout=layout)

    @property
    def catalogue(self) -> Catalogue:
        """Where voices and layouts are found by name."""
        return self._control.catalogue

    # -- notes ------------------------------------------------------------------------------

    def note_on(self, pitch: Pitch, velocity: float, note: int | None = None) -> None:
        """Begin a note; one given no id gets one of the engine's own.

        A key that plays nothing in the layout is refused the first time, and then let pass.
        """
        tuning = self.tuning
        if pitch.kind == PitchKind.KEY and self._is_silent(tuning, int(pitch.value)):
            return
        if pitch_hz(tuning, pitch, self._control.engine.rate) is None:
            allowed = (
                f"a pitch that {tuning.scale.label} has, between 0.01 Hz and half the sample rate"
            )
            raise InvalidValue("pitch", describe_pitch(pitch), allowed)
        number = self._control.next_id() if note is None else note
        self._control.check_heard()
        self._add(Kind.NOTE_ON, note=number, pitch=pitch, amount=velocity)

    def note_off(self, pitch: Pitch) -> None:
        """End a note by id (a whole number), else those of that key or name."""
        self._add(Kind.NOTE_OFF, note=_id_in(pitch), pitch=pitch)

    def touch(self, kind: Kind, pitch: Pitch, amount: float, seconds: float) -> None:
        """Bend (cents), press or colour (0..1) a note by id, else those of that key or name."""
        self._control.check_heard()
        samples = self._samples(seconds)
        self._add(kind, note=_id_in(pitch), pitch=pitch, amount=amount, samples=samples)

    def press_pedal(self, kind: Kind, down: bool) -> None:
        """Put the sustain or the sostenuto pedal down, or let it up."""
        if down:
            self._control.check_room()
        self._add(kind, amount=float(down))
        if kind == Kind.SUSTAIN:
            self._set(sustain=down)
        else:
            self._set(sostenuto=down)

    def notes_off(self) -> None:
        """Release the part's notes, whatever its pedals."""
        self._add(Kind.NOTES_OFF)

    # -- what it is set to ------------------------------------------------------------------

    def change_voice(self, voice: Voice) -> None:
        """Give the next notes another voice."""
        if not self._set_up(voice):
            self._give_voice(voice)

    def set_voice(self, parameter: str, value: float, seconds: float) -> None:
        """Move one number of the voice: the notes that sound come to it, the next begin with it."""
        voice = with_parameter(self.state.voice, parameter, value)
        self._set_up()
        number = self._control.hand_over(voice)
        self._add(Kind.REVOICE, value=number, samples=self._samples(seconds))
        self._set(voice=voice)

    def change_layout(self, layout: Layout, glide_s: float, held: Held) -> None:
        """Give the part's keys degrees of their own; held notes follow their keys, or stay."""
        tuning = replace(self._control.state.tuning, layout=layout)
        self._set_up()
        self.lay_keys(tuning, glide_s, held)
        self._set(layout=layout)
        self._control.keys_changed(self.name)

    def lay_keys(self, tuning: Tuning, glide_s: float, held: Held) -> None:
        """Let the part be tuned so, with its own layout."""
        number = self._control.hand_over(tuning)
        self._add(Kind.LAYOUT, samples=self._samples(glide_s), value=number, held=held)

    def change_level(self, level_db: float, seconds: float) -> None:
        """Move the part's level in the whole, its sounding notes with it."""
        self._move(Kind.PART_LEVEL, level_db, seconds)
        self._set(level_db=level_db)

    def change_pan(self, pan: float, seconds: float) -> None:
        """Move the part from left (-1) to right (1), its sounding notes with it."""
        self._move(Kind.PAN, pan, seconds)
        self._set(pan=pan)

    def change_width(self, width: float, seconds: float) -> None:
        """Move how far the part's notes spread around its pan."""
        self._move(Kind.WIDTH, width, seconds)
        self._set(width=width)

    def change_mode(self, mono: bool) -> None:
        """Let the part play one note at a time, or many."""
        self._move(Kind.MODE, float(mono), 0.0)
        self._set(mono=mono)

    def change_limit(self, notes: int) -> None:
        """Let the part sound at most so many notes; 0: as many as there is room for."""
        self._move(Kind.LIMIT, float(notes), 0.0)
        self._set(limit=notes)

    def change_glide(self, seconds: float) -> None:
        """Let the next notes come from the pitch of the one before; 0: no more."""
        self._set_up()
        self._add(Kind.GLIDE, samples=self._samples(seconds))
        self._set(glide_s=seconds)

    def give_again(self) -> None:
        """Give an engine that begins all that the part is set to."""
        state = self.state
        self._give_voice(state.voice)
        if state.layout is not None:
            self.lay_keys(self.tuning, 0.0, Held.FOLLOW)
        self._add(Kind.PART_LEVEL, amount=state.level_db)
        self._add(Kind.PAN, amount=state.pan)
        self._add(Kind.WIDTH, amount=state.width)
        self._add(Kind.MODE, amount=float(state.mono))
        self._add(Kind.LIMIT, amount=float(state.limit))
        self._add(Kind.GLIDE, samples=self._samples(state.glide_s))
        self._add(Kind.SUSTAIN, amount=float(state.sustain))
        self._add(Kind.SOSTENUTO, amount=float(state.sostenuto))

    # -- inside -----------------------------------------------------------------------------

    def _set_up(self, voice: Voice | None = None) -> bool:
        """Make the part if it is not there, with `voice` or that of `main`; tell whether it was."""
        self._control.check_room()
        parts = self._control.state.parts
        if self.name in parts:
            return False
        if len(parts) >= MOST_PARTS:
            raise InvalidValue("part", self.name, f"at most {MOST_PARTS} parts; one that is there")
        self._control.part_made(len(parts), self.name)
        self._give_voice(voice or parts[MAIN].voice)
        return True

    def _give_voice(self, voice: Voice) -> None:
        number = self._control.hand_over(voice)
        self._add(Kind.VOICE, value=number)
        self._set(voice=voice)

    def _move(self, kind: Kind, amount: float, seconds: float) -> None:
        self._set_up()
        self._add(kind, amount=amount, samples=self._samples(seconds))

    def _is_silent(self, tuning: Tuning, key: int) -> bool:
        """Tell whether a key plays nothing; raise InvalidValue the first time it does not."""
        if tuning.degree_of_key(key) is not None:
            return False
        if self._control.first_time(self.name, key):
            allowed = f"a key that plays something in {tuning.layout.label}; it stays silent"
            raise SilentKey("key", key, allowed)
        return True

    def _samples(self, seconds: float) -> int:
        return round(seconds * self._control.engine.rate)

    def _add(self, kind: Kind, **said: Any) -> None:
        self._control.add(Event(kind, part=self.state.number, **said))

    def _set(self, **said: Any) -> None:
        self._control.state = self._control.state.with_part(self.name, replace(self.state, **said))


def _id_in(pitch: Pitch) -> int:
    """Return the id that a whole number may be as well as a key, or none."""
    by_id = pitch.kind == PitchKind.KEY and pitch.value >= 0
    return int(pitch.value) if by_id else NO_NOTE


def describe_pitch(pitch: Pitch) -> str:
    """Return a pitch in words, for messages."""
    if pitch.kind == PitchKind.NAME:
        return str(NoteName.from_chain(int(pitch.value), pitch.octave))
    return f"{pitch.kind.name.lower()} {pitch.value:g}"
