"""Bend, pressure and timbre: in cents and dB by measuring the sound, without steps or clicks."""

from dataclasses import replace

import numpy as np
import pytest

import tones
from meantide.perform.early_touch import MOST_IDS, EarlyTouch
from meantide.perform.event import Event, Kind, Outcome, OutcomeKind, Pitch, PitchKind
from meantide.voice.description import SecondTable
from meantide.voice.touch import Answer, Response
from playing import (
    RATE,
    SINE,
    STEADY,
    Samples,
    decibels,
    degree,
    hertz,
    key,
    note,
    play,
    saw,
    tuned,
)

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
NOTHING = Pitch(PitchKind.NONE, 0.0)
ANSWERING = replace(
    SINE,
    response=Response(pressure=Answer(level_db=-12.0), timbre=Answer(level_db=-6.0)),
)
"""Pressure takes 12 dB away; timbre 6 dB at 1, and gives 6 dB at 0."""


def touch(
    kind: Kind, sample: int, amount: float, note: int = 0, samples: int = 0, pitch: Pitch = NOTHING
) -> Event:
    return Event(kind, sample, note=note, pitch=pitch, amount=amount, samples=samples)


def way(outcomes: list[Outcome], note: int = 0) -> list[tuple[int, int, float]]:
    """Return the pitch of a note as it was told: sample, samples, Hz; what came to nothing apart.

    A turn that was told ahead is dropped if something told later comes before it.
    """
    pieces: list[tuple[int, int, float]] = []
    for told in outcomes:
        if told.note == note and told.kind in (OutcomeKind.BEGAN, OutcomeKind.MOVED):
            while pieces and pieces[-1][0] > told.sample:
                pieces.pop()
            pieces.append((told.sample, told.samples, told.hz))
    return pieces


def level_at(samples: Samples, start: int, stop: int) -> float:
    return tones.fit_lines(samples[start:stop], RATE, [440.0]).level_db[0]


@pytest.mark.parametrize("cents", [-1_200.0, -31.4, 0.5, 50.0, 702.0])
def test_a_bend_is_so_many_cents(cents: float) -> None:
    events = [*note(0, None, hertz(440.0)), touch(Kind.BEND, 12_003, cents, samples=2_400)]
    samples, performance = play(events, 60_000)
    expected = 440.0 * 2 ** (cents / 1200)
    measured = tones.measure_hz(samples[14_500:], RATE, expected)
    assert abs(tones.cents(measured, expected)) < 0.001
    assert way(list(performance.outcomes)) == [
        (0, 0, 440.0),
        (12_003, 2_400, pytest.approx(expected, rel=1e-14)),
    ]


def test_a_bend_is_by_id_else_by_pitch() -> None:
    events = [
        *note(0, None, key(60), 7),
        *note(0, None, key(64), -2),
        touch(Kind.BEND, 1_000, 10.0, note=7),
        touch(Kind.BEND, 1_000, 20.0, note=64, pitch=key(64)),
        touch(Kind.BEND, 1_000, 30.0, note=99, pitch=key(99)),
    ]
    _, performance = play(events, 3_000, tunings=[tuned(12)])
    moved = [(o.note, o.hz) for o in performance.outcomes if o.kind == OutcomeKind.MOVED]
    third = 440.0 * 2 ** (-5 / 12)
    assert moved == [
        (7, pytest.approx(440.0 * 2 ** (-9 / 12 + 10 / 1200))),
        (-2, pytest.approx(third * 2 ** (20 / 1200))),
    ]


