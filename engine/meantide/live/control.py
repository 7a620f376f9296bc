"""The control side: what messages mean, checked against what is tuned now, as events.

`Control` keeps a mirror of what the audio side will have once all that was sent has acted.
Its methods raise InvalidValue, and change nothing, for what cannot be obeyed.
"""

import threading
from collections.abc import Callable
from dataclasses import replace
from itertools import count
from typing import Protocol

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue, not_found
from meantide.live.audio_side import AudioSide
from meantide.live.part_control import PartControl
from meantide.live.state import State
from meantide.perform.event import ALL_PARTS, AT_ONCE, NO_NOTE, Event, Held, Kind
from meantide.pitch import Anchor, Layout, NoteName, Scale, Tuning
from meantide.pitch.air import Air, anchor_in, stated_air
from meantide.voice.voices import Voice

HORIZON_S = 60.0
"""Events dated further ahead are refused."""


class NoRoom(InvalidValue):
    """Refused because the audio side does not keep up, not for what was asked."""


class AudioAway(NoRoom):
    """Refused because there is no audio process, nor another yet: a note would be lost."""

    def __str__(self) -> str:
        return f"audio is away; allowed: {self.allowed}"


class Witness(Protocol):
    """Who is told of what the events do not say themselves: the journal wants it."""

    def value_handed_over(self, number: int, value: Tuning | Voice) -> None:
        """Hear of a tuning or voice given to the engine."""

    def part_made(self, number: int, name: str) -> None:
        """Hear of a part that was made."""


