"""Parts that play one note at a time: what a player's fingers do, and what is heard of it."""

import math

import numpy as np
import pytest

import tones
from meantide.perform.event import ALL_PARTS, NO_NOTE, Event, Kind, OutcomeKind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, Scale, TableLayout, Tuning
from meantide.voice.envelope import Envelope
from playing import RATE, decibels, degree, hertz, key, note, play, saw, tuned

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
MONO = Event(Kind.MODE, 0, amount=1.0)
SLOW = saw(1, Envelope(attack_s=0.25, decay_s=0.01, sustain_db=0.0, release_s=0.5))
SHORTEST = RATE * 5 // 1000


def off(sample: int, number: int) -> Event:
    return Event(Kind.NOTE_OFF, sample, note=number)


def glide(seconds: float) -> Event:
    return Event(Kind.GLIDE, 0, samples=round(seconds * RATE))


def told(performance: Performance, *kinds: OutcomeKind) -> list[tuple[str, int, int]]:
    return [(o.kind.name, o.sample, o.note) for o in performance.outcomes if o.kind in kinds]


def way(performance: Performance) -> list[tuple[int, int, float, int]]:
    """Return where the pitch goes: sample, note, Hz (rounded), samples."""
    kinds = (OutcomeKind.BEGAN, OutcomeKind.MOVED)
    return [
        (o.sample, o.note, round(o.hz, 6), o.samples)
        for o in performance.outcomes
        if o.kind in kinds
    ]


def test_a_new_key_takes_over_and_the_note_glides_on_without_a_new_attack() -> None:
    events = [
        MONO,
        glide(0.1),
        *note(0, None, hertz(400.0), 1, 0.5),
        *note(30_000, None, hertz(600.0), 2, 0.5),
    ]
    samples, performance = play(events, 60_000, voice=SLOW, level_db=0.0)
    assert way(performance) == [(0, 1, 400.0, 0), (30_000, 2, 600.0, 4_800)]
    assert told(performance, OutcomeKind.PASSED) == [("PASSED", 30_000, 2)]
    assert [each.id for each in performance.notes] == [2]
    middle = 400.0 * math.sqrt(1.5)  # half way in cents
    assert tones.measure_hz(samples[32_400 - 480 : 32_400 + 480], RATE, middle) == pytest.approx(
        middle, rel=2e-3
    )
    fit = tones.fit_lines(samples[36_000:], RATE, [600.0])
    assert abs(tones.cents(fit.hz[0], 600.0)) < 0.001
    assert fit.residual_db < -100.0  # nothing of 400 Hz is left
    peaks = np.abs(samples[20_000:59_900].reshape(-1, 300)).max(axis=1)
    assert peaks.min() > 0.98 * peaks.max()  # the tone neither stops nor starts anew


def test_without_glide_it_is_there_in_5_ms() -> None:
    events = [MONO, *note(0, None, hertz(400.0), 1), *note(9_000, None, hertz(600.0), 2)]
    _, performance = play(events, 12_000)
    assert way(performance)[-1] == (9_000, 2, 600.0, SHORTEST)


def test_it_returns_to_the_latest_key_that_is_still_down() -> None:
    """Three keys down; the first is let up unheard, the third gives way to the second."""
    events = [
        MONO,
        *note(0, None, hertz(300.0), 1),
        *note(4_000, None, hertz(400.0), 2),
        *note(8_000, None, hertz(500.0), 3),
        off(12_000, 1),
        off(16_000, 3),
        off(20_000, 2),
    ]
    samples, performance = play(events, 24_000, voice=saw(1))
    assert way(performance) == [
        (0, 1, 300.0, 0),
        (4_000, 2, 400.0, SHORTEST),
        (8_000, 3, 500.0, SHORTEST),
        (16_000, 2, 400.0, SHORTEST),
    ]
    assert told(performance, OutcomeKind.RELEASED) == [("RELEASED", 20_000, 2)]
    for start, end, hz in ((12_500, 15_900, 500.0), (16_500, 19_900, 400.0)):
        fit = tones.fit_lines(samples[start:end], RATE, [hz])
        assert abs(tones.cents(fit.hz[0], hz)) < 0.001
        assert fit.residual_db < -100.0
    assert not performance.notes


