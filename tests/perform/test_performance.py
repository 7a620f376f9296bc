"""The state machine: notes, ids, retuning, room for notes, and the same sound every time."""

from typing import Any

import numpy as np
import pytest

import playing
import tones
from meantide.errors import InvalidValue
from meantide.perform.event import Event, Held, Kind, OutcomeKind, Pitch, PitchKind
from meantide.perform.performance import Performance
from meantide.pitch import NoteName
from meantide.voice.envelope import Envelope
from meantide.voice.kernel import CELL, Kernel
from meantide.voice.kernel_numpy import NumpyKernel
from playing import (
    RATE,
    SINE,
    decibels,
    degree,
    hertz,
    key,
    note,
    outside,
    play,
    saw,
    spectrum_db,
    tuned,
)

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
SLOW = saw(12, Envelope(0.02, 0.2, -6.0, 0.15))


def busy_events() -> list[Event]:
    """Sixty notes at random, a retune with a glide, one at once, a level ramp, a silencing."""
    random = np.random.default_rng(7)
    events = []
    for number in range(60):
        start, length = int(random.integers(0, 36_000)), int(random.integers(50, 9_000))
        velocity = float(random.uniform(0.1, 1.0))
        events += note(start, start + length, key(int(random.integers(40, 90))), number, velocity)
    return [
        *events,
        Event(Kind.TUNING, 20_001, value=2, samples=1_500),
        Event(Kind.TUNING, 30_011, value=3),
        Event(Kind.LEVEL, 25_003, amount=-20.0, samples=3_000),
        Event(Kind.SOUND_OFF, 45_005),
    ]


BLOCKS = (1, 21, 64, 100, 256, 300, 1024)


def play_busy(block: int, kernel: Kernel | None = None) -> tuple[np.ndarray, Performance]:
    tunings = [tuned(12), tuned(31, "A4=432"), tuned(19)]
    return play(
        busy_events(), 48_000, voice=SLOW, tunings=tunings, block=block, notes=10, kernel=kernel
    )


def test_the_size_of_blocks_changes_nothing() -> None:
    reference, performance = play_busy(4096)
    assert performance.counts.taken > 5
    told = [o for o in performance.outcomes if o.kind != OutcomeKind.ENDED]
    for block in BLOCKS:
        samples, other = play_busy(block)
        assert decibels(np.abs(samples - reference).max()) < -100.0
        assert [o for o in other.outcomes if o.kind != OutcomeKind.ENDED] == told


@pytest.mark.parametrize("block", BLOCKS)
def test_the_kernels_agree_at_every_size_of_blocks(block: int) -> None:
    """By whichever kernel it is played, the score differs by less than -110 dB of full scale."""
    plain, performance = play_busy(block, NumpyKernel())
    samples, other = play_busy(block, playing.in_use)
    assert np.abs(plain).max() > 0.2
    assert decibels(np.abs(samples - plain).max()) < -110.0
    assert other.outcomes == performance.outcomes


def test_two_runs_are_equal_byte_for_byte() -> None:
    assert play_busy(256)[0].tobytes() == play_busy(256)[0].tobytes()


def test_notes_begin_and_end_on_their_sample() -> None:
    samples, performance = play(note(1_001, 5_003, hertz(440.0)), 12_000)
    assert not samples[:1_001].any()
    assert abs(samples[1_001]) < 1e-9  # an attack begins at nothing, to float32's rounding
    assert abs(samples[1_002]) > 1e-6
    told = [(o.kind, o.sample) for o in performance.outcomes[:2]]
    assert told == [(OutcomeKind.BEGAN, 1_001), (OutcomeKind.RELEASED, 5_003)]
    assert not samples[5_003 + 360 + 64 :].any()  # 1.5 release times, and the rest of a cell