def test_bend_and_retune_meet_and_the_way_told_is_the_way_heard() -> None:
    """A glide of half a second with two bends on the way: told in straight pieces, and so heard."""
    events = [
        *note(0, None, degree(9)),
        Event(Kind.TUNING, 6_001, value=2, samples=24_000),
        touch(Kind.BEND, 9_000, 100.0, samples=6_007),
        touch(Kind.BEND, 12_000, -80.0, samples=30_000),
    ]
    samples, performance = play(
        events, 60_000, tunings=[tuned(12), tuned(12, "A4=470")], level_db=0.0
    )
    pieces = way(list(performance.outcomes))
    assert [piece[0] for piece in pieces] == [0, 6_001, 9_000, 12_000, 30_001]
    assert pieces[-1][2] == pytest.approx(470.0 * 2 ** (-80 / 1200))
    law = tones.note(RATE, 60_000, pieces, level_db=0.0, attack_s=0.0)
    # within cells of 64 samples the frequency runs straight in Hz, not in cents: the phase comes
    # to lie off by that, here under 1e-4 radians after three quarters of a second on the move
    assert decibels(np.abs(samples - law)[480:].max()) < -80.0
    measured = tones.measure_hz(samples[43_000:], RATE, 470.0 * 2 ** (-80 / 1200))
    assert abs(tones.cents(measured, pieces[-1][2])) < 0.001


def test_touch_before_the_note_is_there_from_its_first_sample() -> None:
    """MPE: a controller sends bend, pressure and timbre before the note on."""
    events = [
        touch(Kind.BEND, 900, 25.0, note=3),
        touch(Kind.BEND, 950, 50.0, note=3),
        touch(Kind.PRESSURE, 950, 0.5, note=3),
        touch(Kind.TIMBRE, 950, 1.0, note=3),
        *note(1_000, None, hertz(427.474), 3),
        *note(1_000, None, hertz(2_000.0), 4, 0.001),  # another is not touched
        touch(Kind.PRESSURE, 40_000, 0.0, note=3, samples=0),
    ]
    samples, performance = play(events, 60_000, voice=ANSWERING, level_db=0.0)
    bent = 427.474 * 2 ** (50 / 1200)
    assert way(list(performance.outcomes), 3) == [(1_000, 0, pytest.approx(bent))]
    assert abs(tones.cents(tones.measure_hz(samples[2_000:39_000], RATE, bent), bent)) < 0.02
    assert level_at(samples, 2_000, 39_000) == pytest.approx(-12.0, abs=0.01)
    assert level_at(samples, 41_000, 60_000) == pytest.approx(-6.0, abs=0.01)


def test_what_was_kept_is_used_once() -> None:
    events = [
        touch(Kind.BEND, 0, 50.0, note=3),
        *note(1_000, 2_000, hertz(400.0), 3),
        *note(6_000, None, hertz(400.0), 3),
    ]
    _, performance = play(events, 9_000)
    began = [o.hz for o in performance.outcomes if o.kind == OutcomeKind.BEGAN]
    assert began == [pytest.approx(400.0 * 2 ** (50 / 1200)), 400.0]


def test_in_the_tail_of_a_note_touch_moves_it_and_waits_for_the_next_of_its_id() -> None:
    """So what comes before a note on does not depend on whether the former tail is over."""
    ringing = saw(1, replace(STEADY, release_s=2.0))
    for tail in (2_000, 90_000):  # the second is long after the tail's end at 2000 + 144000
        start = 2_000 + 2 * tail
        events = [
            *note(0, 1_000, hertz(400.0), 3),
            touch(Kind.BEND, 1_500, 50.0, note=3) if tail == 2_000
            else touch(Kind.BEND, start - 5_000, 50.0, note=3),
            *note(start, None, hertz(400.0), 3),
        ]  # fmt: skip
        _, performance = play(events, start + 2_000, voice=ringing)
        began = [o.hz for o in performance.outcomes if o.kind == OutcomeKind.BEGAN]
        assert began == [400.0, pytest.approx(400.0 * 2 ** (50 / 1200))]


def test_of_ids_never_struck_only_the_last_are_remembered() -> None:
    early = EarlyTouch()
    for number in range(10 * MOST_IDS):
        early.keep(number, Kind.BEND, float(number))
    assert len(early) == MOST_IDS
    assert early.take(9 * MOST_IDS)[Kind.BEND] == 9.0 * MOST_IDS
    assert early.take(0)[Kind.BEND] == 0.0
    assert early.take(9 * MOST_IDS)[Kind.BEND] == 0.0