def test_keys_one_after_the_other_are_struck_each_and_only_one_is_heard() -> None:
    events = [
        MONO,
        *note(0, 20_000, hertz(400.0), 1, 0.5),  # it rings for half a second
        *note(24_000, None, hertz(600.0), 2, 0.5),
    ]
    samples, performance = play(events, 60_000, voice=SLOW)
    began = told(performance, OutcomeKind.BEGAN, OutcomeKind.PASSED)
    assert began == [("BEGAN", 0, 1), ("BEGAN", 24_000, 2)]
    fit = tones.fit_lines(samples[24_000 + 2 * SHORTEST :], RATE, [400.0, 600.0])
    assert fit.level_db[0] < -60.0
    assert np.abs(samples[24_000:25_000]).max() < np.abs(samples[22_000:24_000]).max()  # its attack
    assert len(performance.notes) == 1


def test_the_former_note_is_over_and_its_id_is_free() -> None:
    events = [
        MONO,
        *note(0, None, hertz(300.0), 1),
        *note(4_000, None, hertz(400.0), 2),
        off(6_000, 1),
        *note(8_000, None, hertz(500.0), 1),
        off(9_000, 1),
        off(10_000, 2),
    ]
    _, performance = play(events, 14_000)
    assert [hz for _, _, hz, _ in way(performance)] == [300.0, 400.0, 500.0, 400.0]
    assert told(performance, OutcomeKind.RELEASED) == [("RELEASED", 10_000, 2)]


def test_keys_without_ids_are_let_up_by_their_pitch() -> None:
    events = [
        MONO,
        *note(0, None, key(60), -2),
        *note(2_000, None, key(64), -3),
        Event(Kind.NOTE_OFF, 4_000, pitch=key(64)),
        Event(Kind.NOTE_OFF, 6_000, pitch=key(60)),
    ]
    _, performance = play(events, 9_000, tunings=[tuned(12)])
    assert [each[1] for each in way(performance)] == [-2, -3, -2]
    assert told(performance, OutcomeKind.RELEASED) == [("RELEASED", 6_000, -2)]


def test_the_sustain_pedal_lets_the_last_key_ring_and_the_next_takes_over() -> None:
    events = [
        MONO,
        Event(Kind.SUSTAIN, 0, amount=1.0),
        *note(0, 2_000, hertz(300.0), 1),
        *note(4_000, 6_000, hertz(400.0), 2),
        Event(Kind.SUSTAIN, 9_000, amount=0.0),
    ]
    _, performance = play(events, 12_000)
    assert told(performance, OutcomeKind.PASSED, OutcomeKind.RELEASED) == [
        ("PASSED", 4_000, 2),
        ("RELEASED", 9_000, 2),
    ]


def test_each_key_keeps_its_own_bend() -> None:
    events = [
        MONO,
        *note(0, None, hertz(400.0), 1),
        Event(Kind.BEND, 1_000, note=1, amount=50.0),
        *note(4_000, None, hertz(500.0), 2),
        Event(Kind.BEND, 6_000, note=1, amount=100.0),  # not heard now
        off(8_000, 2),
    ]
    samples, performance = play(events, 30_000)
    assert way(performance)[-1][2] == pytest.approx(400.0 * 2 ** (1 / 12), abs=1e-5)
    expected = 400.0 * 2 ** (1 / 12)
    assert abs(tones.cents(tones.measure_hz(samples[9_000:], RATE, expected), expected)) < 0.001
    assert (4_000, 2, 500.0, SHORTEST) in way(performance)


def test_keys_that_wait_follow_the_tuning() -> None:
    events = [
        MONO,
        *note(0, None, degree(9), 1),
        *note(2_000, None, degree(12), 2),
        Event(Kind.TUNING, 4_000, value=2),
        off(6_000, 2),
    ]
    _, performance = play(events, 9_000, tunings=[tuned(12), tuned(12, "A4=415")])
    assert way(performance)[-1][2] == pytest.approx(415.0)


def test_an_id_struck_in_another_part_is_no_key_of_this_one_any_more() -> None:
    events = [
        MONO,
        *note(0, None, hertz(300.0), 6),
        *note(1_000, None, hertz(400.0), 7),
        Event(Kind.VOICE, 0, 1, value=5),
        *[each._replace(part=1) for each in note(4_000, None, hertz(500.0), 7)],
        off(8_000, 6),
    ]
    _, performance = play(events, 12_000, values={5: saw(1)})
    assert told(performance, OutcomeKind.PASSED, OutcomeKind.RELEASED) == [
        ("PASSED", 1_000, 7),
        ("PASSED", 4_000, 6),
        ("RELEASED", 8_000, 6),
    ]
    assert [(each.id, each.part) for each in performance.notes] == [(7, 1)]