def test_a_chord_follows_a_retune_in_a_glide_and_arrives_where_it_should() -> None:
    events = [
        *note(0, None, degree(0), 0),
        *note(0, None, degree(10), 1),
        *note(0, None, degree(18), 2),
        Event(Kind.TUNING, 24_000, value=2, samples=2_400),
    ]
    before, after = tuned(31), tuned(53, "A4=432")
    samples, _ = play(events, 96_000, tunings=[before, after], level_db=-10.0)
    for start, stop, tuning in ((2_000, 24_000, before), (26_400, 96_000, after)):
        lines = [tuning.hz_of_degree(d) for d in (0, 10, 18)]
        fit = tones.fit_lines(samples[start:stop], RATE, lines)
        for measured, expected in zip(fit.hz, lines, strict=True):
            assert abs(tones.cents(measured, expected)) < 0.001
        assert fit.residual_db < -115.0


@pytest.mark.parametrize(
    ("start_hz", "goal_hz"), [(440.0, 452.9), (440.0, 880.0), (3_000.0, 750.0)]
)
def test_a_glide_is_heard_as_its_law_and_nothing_else(start_hz: float, goal_hz: float) -> None:
    """Fifty milliseconds, linear in cents; between ends of cells the frequency runs straight."""
    events = [*note(0, None, degree(0)), Event(Kind.TUNING, 12_007, value=2, samples=2_400)]
    tunings = [tuned(12, f"0={start_hz}"), tuned(12, f"0={goal_hz}")]
    samples, _ = play(events, 24_000, tunings=tunings, level_db=0.0)
    law = tones.note(
        RATE, 24_000, [(0, 0, start_hz), (12_007, 2_400, goal_hz)], level_db=0.0, attack_s=0.0,
        cell=CELL,
    )  # fmt: skip
    assert decibels(np.abs(samples - law)[480:].max() / np.abs(law).max()) < -110.0
    low, high = sorted((start_hz, goal_hz))
    hz, db = spectrum_db(samples[6_000:20_000])
    _, law_db = spectrum_db(law[6_000:20_000])
    beyond = outside(hz, [(low - 600.0, high + 600.0)])  # a kink in frequency spreads a little
    assert db[beyond].max() < max(-80.0, law_db[beyond].max() + 0.1)
    assert db[beyond].max() < -75.0


def test_notes_may_stay_where_they_are_while_new_ones_are_retuned() -> None:
    events = [
        *note(0, None, key(69), 0),
        Event(Kind.TUNING, 10_000, value=2, held=Held.STAY),
        *note(20_000, None, key(76), 1),
    ]
    samples, _ = play(events, 60_000, tunings=[tuned(12), tuned(12, "A4=415")], level_db=-9.0)
    fit = tones.fit_lines(samples[22_000:], RATE, [440.0, 415.0 * 2 ** (7 / 12)])
    assert abs(tones.cents(fit.hz[0], 440.0)) < 0.001
    assert abs(tones.cents(fit.hz[1], 415.0 * 2 ** (7 / 12))) < 0.001


def test_a_note_follows_as_it_was_asked_for() -> None:
    """By key, name, degree and interval the same pitch; after the retune each by its own rule."""
    name = NoteName.parse("C#5")
    pitches = [
        key(73),
        Pitch(PitchKind.NAME, float(name.chain), name.octave),
        degree(13),
        Pitch(PitchKind.INTERVAL, 4 / 12),
        hertz(555.0),
    ]
    events = [event for n, pitch in enumerate(pitches) for event in note(0, None, pitch, n)]
    events.append(Event(Kind.TUNING, 5_000, value=2, samples=100))
    new = tuned(31, "A4=432")
    _, performance = play(events, 8_000, tunings=[tuned(12), new])
    moved = {o.note: o.hz for o in performance.outcomes if o.kind == OutcomeKind.MOVED}
    assert moved == {
        0: pytest.approx(new.hz_of_key(73)),
        1: pytest.approx(new.hz_of_name("C#5")),
        2: pytest.approx(new.hz_of_degree(13)),
        3: pytest.approx(432.0 * 2 ** (4 / 12)),
    }


def test_a_release_tail_follows_too() -> None:
    events = [*note(0, 10_000, degree(9)), Event(Kind.TUNING, 12_000, value=2, samples=0)]
    voice = saw(1, Envelope(0.005, 0.01, 0.0, 2.0))
    samples, _ = play(events, 40_000, voice=voice, tunings=[tuned(12), tuned(12, "A4=432")])
    measured = tones.measure_hz(samples[13_000:30_000], RATE, 432.0, amplitude="exponential")
    assert abs(tones.cents(measured, 432.0)) < 0.001


