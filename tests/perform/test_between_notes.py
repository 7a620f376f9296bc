"""Glide between the notes of a part: where it begins, its law, and what is told of it."""

import numpy as np
import pytest

import tones
from meantide.perform.event import Event, Kind, OutcomeKind
from meantide.perform.performance import Performance
from meantide.voice.kernel import CELL
from playing import RATE, SINE, decibels, degree, hertz, note, play, tuned

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either


def glide(sample: int, samples: int, part: int = 0) -> Event:
    return Event(Kind.GLIDE, sample, part, samples=samples)


def told(performance: Performance) -> list[tuple[OutcomeKind, int, int, float, int]]:
    kinds = (OutcomeKind.BEGAN, OutcomeKind.MOVED)
    return [(o.kind, o.sample, o.note, o.hz, o.samples) for o in performance.outcomes
            if o.kind in kinds]  # fmt: skip


def test_a_note_comes_from_the_one_before() -> None:
    events = [
        glide(0, 4_800),
        *note(0, 10_000, hertz(330.0), 1),  # the first comes from nowhere
        *note(20_000, None, hertz(440.0), 2),  # long after the other is over
    ]
    samples, performance = play(events, 60_000, level_db=0.0)
    assert told(performance) == [
        (OutcomeKind.BEGAN, 0, 1, 330.0, 0),
        (OutcomeKind.BEGAN, 20_000, 2, pytest.approx(330.0, rel=1e-14), 0),
        (OutcomeKind.MOVED, 20_000, 2, 440.0, 4_800),
    ]
    pieces = [(0, 0, 330.0), (0, 4_800, 440.0)]  # linear in cents; straight within cells
    law = tones.note(RATE, 40_000, pieces, level_db=0.0, attack_s=0.0, cell=CELL)
    heard = samples[20_000:]
    assert decibels(abs(heard - law)[480:].max()) < -110.0
    measured = tones.measure_hz(heard[5_000:], RATE, 440.0)
    assert abs(tones.cents(measured, 440.0)) < 0.001


def test_without_glide_a_note_begins_at_its_own_pitch() -> None:
    events = [glide(0, 4_800), *note(0, None, hertz(330.0), 1), glide(5, 0)]
    _, performance = play([*events, *note(9_000, None, hertz(440.0), 2)], 12_000)
    assert told(performance)[-1] == (OutcomeKind.BEGAN, 9_000, 2, 440.0, 0)


def test_it_starts_where_the_note_before_stands_on_its_own_way() -> None:
    """Half way in cents from 300 to 600 Hz is 300·√2."""
    events = [
        *note(0, None, hertz(300.0), 1),
        glide(1, 4_800),
        *note(10_000, None, hertz(600.0), 2),
        *note(12_400, None, hertz(700.0), 3),
    ]
    _, performance = play(events, 20_000)
    began = [each[3] for each in told(performance) if each[0] == OutcomeKind.BEGAN]
    assert began == [300.0, pytest.approx(300.0), pytest.approx(300.0 * 2**0.5)]


def test_the_bend_of_the_note_before_is_its_own() -> None:
    events = [
        glide(0, 4_800),
        *note(0, None, hertz(300.0), 1),
        Event(Kind.BEND, 1_000, note=1, amount=200.0),
        *note(10_000, None, hertz(600.0), 2),
    ]
    _, performance = play(events, 20_000)
    began = [each[3] for each in told(performance) if each[0] == OutcomeKind.BEGAN]
    assert began == [300.0, pytest.approx(300.0)]


def test_a_note_before_that_was_retuned_is_come_from_where_it_is_now() -> None:
    events = [
        glide(0, 2_400),
        *note(0, None, degree(9), 1),
        Event(Kind.TUNING, 5_000, value=2),
        *note(10_000, None, degree(12), 2),
    ]
    _, performance = play(events, 20_000, tunings=[tuned(12), tuned(12, "A4=415")])
    assert told(performance)[-2][:4] == (OutcomeKind.BEGAN, 10_000, 2, pytest.approx(415.0))


def test_a_retune_on_the_way_leads_on_from_there() -> None:
    events = [
        *note(0, None, degree(9), 1),
        glide(1, 4_800),
        *note(6_000, None, degree(21), 2),
        Event(Kind.TUNING, 8_400, value=2, samples=600),
    ]
    samples, performance = play(events, 40_000, tunings=[tuned(12), tuned(12, "A4=432")])
    assert told(performance)[-1] == (OutcomeKind.MOVED, 8_400, 2, pytest.approx(864.0), 600)
    fit = tones.fit_lines(samples[10_000:], RATE, [432.0, 864.0])
    assert abs(tones.cents(fit.hz[1], 864.0)) < 0.001
    assert fit.residual_db < -110.0


def test_each_part_comes_from_its_own_last_note() -> None:
    performance = Performance(RATE, 4_096, 8)
    for part in (0, 1):
        performance.hand_over(part + 1, SINE)
        performance.schedule(Event(Kind.VOICE, 0, part, value=part + 1))
        performance.schedule(glide(0, 480, part))
    for number, (part, hz) in enumerate([(0, 300.0), (1, 500.0), (0, 400.0), (1, 600.0)]):
        [on] = note(number * 900, None, hertz(hz), number)
        performance.schedule(on._replace(part=part))
    performance.fill(np.zeros((2, 4_096), np.float32))
    began = [each[3] for each in told(performance) if each[0] == OutcomeKind.BEGAN]
    assert began == [300.0, 500.0, pytest.approx(300.0), pytest.approx(500.0)]