def test_a_key_that_plays_nothing_any_more_is_passed_over() -> None:
    events = [
        MONO,
        *note(0, None, key(60), 1),
        *note(1_000, None, key(64), 2),
        *note(2_000, None, key(67), 3),
        Event(Kind.TUNING, 3_000, value=2),  # 64 is on no degree now
        off(4_000, 3),
        off(6_000, 1),
    ]
    table = Tuning(Scale.equal(12), Anchor.parse("A4=440"), TableLayout(((60, 0), (67, 7))))
    _, performance = play(events, 9_000, tunings=[tuned(12), table])
    assert told(performance, OutcomeKind.PASSED)[-1] == ("PASSED", 4_000, 1)
    assert told(performance, OutcomeKind.RELEASED) == [("RELEASED", 6_000, 1)]


def test_another_voice_begins_afresh_with_the_next_key() -> None:
    events = [
        MONO,
        *note(0, None, hertz(400.0), 1),
        Event(Kind.VOICE, 2_000, value=5),
        *note(4_000, None, hertz(600.0), 2),
        off(8_000, 2),  # back to the first, by the note that sounds now
    ]
    _, performance = play(events, 12_000, values={5: saw(3)})
    began = told(performance, OutcomeKind.BEGAN, OutcomeKind.PASSED)
    assert began == [("BEGAN", 0, 1), ("BEGAN", 4_000, 2), ("PASSED", 8_000, 1)]
    assert len(performance.notes) == 1


def test_a_part_that_becomes_mono_goes_on_with_its_latest_note() -> None:
    events = [
        *note(0, None, hertz(300.0), 1),
        *note(1_000, None, hertz(400.0), 2),
        Event(Kind.MODE, 4_000, amount=1.0),
        off(6_000, 2),
        Event(Kind.MODE, 8_000, amount=0.0),
        *note(9_000, None, hertz(500.0), 3),
    ]
    _, performance = play(events, 12_000)
    assert told(performance, OutcomeKind.RELEASED, OutcomeKind.PASSED) == [
        ("RELEASED", 4_000, 1),
        ("PASSED", 6_000, 1),
    ]
    assert sorted(each.id for each in performance.notes) == [1, 3]


@pytest.mark.parametrize("kind", [Kind.NOTES_OFF, Kind.SOUND_OFF])
def test_after_everything_is_let_go_no_key_comes_back(kind: Kind) -> None:
    events = [
        MONO,
        *note(0, None, hertz(300.0), 1),
        *note(2_000, None, hertz(400.0), 2),
        Event(kind, 4_000, part=ALL_PARTS),
    ]
    _, performance = play(events, 6_000)
    for event in (*note(8_000, None, hertz(500.0), 3), off(9_000, 3)):
        performance.schedule(event)
    for _ in range(12):
        performance.fill(np.zeros((2, 512), np.float32))
    assert not performance.notes
    assert [hz for _, _, hz, _ in way(performance)] == [300.0, 400.0, 500.0]


def test_a_note_that_was_taken_for_want_of_room_does_not_come_back() -> None:
    events = [
        MONO,
        *note(0, None, hertz(300.0), 1, 0.1),
        *[each._replace(part=1) for each in note(4_000, None, hertz(400.0), 2)],
        Event(Kind.VOICE, 0, 1, value=5),
        *note(8_000, None, hertz(500.0), 3),
    ]
    _, performance = play(events, 12_000, notes=1, values={5: saw(1)})
    assert told(performance, OutcomeKind.TAKEN) == [("TAKEN", 4_000, 1), ("TAKEN", 8_000, 2)]
    assert told(performance, OutcomeKind.BEGAN)[-1] == ("BEGAN", 8_000, 3)


def test_the_size_of_blocks_changes_nothing_whatever_is_pressed() -> None:
    """Keys at random, of few ids, and no note is left when all are up."""
    random = np.random.default_rng(11)
    events = [MONO, glide(0.02)]
    for _ in range(150):
        at, number = int(random.integers(20_000)), int(random.integers(5))
        hz = float(random.uniform(100.0, 900.0))
        events += note(at, at + int(random.integers(1, 3_000)), hertz(hz), number)
        events.append(Event(Kind.BEND, at + 10, note=number, amount=float(random.uniform(0, 90))))
    events += [Event(Kind.MODE, 7_000, amount=0.0), Event(Kind.MODE, 9_000, amount=1.0)]
    events.append(Event(Kind.NOTES_OFF, 25_000))
    reference, performance = play(events, 27_000, block=4_000)
    assert not performance.notes
    assert decibels(np.abs(reference).max()) > -20.0
    ids = [o.note for o in performance.outcomes if o.kind == OutcomeKind.PASSED]
    assert len(ids) > 20
    assert NO_NOTE not in ids
    for block in (64, 100, 256):
        other, _ = play(events, 27_000, block=block)
        assert decibels(np.abs(other - reference).max()) < -100.0
