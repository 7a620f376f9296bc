"""The control side: what messages mean, checked against what is tuned now, as events.

`Control` keeps a mirror of what the audio side will have once all that was sent has acted.
Its methods raise InvalidValue, and change nothing, for what cannot be obeyed.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.live.engine import Engine
from meantide.perform.event import (
    ALL_PARTS,
    AT_ONCE,
    NO_NOTE,
    Event,
    Held,
    Kind,
    Pitch,
    PitchKind,
)
from meantide.perform.sounding_pitch import pitch_hz
from meantide.pitch import Anchor, Layout, NoteName, Scale, Tuning
from meantide.pitch.air import Air, anchor_in, stated_air
from meantide.voice.parameters import with_parameter
from meantide.voice.voices import Voice

HORIZON_S = 60.0
"""Events dated further ahead are refused."""

HandedOver = Callable[[int, Tuning | Voice], None]


@dataclass(frozen=True, slots=True)
class State:
    """What is tuned, how it sounds, and what lies under the player's feet."""

    tuning: Tuning
    voice: Voice
    level_db: float
    glide_s: float = 0.0
    """How long a note comes from the one before; 0: it begins at its own pitch."""
    sustain: bool = False
    sostenuto: bool = False


class Control:
    """Turns requests into events for `engine`; events gather until `commit` sends them together.

    `handed_over` is told of every tuning and voice given to the engine (the journal wants them).
    """

    def __init__(
        self, engine: Engine, catalogue: Catalogue, state: State, handed_over: HandedOver
    ) -> None:
        self.engine, self.catalogue, self.state = engine, catalogue, state
        self._handed_over = handed_over
        self._pending: list[Event] = []
        self._sample = AT_ONCE
        self._auto_ids = count(NO_NOTE - 1, -1)
        self._told_silent: set[int] = set()
        """Keys struck that play nothing in the layout there is; said once of each."""

    def start(self, fade_s: float) -> None:
        """Give the engine its first tuning and voice, and bring the level up from silence."""
        self.change_tuning(self.state.tuning, 0.0, Held.FOLLOW)
        self.change_voice(self.state.voice)
        self.change_level(self.state.level_db, fade_s)
        self.commit()

    def begin(self, wall_s: float | None) -> None:
        """Begin a group of requests that act together: at once, or at a wall time.

        Raises InvalidValue for a time beyond the horizon.
        """
        self._pending.clear()
        self._sample = AT_ONCE
        if wall_s is None:
            return
        sample = self.engine.sample_at(wall_s)
        if sample > self.engine.sample + HORIZON_S * self.engine.rate:
            raise InvalidValue("timetag", wall_s, f"a time within {HORIZON_S:g} s from now")
        self._sample = max(sample, 0)

    def commit(self) -> None:
        """Send the group."""
        events, self._pending = self._pending, []
        self.engine.send(events)

    # -- requests ---------------------------------------------------------------------------

    def note_on(self, pitch: Pitch, velocity: float, note: int | None) -> None:
        """Begin a note; one given no id gets one of the engine's own.

        A key that plays nothing in the layout is refused the first time, and then let pass.
        """
        if pitch.kind == PitchKind.KEY and self._is_silent(int(pitch.value)):
            return
        if pitch_hz(self.state.tuning, pitch, self.engine.rate) is None:
            scale = self.state.tuning.scale.label
            allowed = f"a pitch that {scale} has, between 0.01 Hz and half the sample rate"
            raise InvalidValue("pitch", describe_pitch(pitch), allowed)
        number = next(self._auto_ids) if note is None else note
        self._check_room()
        self._add(Event(Kind.NOTE_ON, note=number, pitch=pitch, amount=velocity))

    def note_off(self, pitch: Pitch) -> None:
        """End a note by id (a whole number), else those of that key or name."""
        self._add(Event(Kind.NOTE_OFF, note=_id_in(pitch), pitch=pitch))

    def touch(self, kind: Kind, pitch: Pitch, amount: float, seconds: float) -> None:
        """Bend (cents), press or colour (0..1) a note by id, else those of that key or name."""
        self._check_room()
        samples = round(seconds * self.engine.rate)
        self._add(Event(kind, note=_id_in(pitch), pitch=pitch, amount=amount, samples=samples))

    def press_pedal(self, kind: Kind, down: bool) -> None:
        """Put the sustain or the sostenuto pedal down, or let it up."""
        if down:
            self._check_room()
        self._add(Event(kind, amount=float(down)))
        if kind == Kind.SUSTAIN:
            self.state = replace(self.state, sustain=down)
        else:
            self.state = replace(self.state, sostenuto=down)

    def change_glide(self, seconds: float) -> None:
        """Let the next notes come from the pitch of the one before; 0: no more."""
        self._check_room()
        self._add(Event(Kind.GLIDE, samples=round(seconds * self.engine.rate)))
        self.state = replace(self.state, glide_s=seconds)

    def notes_off(self) -> None:
        """Release every note, whatever the pedals."""
        self._add(Event(Kind.NOTES_OFF, part=ALL_PARTS))

    def sound_off(self) -> None:
        """Silence everything within 5 ms."""
        self._add(Event(Kind.SOUND_OFF, part=ALL_PARTS))

    def change_scale(self, scale: Scale, glide_s: float, held: Held) -> None:
        """Put another scale under the same anchor."""
        tuning = self.state.tuning
        self.change_tuning(replace(tuning, scale=scale), glide_s, held)

    def change_layout(self, layout: Layout, glide_s: float, held: Held) -> None:
        """Give the keys other degrees; held notes follow their keys, or stay."""
        self.change_tuning(replace(self.state.tuning, layout=layout), glide_s, held)

    def change_anchor(self, hz: float, note: NoteName | None, glide_s: float) -> None:
        """Give another frequency to the anchored note, or to the note named."""
        now = self.state.tuning.anchor
        if note is None:
            anchor = Anchor(hz, note=now.note, degree=now.degree)
        else:
            anchor = Anchor(hz, note=note)
        self.move_anchor(anchor, glide_s)

    def move_anchor(self, anchor: Anchor, glide_s: float) -> None:
        """Put another anchor under the same scale."""
        self.change_tuning(replace(self.state.tuning, anchor=anchor), glide_s, Held.FOLLOW)

    def warm_anchor(self, celsius: float, glide_s: float) -> None:
        """Move the anchor to where an ideal column of dry air has it at another temperature.

        The anchor must state its own; after that it states the new one.
        """
        anchor = self.state.tuning.anchor
        self.move_anchor(anchor_in(anchor, stated_air(anchor), Air(celsius)), glide_s)

    def change_tuning(self, tuning: Tuning, glide_s: float, held: Held) -> None:
        """Put another tuning in place; held notes follow over `glide_s`, or stay."""
        number = self._hand_over(tuning)
        samples = round(glide_s * self.engine.rate)
        self._add(Event(Kind.TUNING, samples=samples, value=number, held=held))
        if tuning.layout != self.state.tuning.layout:
            self._told_silent.clear()
        self.state = replace(self.state, tuning=tuning)

    def change_voice(self, voice: Voice) -> None:
        """Give the next notes another voice."""
        self._add(Event(Kind.VOICE, value=self._hand_over(voice)))
        self.state = replace(self.state, voice=voice)

    def set_voice(self, parameter: str, value: float, seconds: float) -> None:
        """Move one number of the voice: the notes that sound come to it, the next begin with it."""
        voice = with_parameter(self.state.voice, parameter, value)
        samples = round(seconds * self.engine.rate)
        self._add(Event(Kind.REVOICE, value=self._hand_over(voice), samples=samples))
        self.state = replace(self.state, voice=voice)

    def change_level(self, level_db: float, seconds: float) -> None:
        """Move the level of everything."""
        self._check_room()
        samples = round(seconds * self.engine.rate)
        self._add(Event(Kind.LEVEL, part=ALL_PARTS, amount=level_db, samples=samples))
        self.state = replace(self.state, level_db=level_db)

    # -- inside -----------------------------------------------------------------------------

    def _is_silent(self, key: int) -> bool:
        """Tell whether a key plays nothing; raise InvalidValue the first time it does not."""
        tuning = self.state.tuning
        if tuning.degree_of_key(key) is not None:
            return False
        if key not in self._told_silent:
            self._told_silent.add(key)
            allowed = f"a key that plays something in {tuning.layout.label}; it stays silent"
            raise InvalidValue("key", key, allowed)
        return True

    def _check_room(self) -> None:
        if not self.engine.has_room:
            raise InvalidValue("message", "too many at once", "what ends sound, until we keep up")

    def _add(self, event: Event) -> None:
        self._pending.append(event._replace(sample=self._sample))

    def _hand_over(self, value: Tuning | Voice) -> int:
        self._check_room()
        number = self.engine.hand_over(value)
        self._handed_over(number, value)
        return number


def _id_in(pitch: Pitch) -> int:
    """Return the id that a whole number may be as well as a key, or none."""
    by_id = pitch.kind == PitchKind.KEY and pitch.value >= 0
    return int(pitch.value) if by_id else NO_NOTE


def describe_pitch(pitch: Pitch) -> str:
    """Return a pitch in words, for messages."""
    if pitch.kind == PitchKind.NAME:
        return str(NoteName.from_chain(int(pitch.value), pitch.octave))
    return f"{pitch.kind.name.lower()} {pitch.value:g}"
