"""What addresses do that is more than one call of the control."""

from collections.abc import Callable

from meantide.errors import InvalidValue
from meantide.live.arguments import LONGEST_S, number, text
from meantide.live.control import Control
from meantide.live.part_control import PartControl
from meantide.osc.values import Argument
from meantide.perform.event import Held, Kind, Pitch, PitchKind
from meantide.pitch import NoteName, Scale


def degree_on(part: PartControl, degree: int, velocity: float, note: int | None = None) -> None:
    """Begin a note by its degree."""
    part.note_on(Pitch(PitchKind.DEGREE, float(degree)), velocity, note)


def hertz_on(part: PartControl, hz: float, velocity: float, note: int | None = None) -> None:
    """Begin a note by its frequency."""
    part.note_on(Pitch(PitchKind.HERTZ, hz), velocity, note)


def touch(kind: Kind) -> Callable[..., None]:
    """Return what moves a note so."""

    def act(part: PartControl, note: Pitch, amount: float, seconds: float = 0.0) -> None:
        part.touch(kind, note, amount, seconds)

    return act


def pedal(kind: Kind) -> Callable[..., None]:
    """Return what presses that pedal."""

    def act(part: PartControl, down: bool) -> None:
        part.press_pedal(kind, down)

    return act


def scale(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    """Put a scale of the catalogue in place."""
    control.change_scale(control.catalogue.scale(name), glide_s, held)


def scale_equal(control: Control, parts: int, glide_s: float = 0.0) -> None:
    """Put equal parts of the octave in place."""
    control.change_scale(Scale.equal(parts, name=f"{parts}-equal"), glide_s, Held.FOLLOW)


def layout(control: Control, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW) -> None:
    """Put a layout of the catalogue in place."""
    control.change_layout(control.catalogue.layout(name), glide_s, held)


def part_layout(
    part: PartControl, name: str, glide_s: float = 0.0, held: Held = Held.FOLLOW
) -> None:
    """Give a part a layout of its own."""
    part.change_layout(part.catalogue.layout(name), glide_s, held)


def anchor(control: Control, hz: float, *rest: Argument) -> None:
    """Read Hz, [note name], [glide]; the glide may stand without a name."""
    left = list(rest)
    note = NoteName.parse(text(left.pop(0))) if left and isinstance(left[0], str) else None
    glide_s = number(0.0, LONGEST_S)(left.pop(0)) if left else 0.0
    if left:
        raise InvalidValue("arguments", f"{1 + len(rest)} of them", "Hz, [note name], [glide]")
    control.change_anchor(hz, note, glide_s)


def anchor_preset(control: Control, name: str, glide_s: float = 0.0) -> None:
    """Put an anchor of the catalogue in place."""
    control.move_anchor(control.catalogue.anchor(name), glide_s)


def anchor_celsius(control: Control, celsius: float, glide_s: float = 0.0) -> None:
    """Move the anchor as the room warms."""
    control.warm_anchor(celsius, glide_s)


def voice(part: PartControl, name: str) -> None:
    """Give a part a voice of the catalogue."""
    part.change_voice(part.catalogue.voice(name))


def voice_set(part: PartControl, parameter: str, value: float, seconds: float = 0.0) -> None:
    """Move one number of a part's voice."""
    part.set_voice(parameter, value, seconds)


def moves(move: Callable[[PartControl, float, float], None]) -> Callable[..., None]:
    """Return what moves a part so; at once, if no seconds are given."""

    def act(part: PartControl, amount: float, seconds: float = 0.0) -> None:
        move(part, amount, seconds)

    return act


def mode(part: PartControl, name: str) -> None:
    """Let a part play one note at a time, or many."""
    part.change_mode(name == "mono")


def level(control: Control, level_db: float, seconds: float = 0.0) -> None:
    """Move the level of everything."""
    control.change_level(level_db, seconds)


def meter_reset(control: Control) -> None:
    """Let the meter begin anew."""
    control.later(control.engine.meter.ask_reset)
