"""Thinning as the performance does it: which notes go, how they fade, what is told."""

import numpy as np
import pytest

import tones
from meantide.perform.event import Event, Kind, OutcomeKind
from meantide.perform.performance import Performance
from meantide.voice.envelope import SILENCING_S, Envelope
from meantide.voice.kernel import CELL
from playing import RATE, STEADY, hertz, note, play, saw

LONG = saw(1, Envelope(attack_s=0.005, decay_s=0.01, sustain_db=0.0, release_s=2.0))
SOUNDING = [
    *note(0, None, hertz(300.0), 1, 0.2),  # held, quiet
    *note(10, None, hertz(400.0), 2, 0.9),  # held, loud
    *note(20, 6_000, hertz(500.0), 3, 0.9),  # let go, loud
    *note(30, 6_000, hertz(600.0), 4, 0.5),  # let go, quieter
    *note(40, None, hertz(700.0), 5, 0.2),  # held, as quiet as the first and younger
]
LEAST_MISSED_FIRST = [4, 3, 1, 5, 2]


def thin(sample: int, many: float) -> Event:
    return Event(Kind.THIN, sample, amount=many)


def told(performance: Performance, kind: OutcomeKind) -> list[tuple[int, int]]:
    return [(o.sample, o.note) for o in performance.outcomes if o.kind == kind]


@pytest.mark.parametrize("many", [1, 2, 3, 4, 5])
def test_those_let_go_come_first_then_the_quietest_then_the_oldest(many: int) -> None:
    _, performance = play([*SOUNDING, thin(9_000, many)], 9_600, voice=LONG)
    thinned = [(9_000, number) for number in LEAST_MISSED_FIRST[:many]]
    assert told(performance, OutcomeKind.THINNED) == thinned
    assert performance.counts.thinned == many
    assert sorted(n.id for n in performance.notes) == sorted(LEAST_MISSED_FIRST[many:])


def test_one_event_after_the_other_takes_other_notes_and_never_more_than_there_are() -> None:
    events = [*SOUNDING, thin(9_000, 2), thin(9_010, 2), thin(9_020, 4_096), thin(9_030, 1)]
    _, performance = play(events, 9_600, voice=LONG)
    assert [number for _, number in told(performance, OutcomeKind.THINNED)] == LEAST_MISSED_FIRST
    assert performance.counts.thinned == 5
    assert len(performance.notes) == 0


def test_a_thinned_note_is_faded_out_within_5_ms_and_the_others_sound_on() -> None:
    events = [*note(0, None, hertz(400.0), 1, 0.5), *note(0, None, hertz(700.0), 2, 0.4)]
    with_it, _ = play([*events, thin(9_000, 1)], 20_000)
    alone, _ = play(events[:1], 20_000)
    left = with_it - alone
    fade = round(SILENCING_S * RATE) + CELL  # levels run straight to the end of a cell
    assert np.abs(left[9_000 + fade :]).max() < 1e-6  # float32 sums of another shape
    # A raised cosine over 240 samples of a sine of 700 Hz and amplitude 0.2: the steepest step
    # is that of the sine itself, 0.2 * 2 pi * 700 / 48000, and a little for the fade.
    assert np.abs(np.diff(left[8_900:])).max() < 0.2 * 2 * np.pi * 700 / RATE * 1.1
    fit = tones.fit_lines(with_it[10_000:], RATE, [400.0])
    assert fit.residual_db < -115.0


def test_the_id_of_a_thinned_note_may_be_played_again_at_once_and_its_off_is_the_new_ones() -> None:
    events = [
        *note(0, None, hertz(400.0), 1, 0.5),
        thin(9_000, 1),
        *note(9_001, 12_000, hertz(500.0), 1, 0.5),
    ]
    _, performance = play(events, 16_000)
    assert told(performance, OutcomeKind.THINNED) == [(9_000, 1)]
    assert told(performance, OutcomeKind.RELEASED) == [(12_000, 1)]
    assert len(performance.notes) == 0


def test_a_note_that_sound_off_silences_is_not_thinned_too() -> None:
    events = [
        *note(0, None, hertz(400.0), 1, 0.5), Event(Kind.SOUND_OFF, 9_000), thin(9_010, 1),
    ]  # fmt: skip
    _, performance = play(events, 9_600)
    assert performance.counts.thinned == 0
    assert told(performance, OutcomeKind.THINNED) == []


@pytest.mark.parametrize("many", [0.0, -1.0, 4_097.0, float("nan"), float("inf")])
def test_a_number_of_notes_that_is_none_is_refused(many: float) -> None:
    _, performance = play([*note(0, None, hertz(400.0), 1), thin(5_000, many)], 6_000)
    assert performance.counts.refused == 1
    assert len(performance.notes) == 1


def test_it_is_the_same_in_blocks_of_any_size() -> None:
    events = [*SOUNDING, thin(9_000, 2), thin(9_100, 1)]
    whole, performance = play(events, 12_000, voice=saw(5, STEADY), block=1024)
    for block in (64, 100, 333):
        samples, other = play(events, 12_000, voice=saw(5, STEADY), block=block)
        assert told(other, OutcomeKind.THINNED) == told(performance, OutcomeKind.THINNED)
        assert np.abs(samples - whole).max() < 1e-6
