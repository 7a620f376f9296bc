"""Pedals: what a piano's dampers do. The action of both pedals: common practice, no source."""

from itertools import product

import numpy as np
import pytest

from meantide.perform.event import ALL_PARTS, Event, Kind, OutcomeKind
from meantide.perform.performance import Performance
from playing import hertz, key, note, play, saw, tuned

VOICE = saw(2)


def sustain(sample: int, amount: float, part: int = 0) -> Event:
    return Event(Kind.SUSTAIN, sample, part, amount=amount)


def sostenuto(sample: int, amount: float, part: int = 0) -> Event:
    return Event(Kind.SOSTENUTO, sample, part, amount=amount)


def let_go(performance: Performance) -> list[tuple[int, int]]:
    """Return when which note was let go."""
    kind = OutcomeKind.RELEASED
    return [(told.sample, told.note) for told in performance.outcomes if told.kind == kind]


def released(events: list[Event]) -> list[tuple[int, int]]:
    return let_go(play(events, 12_000, voice=VOICE, tunings=[tuned(12)])[1])


def test_sustain_lets_notes_ring_until_it_is_lifted() -> None:
    events = [
        sustain(500, 1.0),
        *note(0, 1_000, hertz(300.0), 1),  # struck before it went down
        *note(800, 1_500, hertz(400.0), 2),
        *note(900, 6_000, hertz(500.0), 3),  # its key is still down when the pedal comes up
        sustain(4_001, 0.0),
    ]
    assert released(events) == [(4_001, 1), (4_001, 2), (6_000, 3)]


def test_the_ringing_is_heard() -> None:
    events = [sustain(0, 1.0), *note(0, 1_000, hertz(300.0), 1), sustain(6_000, 0.0)]
    samples, performance = play(events, 12_000, voice=VOICE)
    assert abs(samples[4_000:6_000]).max() > 0.2
    assert not samples[6_000 + 360 + 64 :].any()
    assert len(performance.notes) == 0


def test_sostenuto_keeps_only_what_sounds_when_it_goes_down() -> None:
    events = [
        *note(0, 1_000, hertz(300.0), 1),
        *note(0, 400, hertz(350.0), 2),  # over before
        sostenuto(500, 1.0),
        *note(600, 1_200, hertz(400.0), 3),  # struck after
        sostenuto(5_000, 0.0),
    ]
    assert released(events) == [(400, 2), (1_200, 3), (5_000, 1)]


def test_sostenuto_down_again_without_coming_up_catches_nothing_new() -> None:
    events = [
        sostenuto(0, 1.0),
        *note(100, 1_000, hertz(300.0), 1),
        sostenuto(500, 1.0),
        sostenuto(5_000, 0.0),
    ]
    assert released(events) == [(1_000, 1)]


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        # Four notes: 1 has its key down throughout what the pedals do; 2 has it down when the
        # sostenuto goes down; 3 rings by the sustain pedal then; 4 is struck after that.
        ("sustain up first", [(4_000, 4), (5_000, 2), (5_000, 3), (9_000, 1)]),
        ("sostenuto up first", [(5_000, 2), (5_000, 3), (5_000, 4), (9_000, 1)]),
    ],
)
def test_the_two_combine(order: str, expected: list[tuple[int, int]]) -> None:
    """The sostenuto pedal catches every damper that is up: those the sustain pedal holds too."""
    first, second = (sustain, sostenuto) if order == "sustain up first" else (sostenuto, sustain)
    events = [
        sustain(100, 1.0),
        *note(200, 9_000, hertz(300.0), 1),
        *note(200, 2_500, hertz(350.0), 2),
        *note(200, 1_000, hertz(400.0), 3),
        sostenuto(2_000, 1.0),
        *note(2_200, 3_000, hertz(450.0), 4),
        first(4_000, 0.0),
        second(5_000, 0.0),
    ]
    assert released(events) == expected


@pytest.mark.parametrize(
    ("key_down", "caught", "pedal"), list(product((False, True), (False, True), (False, True)))
)
def test_a_damper_is_up_while_anything_holds_it(key_down: bool, caught: bool, pedal: bool) -> None:
    """Every combination of the three things that can hold one note, at sample 3000."""
    events = [*note(0, None if key_down else 2_000, hertz(300.0), 1)]
    if caught:
        events.append(sostenuto(1_000, 1.0))
    if pedal:
        events.append(sustain(1_500, 1.0))
    _, performance = play(events, 3_000)
    assert (not let_go(performance)) == (key_down or caught or pedal)


@pytest.mark.parametrize("kind", [Kind.NOTES_OFF, Kind.SOUND_OFF])
def test_everything_goes_whatever_the_pedals(kind: Kind) -> None:
    events = [
        *note(0, 1_000, hertz(300.0), 1),
        sostenuto(500, 1.0),
        sustain(600, 1.0),
        *note(700, 900, hertz(400.0), 2),
        *note(700, None, hertz(500.0), 3),
        Event(kind, 2_000, ALL_PARTS),
    ]
    _, performance = play(events, 6_000)
    assert sorted(let_go(performance)) == [(2_000, 1), (2_000, 2), (2_000, 3)]
    assert len(performance.notes) == 0


def test_an_id_struck_again_lets_its_ringing_note_go() -> None:
    events = [
        sustain(0, 1.0),
        *note(0, 1_000, hertz(300.0), 1),
        *note(2_000, 3_000, hertz(400.0), 1),
        sustain(4_000, 0.0),
    ]
    assert released(events) == [(2_000, 1), (4_000, 1)]


def test_a_note_off_by_pitch_waits_for_the_pedal_too() -> None:
    events = [
        sustain(0, 1.0),
        *note(0, None, key(64), -2),
        Event(Kind.NOTE_OFF, 1_000, pitch=key(64)),
        *note(1_500, None, key(64), -3),
        sustain(2_000, 0.0),  # the second has its key down
        Event(Kind.NOTE_OFF, 3_000, pitch=key(64)),
    ]
    assert released(events) == [(2_000, -2), (3_000, -3)]


def test_a_part_has_pedals_of_its_own() -> None:
    performance = Performance(48_000, 4_096, 8)
    for number, part in ((1, 0), (2, 1)):
        performance.hand_over(number, VOICE)
        performance.schedule(Event(Kind.VOICE, 0, part, value=number))
        on, off = note(0, 1_000, hertz(300.0), number)
        performance.schedule(on._replace(part=part))
        performance.schedule(off._replace(part=part))
    performance.schedule(sustain(0, 1.0, part=1))
    performance.schedule(sustain(3_000, 0.0, part=ALL_PARTS))
    performance.fill(np.zeros((2, 4_096), np.float32))
    assert let_go(performance) == [(1_000, 1), (3_000, 2)]


def test_lifting_a_pedal_is_never_refused_for_want_of_room() -> None:
    """As the end of a note is not: a flood must not leave notes ringing."""
    assert sustain(0, 0.0).ends_sound
    assert sostenuto(0, 0.49).ends_sound
    assert not sustain(0, 1.0).ends_sound
    assert not Event(Kind.PRESSURE).ends_sound