class Control:
    """Turns requests into events for `engine`; events gather until `commit` sends them together.

    `witness`, if there is one, is told of what the events name by number.
    """

    def __init__(
        self, engine: AudioSide, catalogue: Catalogue, state: State, witness: Witness | None = None
    ) -> None:
        self.engine, self.catalogue, self.state = engine, catalogue, state
        self._witness = witness
        self.turn = threading.RLock()
        """Held by whoever makes requests, from `begin` to `commit`."""
        self._pending: list[Event] = []
        self._values: list[Tuning | Voice] = []
        self._made: list[tuple[int, str]] = []
        self._later: list[Callable[[], None]] = []
        self._before = state
        self._sample = AT_ONCE
        self._auto_ids = count(NO_NOTE - 1, -1)
        self._told_silent: dict[str, set[int]] = {}
        """Keys struck, by part, that play nothing in the layout there is; said once of each."""

    def start(self, fade_s: float) -> None:
        """Give the engine all that is set, and bring the level up from silence.

        An engine that begins has none of it, nor one that takes over from another.
        """
        with self.turn:
            self.begin(None)
            self.change_tuning(self.state.tuning, 0.0, Held.FOLLOW)
            for name in self.state.parts:
                PartControl(self, name).give_again()
            self.change_level(self.state.level_db, fade_s)
            self.commit()

    def begin(self, wall_s: float | None) -> None:
        """Begin requests that act together or not at all, at once or at a wall time.

        Raises InvalidValue as `date` does.
        """
        self._forget()
        self._before = self.state
        self.date(wall_s)

    def date(self, wall_s: float | None) -> None:
        """Let the requests that follow act at a wall time; None: at once.

        Raises InvalidValue for a time beyond the horizon.
        """
        self._sample = AT_ONCE
        if wall_s is None:
            return
        sample = self.engine.sample_at(wall_s)
        if sample > self.engine.sample + HORIZON_S * self.engine.rate:
            raise InvalidValue("timetag", wall_s, f"a time within {HORIZON_S:g} s from now")
        self._sample = max(sample, 0)

    def commit(self) -> None:
        """Send what was requested since `begin`, with the values that it names."""
        numbers = {}
        for place, value in enumerate(self._values, 1):
            numbers[-place] = number = self.engine.hand_over(value)
            if self._witness is not None:
                self._witness.value_handed_over(number, value)
        if self._witness is not None:
            for made in self._made:
                self._witness.part_made(*made)
        events = [
            event._replace(value=numbers[event.value]) if event.value < 0 else event
            for event in self._pending
        ]
        later = self._later
        self._forget()
        self.engine.send(events)
        for act in later:
            act()

    def abandon(self) -> None:
        """Undo what was requested since `begin`."""
        self._forget()
        self.state = self._before

    def _forget(self) -> None:
        self._pending, self._values, self._made, self._later = [], [], [], []

    # -- requests ---------------------------------------------------------------------------

    def part(self, name: str) -> PartControl:
        """Return what requests to the part of that name are put to; NotFound if there is none."""
        if name not in self.state.parts:
            raise not_found("part", name, self.state.parts)
        return PartControl(self, name)

    def part_to_be(self, name: str) -> PartControl:
        """Return the same of a part that may be made by the request."""
        return PartControl(self, name)

    def notes_off(self) -> None:
        """Release every note, whatever the pedals."""
        self.add(Event(Kind.NOTES_OFF, part=ALL_PARTS))

    def sound_off(self) -> None:
        """Silence everything within 5 ms."""
        self.add(Event(Kind.SOUND_OFF, part=ALL_PARTS))

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
        """Put another tuning in place; held notes follow over `glide_s`, or stay.

        Parts with a layout of their own keep it.
        """
        own = self._own_tunings(tuning)
        number = self.hand_over(tuning)
        samples = round(glide_s * self.engine.rate)
        self.add(Event(Kind.TUNING, samples=samples, value=number, held=held))
        for name, part_tuning in own.items():
            PartControl(self, name).lay_keys(part_tuning, glide_s, held)
        if tuning.layout != self.state.tuning.layout:
            for name in self.state.parts.keys() - own.keys():
                self.keys_changed(name)
        self.state = replace(self.state, tuning=tuning)

    def _own_tunings(self, tuning: Tuning) -> dict[str, Tuning]:
        """Return `tuning` as the parts have it whose layout is their own, if it moves them."""
        now = self.state.tuning
        if (tuning.scale, tuning.anchor) == (now.scale, now.anchor):
            return {}
        own = {}
        for name, part in self.state.parts.items():
            if part.layout is not None:
                try:
                    own[name] = replace(tuning, layout=part.layout)
                except InvalidValue as error:
                    raise error.at(f"part {name}") from None
        return own

    def change_level(self, level_db: float, seconds: float) -> None:
        """Move the level of everything."""
        self.check_room()
        samples = round(seconds * self.engine.rate)
        self.add(Event(Kind.LEVEL, part=ALL_PARTS, amount=level_db, samples=samples))
        self.state = replace(self.state, level_db=level_db)

    # -- what the parts' requests are made with ---------------------------------------------

    def check_room(self) -> None:
        """Raise InvalidValue if the audio side does not keep up."""
        if not self.engine.has_room:
            raise NoRoom("message", "too many at once", "what ends sound, until we keep up")

    def check_heard(self) -> None:
        """Raise InvalidValue if a note would be lost: without audio, or one that lags behind."""
        if self.engine.away:
            raise AudioAway("audio", "away", "what is set, and kept; notes when audio is back")
        self.check_room()

    def later(self, act: Callable[[], None]) -> None:
        """Do what is no event once all else is known to be obeyed."""
        self._later.append(act)

    def add(self, event: Event) -> None:
        """Let an event be sent with the others of its group."""
        self._pending.append(event._replace(sample=self._sample))

    def hand_over(self, value: Tuning | Voice) -> int:
        """Return the number by which events name a value, which `commit` makes ready.

        It is below 0, and stands for the one the engine will give.
        """
        self.check_room()
        self._values.append(value)
        return -len(self._values)

    def part_made(self, number: int, name: str) -> None:
        """Let a part that was made be known."""
        self._made.append((number, name))

    def next_id(self) -> int:
        """Return an id that no player gives."""
        return next(self._auto_ids)

    def first_time(self, part: str, key: int) -> bool:
        """Tell whether a key of a part, which plays nothing, is struck the first time."""
        told = self._told_silent.setdefault(part, set())
        if key in told:
            return False
        told.add(key)
        return True

    def keys_changed(self, part: str) -> None:
        """Forget which keys of a part played nothing."""
        self._told_silent.pop(part, None)