def test_when_room_runs_out_the_quietest_goes_then_the_oldest() -> None:
    events = [
        *note(0, None, hertz(300.0), 1, 0.5),
        *note(10, None, hertz(400.0), 2, 0.2),
        *note(20, None, hertz(500.0), 3, 0.2),
        *note(9_000, None, hertz(600.0), 4, 0.9),
        *note(9_000, None, hertz(700.0), 5, 0.9),
    ]
    samples, performance = play(events, 40_000, notes=3, level_db=-12.0)
    taken = [o.note for o in performance.outcomes if o.kind == OutcomeKind.TAKEN]
    assert taken == [2, 3]
    fit = tones.fit_lines(samples[12_000:], RATE, [300.0, 600.0, 700.0])
    assert fit.residual_db < -115.0


def test_a_note_just_asked_for_is_not_taken_for_being_still_quiet() -> None:
    events = [*note(0, None, hertz(300.0), 1, 0.3)]
    events += [event for n in range(2, 5) for event in note(9_000, None, hertz(n * 170.0), n, 0.9)]
    _, performance = play(events, 12_000, notes=3)
    assert [o.note for o in performance.outcomes if o.kind == OutcomeKind.TAKEN] == [1]


@pytest.mark.parametrize("ending", ["taken", "silenced", "retriggered", "released"])
def test_no_ending_clicks(ending: str) -> None:
    """Second differences stay within those of the sines and their fades: 5 ms, cosine squared."""
    hz = [219.0, 331.0, 440.0]
    events = [event for n, each in enumerate(hz) for event in note(0, None, hertz(each), n)]
    late = {
        "taken": note(9_001, None, hertz(550.0), 9),
        "silenced": [Event(Kind.SOUND_OFF, 9_001)],
        "retriggered": note(9_001, None, hertz(440.0), 2),
        "released": [Event(Kind.NOTES_OFF, 9_001, part=-1)],
    }[ending]
    # at most four notes of amplitude 1/4 and up to 550 Hz sound together
    samples, _ = play([*events, *late], 14_000, notes=3 if ending == "taken" else 8, level_db=-12.0)
    steepest = (2 * np.pi * 550.0 / RATE) ** 2
    fade = (np.pi / 240) ** 2 / 2 + 2 * (np.pi / 480) * 2 * np.pi * 550.0 / RATE
    kink = 2 * np.pi / 480 / 64 * 64 / 240  # where straight pieces of the fade meet
    bound = 4 * 0.25 * (steepest + fade + kink)
    assert np.abs(np.diff(samples[8_900:], 2)).max() < bound


@pytest.mark.parametrize("velocity", [0.05, 0.4, 1.0])
def test_no_onset_clicks_at_any_velocity(velocity: float) -> None:
    samples, _ = play(note(1_000, None, hertz(200.0), 0, velocity), 4_000)
    hz, db = spectrum_db(samples[:4_000])
    loudest = db.max()
    assert db[hz > 3_000.0].max() < loudest - 60.0


def test_notes_off_by_id_by_pitch_and_all() -> None:
    events = [
        *note(0, None, key(60), 5),
        *note(0, None, key(64), -2),
        *note(0, None, key(64), -3),
        *note(0, None, key(67), 7),
        Event(Kind.NOTE_OFF, 1_000, note=5, pitch=key(5)),
        Event(Kind.NOTE_OFF, 2_000, note=64, pitch=key(64)),
        Event(Kind.NOTE_OFF, 2_500, note=99),
        Event(Kind.NOTES_OFF, 3_000, part=-1),
    ]
    _, performance = play(events, 5_000, tunings=[tuned(12)])
    released = [(o.sample, o.note) for o in performance.outcomes if o.kind == OutcomeKind.RELEASED]
    assert released == [(1_000, 5), (2_000, -2), (2_000, -3), (3_000, 7)]
    assert len(performance.notes) == 0