@pytest.mark.parametrize(
    ("kind", "amount", "change_db"),
    [
        (Kind.PRESSURE, 1.0, -12.0),
        (Kind.PRESSURE, 0.25, -3.0),
        (Kind.TIMBRE, 1.0, -6.0),
        (Kind.TIMBRE, 0.25, 3.0),
    ],
)
def test_pressure_and_timbre_act_in_decibels(kind: Kind, amount: float, change_db: float) -> None:
    events = [*note(0, None, hertz(440.0)), touch(kind, 12_000, amount, samples=1_000)]
    samples, _ = play(events, 36_000, voice=ANSWERING, level_db=-9.0)
    before, after = level_at(samples, 1_000, 12_000), level_at(samples, 13_200, 36_000)
    assert after - before == pytest.approx(change_db, abs=0.005)


def test_timbre_leads_towards_the_second_table() -> None:
    """The third partial is 9.54 dB below the first in one table, alone in the other."""
    voice = replace(
        saw(3),
        second=SecondTable(levels_db=(-120.0, -120.0, 0.0)),
        response=Response(timbre=Answer(colour=1.0)),
    )
    events = [*note(0, None, hertz(440.0)), touch(Kind.TIMBRE, 10_000, 1.0, samples=500)]
    samples, _ = play(events, 36_000, voice=voice, level_db=-6.0)
    lines = [440.0, 880.0, 1_320.0]
    first = tones.fit_lines(samples[1_000:10_000], RATE, lines).level_db
    second = tones.fit_lines(samples[11_000:], RATE, lines).level_db
    assert first[2] - first[0] == pytest.approx(-20.0 * np.log10(3.0), abs=0.01)
    assert second[2] - second[0] > 90.0
    assert second[2] == pytest.approx(-6.0, abs=0.01)


@pytest.mark.parametrize("kind", [Kind.BEND, Kind.PRESSURE, Kind.TIMBRE])
def test_no_touch_is_quicker_than_five_milliseconds(kind: Kind) -> None:
    """A step asked for is a ramp of 240 samples; the largest step and bend are the sine's own."""
    amount = 1_200.0 if kind == Kind.BEND else 1.0
    events = [*note(0, None, hertz(440.0)), touch(kind, 6_013, amount)]
    samples, _ = play(events, 12_000, voice=ANSWERING, level_db=-9.0)
    loudest_hz = 880.0 if kind == Kind.BEND else 440.0
    amplitude = tones.gain(-9.0)
    turn = 2.0 * np.pi * loudest_hz / RATE
    fade = 12.0 / 240.0 * np.log(10.0) / 20.0  # the steepest of the ramps, nepers a sample
    assert np.abs(np.diff(samples[1_000:])).max() < amplitude * (turn + fade)
    # once more: a step would stand out; where a ramp begins the slope turns, by no more than fade
    climb = turn * np.log(2.0) / 240.0  # of the frequency, an octave in 240 samples
    bound = amplitude * (turn**2 + 2.0 * turn * fade + fade + climb)
    assert np.abs(np.diff(samples[1_000:], 2)).max() < bound


@pytest.mark.parametrize(
    "event",
    [
        touch(Kind.BEND, 2_000, 12_001.0),
        touch(Kind.BEND, 2_000, float("nan")),
        touch(Kind.BEND, 2_000, 7_200.0),  # 440 Hz and six octaves are above half the rate
        touch(Kind.PRESSURE, 2_000, 1.01),
        touch(Kind.TIMBRE, 2_000, -0.01),
    ],
)
def test_touch_out_of_range_is_counted_and_the_note_goes_on(event: Event) -> None:
    samples, performance = play([*note(0, None, hertz(440.0)), event], 24_000)
    assert performance.counts.refused == 1
    assert way(list(performance.outcomes)) == [(0, 0, 440.0)]
    assert tones.fit_lines(samples[1_000:], RATE, [440.0]).residual_db < -120.0


def test_a_retune_that_would_carry_a_bent_note_out_of_hearing_leaves_it() -> None:
    events = [
        *note(0, None, degree(9)),
        touch(Kind.BEND, 1_000, 6_000.0),
        Event(Kind.TUNING, 2_000, value=2),
    ]
    _, performance = play(events, 4_000, tunings=[tuned(12), tuned(12, "A4=880")])
    assert way(list(performance.outcomes))[-1][0] == 1_000