def test_an_id_used_again_lets_the_former_note_go() -> None:
    events = [*note(0, None, hertz(300.0), 4), *note(6_000, None, hertz(450.0), 4)]
    samples, performance = play(events, 30_000)
    assert len(performance.notes) == 1
    assert abs(tones.cents(tones.measure_hz(samples[8_000:], RATE, 450.0), 450.0)) < 1e-4
    assert tones.fit_lines(samples[8_000:], RATE, [450.0]).residual_db < -120.0


def test_sound_off_also_forgets_the_notes_that_wait() -> None:
    events = [*note(0, None, hertz(300.0), 1), *note(9_000, None, hertz(400.0), 2)]
    samples, performance = play([*events, Event(Kind.SOUND_OFF, 4_000)], 20_000)
    assert not samples[4_000 + 240 + 64 :].any()
    assert len(performance.notes) == 0


@pytest.mark.parametrize(
    "event",
    [
        note(0, None, hertz(30_000.0))[0],
        note(0, None, key(60))[0],  # nothing is tuned
        note(0, None, hertz(440.0), velocity=0.0)[0],
        note(0, None, hertz(float("nan")))[0],
        Event(Kind.TUNING, 0, value=77),
        Event(Kind.VOICE, 0, value=77),
    ],
)
def test_what_cannot_be_done_is_counted_and_does_no_harm(event: Event) -> None:
    samples, performance = play([event, *note(100, None, hertz(440.0), 1)], 4_000)
    assert performance.counts.refused == 1
    assert len(performance.notes) == 1
    assert samples[2_000:].any()


def test_late_events_act_at_once_and_are_counted() -> None:
    performance = Performance(RATE, 256, 4, kernel=playing.in_use)
    performance.hand_over(1, SINE)
    performance.schedule(Event(Kind.VOICE, value=1))
    out = np.zeros((2, 256), np.float32)
    performance.fill(out)
    dated = performance.schedule(note(17, None, hertz(440.0))[0])
    assert dated is not None
    assert dated.sample == 256
    assert performance.counts.late == 1
    performance.fill(out)
    assert performance.outcomes[0].sample == 256


def test_a_voice_of_a_new_size_may_be_handed_over_in_the_middle_of_a_block() -> None:
    """As the control side does from its own thread, while the audio side walks its banks."""
    performance = Performance(RATE, 256, 4)
    performance.hand_over(1, SINE)
    performance.schedule(Event(Kind.VOICE, value=1))
    performance.schedule(note(0, None, hertz(440.0))[0])
    out = np.zeros((2, 256), np.float32)
    performance.fill(out)
    [room] = performance.notes._rooms.values()
    bank = room.bank
    read = bank.read

    def read_while_another_comes(*arguments: Any) -> None:
        performance.hand_over(2, saw(200))
        read(*arguments)

    bank.read = read_while_another_comes  # type: ignore[method-assign]
    performance.fill(out)
    assert len(performance.notes._rooms) == 2
    assert out.any()


def test_voices_of_different_sizes_sound_together() -> None:
    performance = Performance(RATE, 4096, 8, level_db=-9.0, kernel=playing.in_use)
    for number, voice in ((1, SINE), (2, saw(40)), (3, saw(200))):
        performance.hand_over(number, voice)
    for number in (1, 2, 3):
        performance.schedule(Event(Kind.VOICE, 0, value=number))
        performance.schedule(note(0, None, hertz(101.0 * number), number)[0])
    out = np.zeros((2, 8192), np.float32)
    performance.make(out[:, :4096])
    performance.make(out[:, 4096:])
    fit = tones.fit_lines(out[0, 600:].astype(float), RATE, [101.0])
    assert fit.level_db[0] == pytest.approx(-9.0 - 3.01, abs=0.2)


@pytest.mark.parametrize(
    "bad", [{"rate": 7_999}, {"rate": 48_000.0}, {"notes": 0}, {"longest": True}]
)
def test_settings_out_of_range_are_refused(bad: dict[str, int]) -> None:
    with pytest.raises(InvalidValue):
        Performance(**{"rate": RATE, **bad})
