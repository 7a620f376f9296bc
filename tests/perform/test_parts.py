"""Parts: their level, pan and width while notes sound, their limits and their layouts."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

import playing
import tones
from meantide.perform.event import Event, Held, Kind, OutcomeKind
from meantide.perform.performance import Performance
from meantide.pitch import Anchor, GridLayout, LinearLayout, Scale, Tuning
from meantide.voice.description import AdditiveVoice
from meantide.voice.envelope import Envelope
from playing import RATE, SINE, Samples, decibels, hertz, key, note, saw

pytestmark = pytest.mark.usefixtures("kernel")  # every test with either
LONG = Envelope(attack_s=0.005, decay_s=0.01, sustain_db=0.0, release_s=2.0)


def played(
    events: Sequence[Event],
    samples: int,
    *,
    parts: Sequence[AdditiveVoice] = (SINE,),
    tunings: Sequence[Tuning] = (),
    block: int = 1024,
    notes: int = 16,
) -> tuple[Samples, Performance]:
    """Play on parts with these voices; `tunings` are handed over as 1, 2, ..; both channels."""
    performance = Performance(RATE, block, notes, kernel=playing.in_use)
    for number, tuning in enumerate(tunings, start=1):
        performance.hand_over(number, tuning)
    for part, voice in enumerate(parts):
        performance.hand_over(1000 + part, voice)
        performance.schedule(Event(Kind.VOICE, 0, part, value=1000 + part))
    for event in sorted(events, key=lambda each: each.sample):
        performance.schedule(event)
    out = np.zeros((2, samples), np.float32)
    for start in range(0, samples, block):
        performance.make(out[:, start : start + block])
    return out.astype(np.float64), performance


def of_part(part: int, events: Sequence[Event]) -> list[Event]:
    return [event._replace(part=part) for event in events]


def amplitude(samples: Samples, hz: float) -> float:
    """Return the amplitude of a sine in some samples: a least-squares fit of sine and cosine."""
    angles = 2.0 * np.pi * hz / RATE * np.arange(len(samples))
    basis = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    fit = np.linalg.lstsq(basis, samples, rcond=None)[0]
    return float(np.hypot(*fit))


def place_of(sides: Samples, hz: float) -> float:
    """Return where a sine stands, -1 to 1, by the ratio of its channels (constant power)."""
    left, right = (amplitude(side, hz) for side in sides)
    return math.atan2(right, left) * 4.0 / math.pi - 1.0


# -- level, pan and width -----------------------------------------------------------------------


def test_a_level_moves_the_note_that_sounds_and_the_next() -> None:
    events = [
        *note(0, 40_000, hertz(1_000.0), 1, 0.5),
        Event(Kind.PART_LEVEL, 20_000, amount=-12.0, samples=4_800),
        *note(50_000, None, hertz(1_000.0), 2, 0.5),
    ]
    (left, _), _ = played(events, 70_000)
    before = amplitude(left[10_000:14_800], 1_000.0)
    assert decibels(before) == pytest.approx(decibels(0.5 * math.sqrt(0.5)), abs=1e-3)
    for start in (30_000, 60_000):
        assert decibels(amplitude(left[start : start + 4_800], 1_000.0) / before) == pytest.approx(
            -12.0, abs=1e-3
        )
    middle = amplitude(left[22_400 - 240 : 22_400 + 240], 1_000.0)  # half way, in straight lines
    assert middle / before == pytest.approx((1.0 + 10 ** (-12 / 20)) / 2.0, abs=1e-3)


@pytest.mark.parametrize("kind", [Kind.PART_LEVEL, Kind.PAN])
@pytest.mark.parametrize("at", [20_000, 20_224, 20_479, 20_480])
def test_what_is_moved_at_once_takes_5_ms_and_does_not_click(kind: Kind, at: int) -> None:
    """A step would stand in the spectrum far from the tone; the ramp's corners are below -100."""
    amount = -100.0 if kind == Kind.PART_LEVEL else 1.0
    events = [*note(0, None, hertz(400.0), 1, 0.5), Event(kind, at, amount=amount)]
    (left, _), _ = played(events, 40_000)
    tone = np.sin(2.0 * np.pi * 400.0 * np.arange(40_000) / RATE)
    assert amplitude(left[at : at + 60], 400.0) > 0.8 * amplitude(left[at - 960 : at], 400.0)
    assert amplitude(left[at + 120 : at + 240], 400.0) > 0.05 * np.abs(tone).max() * 0.35
    assert np.abs(left[at + 500 :]).max() < 1e-6
    window = np.hanning(1024)
    frames = np.lib.stride_tricks.sliding_window_view(left[10_000:30_000], 1024)[::128] * window
    spectra = np.abs(np.fft.rfft(frames)) * (2.0 / window.sum())
    assert decibels(spectra[:, 400:].max()) < -100.0


def test_a_note_struck_after_a_move_stands_there_from_its_first_sample() -> None:
    events = [
        *note(0, None, hertz(400.0), 1, 0.25),
        Event(Kind.PAN, 20_000, amount=-1.0),
        *note(20_000, None, hertz(3_000.0), 2, 0.25),
    ]
    (_, right), _ = played(events, 24_000)
    moving, _ = played(events[:2], 24_000)
    assert decibels(np.abs(right - moving[1]).max()) < -110.0


def test_pan_is_of_constant_power_and_moves_evenly_in_angle() -> None:
    events = [
        *note(0, None, hertz(1_000.0), 1, 0.5),
        Event(Kind.PAN, 0, amount=-1.0),
        Event(Kind.PAN, 10_000, amount=1.0, samples=48_000),
    ]
    sides, _ = played(events, 80_000)
    for share in (0.25, 0.5, 0.75):
        at = 10_000 + round(share * 48_000)
        window = sides[:, at - 240 : at + 240]
        assert place_of(window, 1_000.0) == pytest.approx(2.0 * share - 1.0, abs=2e-3)
        power = sum(amplitude(side, 1_000.0) ** 2 for side in window)
        assert power == pytest.approx(0.25, rel=2e-3)
    assert place_of(sides[:, 70_000:74_800], 1_000.0) == pytest.approx(1.0, abs=1e-5)


def test_width_spreads_notes_by_pitch_around_the_pan() -> None:
    """Middle C is 261.63 Hz in the equal temperament of A4 = 440 Hz.

    It stands at the pan; three octaves above it is the right of the width, and so is all above.
    """
    middle = 440.0 * 2.0**-0.75
    octaves = {-3: -0.6, -1: -0.2, 0: 0.0, 1: 0.2, 4: 0.6}
    spread = {middle * 2.0**octave: offset for octave, offset in octaves.items()}
    events = [Event(Kind.WIDTH, 0, amount=0.6), Event(Kind.PAN, 0, amount=0.1)]
    for number, hz in enumerate(spread):
        events += note(number * 20_000, number * 20_000 + 15_000, hertz(hz), number, 0.5)
    sides, _ = played(events, 100_000)
    for number, (hz, offset) in enumerate(spread.items()):
        heard = sides[:, number * 20_000 + 2_000 : number * 20_000 + 14_000]
        assert place_of(heard, hz) == pytest.approx(0.1 + offset, abs=1e-4)


def test_width_moves_what_sounds_and_nothing_leaves_the_sides() -> None:
    high = 440.0 * 2.0**-0.75 * 8.0
    events = [
        *note(0, None, hertz(high), 1, 0.5),
        Event(Kind.WIDTH, 10_000, amount=1.0, samples=9_600),
        Event(Kind.PAN, 40_000, amount=0.9, samples=480),
    ]
    sides, _ = played(events, 60_000)
    assert place_of(sides[:, 14_560:15_040], high) == pytest.approx(0.5, abs=2e-3)
    assert place_of(sides[:, 30_000:34_800], high) == pytest.approx(1.0, abs=1e-4)
    assert place_of(sides[:, 50_000:54_800], high) == pytest.approx(1.0, abs=1e-4)


def test_a_part_moves_its_own_notes_alone_and_from_where_they_stand() -> None:
    events = [
        *note(0, None, hertz(500.0), 1, 0.4),
        *of_part(1, note(0, None, hertz(2_000.0), 2, 0.4)),
        Event(Kind.PAN, 10_000, 0, amount=-1.0, samples=9_600),
        Event(Kind.PART_LEVEL, 12_000, 0, amount=-6.0, samples=1_000),
        Event(Kind.PAN, 14_800, 0, amount=1.0, samples=4_800),  # half way to the left
    ]
    sides, _ = played(events, 40_000, parts=(SINE, SINE))
    alone, _ = played(of_part(0, events[1:2]), 40_000)
    window = sides[:, 14_800 - 192 : 14_800]
    joint = np.stack([tones_of(side, (500.0, 2_000.0)) for side in window])
    place = math.atan2(joint[1, 0], joint[0, 0]) * 4.0 / math.pi - 1.0
    assert place == pytest.approx(-0.5, abs=0.02)
    last = np.stack([tones_of(side, (500.0, 2_000.0)) for side in sides[:, 30_000:34_800]])
    assert last[0, 0] < 1e-6
    assert decibels(last[1, 0] / 0.4) == pytest.approx(-6.0, abs=1e-3)
    assert last[:, 1] == pytest.approx(amplitude(alone[0, 30_000:34_800], 2_000.0), rel=1e-5)


def test_a_slow_move_goes_on_while_another_part_is_moved_at_once() -> None:
    events = [
        *note(0, None, hertz(500.0), 1, 0.4),
        Event(Kind.PAN, 1_000, 0, amount=1.0, samples=20_000),
        Event(Kind.PART_LEVEL, 5_000, 1, amount=-6.0),
    ]
    sides, _ = played(events, 30_000, parts=(SINE, SINE))
    assert place_of(sides[:, 10_760:11_240], 500.0) == pytest.approx(0.5, abs=2e-3)
    assert place_of(sides[:, 25_000:29_800], 500.0) == pytest.approx(1.0, abs=1e-5)


def test_a_note_struck_on_the_way_takes_part_in_it_sample_by_sample() -> None:
    struck = note(10_100, None, hertz(1_000.0), 1, 0.5)
    fade = Event(Kind.PART_LEVEL, 10_000, amount=-100.0, samples=2_000)
    (still, _), _ = played(struck, 13_000)
    (faded, _), _ = played([fade, *struck], 13_000)
    samples = np.arange(10_000, 46 * 256)  # the last point of the grid before the way ends
    law = 1.0 - (samples - 10_000) / 2_000
    assert np.abs(faded[samples] - law * still[samples]).max() < 1e-6
    assert np.abs(still[samples]).max() > 0.3


def tones_of(samples: Samples, hz: Sequence[float]) -> Samples:
    """Return the amplitudes of several sines, fitted together."""
    angles = 2.0 * np.pi * np.outer(np.arange(len(samples)), hz) / RATE
    fit = np.linalg.lstsq(np.hstack([np.cos(angles), np.sin(angles)]), samples, rcond=None)[0]
    return np.hypot(fit[: len(hz)], fit[len(hz) :])


def test_the_size_of_blocks_changes_nothing() -> None:
    events = [*note(0, None, hertz(300.0), 1, 0.3), *of_part(1, note(700, None, hertz(900.0), 2))]
    random = np.random.default_rng(7)
    for kind, low, high in ((Kind.PAN, -1, 1), (Kind.WIDTH, 0, 1), (Kind.PART_LEVEL, -20, 0)):
        for part in (0, 1):
            for _ in range(8):
                at, samples = int(random.integers(12_000)), int(random.choice([0, 100, 3_000]))
                amount = float(random.uniform(low, high))
                events.append(Event(kind, at, part, amount=amount, samples=samples))
    reference, _ = played(events, 16_000, parts=(SINE, SINE), block=4_000)
    assert np.abs(np.diff(reference)).max() < 0.2
    for block in (1, 21, 64, 100, 256, 300):
        other, _ = played(events, 16_000, parts=(SINE, SINE), block=block)
        assert decibels(np.abs(other - reference).max()) < -110.0


@pytest.mark.parametrize(
    ("kind", "amount"),
    [
        (Kind.PAN, 1.1), (Kind.WIDTH, -0.1), (Kind.WIDTH, 1.1), (Kind.PART_LEVEL, 0.1),
        (Kind.LIMIT, -1.0), (Kind.LIMIT, 2.5), (Kind.LIMIT, 5_000.0), (Kind.PAN, math.nan),
        (Kind.WIDTH, math.nan), (Kind.LIMIT, math.nan), (Kind.LIMIT, math.inf),
    ],
)  # fmt: skip
def test_what_is_out_of_range_is_refused_and_changes_nothing(kind: Kind, amount: float) -> None:
    events = [*note(0, None, hertz(300.0), 1, 0.3)]
    plain, _ = played(events, 8_000)
    samples, performance = played([*events, Event(kind, 3_000, amount=amount)], 8_000)
    assert performance.counts.refused == 1
    assert decibels(np.abs(samples - plain).max()) < -120.0


# -- limits -------------------------------------------------------------------------------------


def taken(performance: Performance) -> list[tuple[int, int]]:
    return [(o.sample, o.note) for o in performance.outcomes if o.kind == OutcomeKind.TAKEN]


def test_the_quietest_of_the_part_gives_way_at_its_limit() -> None:
    events = [
        Event(Kind.LIMIT, 0, 1, amount=2.0),
        *note(0, None, hertz(300.0), 9, 0.01),  # quieter, but of another part
        *of_part(1, note(100, None, hertz(400.0), 1, 0.5)),
        *of_part(1, note(200, None, hertz(500.0), 2, 0.2)),
        *of_part(1, note(8_000, None, hertz(600.0), 3, 0.4)),
        Event(Kind.LIMIT, 10_000, 1, amount=1.0),
        *of_part(1, note(12_000, None, hertz(700.0), 4, 0.1)),
        Event(Kind.LIMIT, 14_000, 1, amount=0.0),
        *of_part(1, note(15_000, None, hertz(800.0), 5, 0.1)),
    ]
    _, performance = played(events, 20_000, parts=(SINE, SINE))
    assert taken(performance) == [(8_000, 2), (12_000, 3), (12_000, 1)]
    assert sorted(note.id for note in performance.notes) == [4, 5, 9]
    assert performance.counts.taken == 3


def test_what_a_part_is_turned_down_to_counts_when_a_note_must_go() -> None:
    events = [
        Event(Kind.PART_LEVEL, 0, 1, amount=-40.0),
        *note(0, None, hertz(300.0), 1, 0.1),
        *of_part(1, note(0, None, hertz(400.0), 2, 1.0)),
        *note(9_000, None, hertz(500.0), 3, 0.5),
    ]
    _, performance = played(events, 12_000, parts=(SINE, SINE), notes=2)
    assert taken(performance) == [(9_000, 2)]


# -- layouts ------------------------------------------------------------------------------------

THIRTY_ONE = Scale.equal(31)
LINEAR, GRID = LinearLayout(60, 0), GridLayout(5, 13, 8, 60, 0)
NARROW = LinearLayout(60, 2)


def hz_of(degree: int, anchor_hz: float = 440.0) -> float:
    """Return a degree by the definition of an equal division; A is degree 23 of 31."""
    return anchor_hz * 2.0 ** ((degree - 23) / 31)


def tuning(layout: LinearLayout | GridLayout, hz: float = 440.0) -> Tuning:
    return Tuning(THIRTY_ONE, Anchor.parse(f"A4={hz:g}"), layout)


def goals(performance: Performance) -> dict[int, float]:
    return {each.id: each.hz(performance.sample) for each in performance.notes}


def test_two_layouts_sound_at_once_and_the_keys_mean_their_own() -> None:
    events = [
        Event(Kind.TUNING, 0, value=1),
        Event(Kind.LAYOUT, 0, 1, value=2),
        *note(0, None, key(63), 1, 0.3),
        *of_part(1, note(0, None, key(63), 2, 0.3)),
        # the layout of the tuning is changed: it touches the first part alone
        Event(Kind.TUNING, 20_000, value=3),
        # the anchor is moved: both follow
        Event(Kind.TUNING, 40_000, value=4),
        Event(Kind.LAYOUT, 40_000, 1, value=5),
    ]
    tunings = [tuning(LINEAR), tuning(GRID), tuning(NARROW), tuning(NARROW, 432), tuning(GRID, 432)]
    sides, performance = played(events, 60_000, parts=(SINE, SINE), tunings=tunings)
    spans = [(2_000, 19_000, (3, 15), 440.0), (22_000, 39_000, (5, 15), 440.0)]
    spans.append((42_000, 60_000, (5, 15), 432.0))
    for start, end, degrees, anchor_hz in spans:
        expected = [hz_of(degree, anchor_hz) for degree in degrees]
        heard = tones.fit_lines(sides[0, start:end], RATE, expected)
        for measured, hz in zip(heard.hz, expected, strict=True):
            assert abs(tones.cents(measured, hz)) < 0.001
    assert performance.counts.refused == 0


def test_a_note_that_stays_keeps_the_degree_it_was_struck_on() -> None:
    """Its key comes to mean another degree; it follows a new anchor by the one it had."""
    events = [
        Event(Kind.TUNING, 0, value=1),
        *note(0, None, key(63), 1, 0.3),
        Event(Kind.LAYOUT, 1_000, 0, value=2, held=Held.STAY),
        *note(2_000, None, key(63), 2, 0.3),
        Event(Kind.LAYOUT, 3_000, 0, value=3),  # another anchor
    ]
    tunings = [tuning(LINEAR), tuning(GRID), tuning(GRID, 432.0), tuning(NARROW, 432.0)]
    _, performance = played(events, 8_000, tunings=tunings)
    assert goals(performance) == pytest.approx({1: hz_of(3, 432.0), 2: hz_of(15, 432.0)})
    # laid anew and to be followed, the key counts again; and it lets go what it struck
    events += [Event(Kind.LAYOUT, 4_000, 0, value=4)]
    _, performance = played(events, 8_000, tunings=tunings)
    assert goals(performance) == pytest.approx({1: hz_of(5, 432.0), 2: hz_of(5, 432.0)})
    events += [Event(Kind.NOTE_OFF, 5_000, pitch=key(63))]
    _, performance = played(events, 8_000, tunings=tunings)
    assert not performance.notes


def test_an_id_is_one_over_all_parts() -> None:
    events = [
        *of_part(1, note(0, None, hertz(400.0), 7, 0.3)),
        Event(Kind.BEND, 1_000, 0, 7, amount=100.0),  # asked of another part
        *note(5_000, None, hertz(500.0), 7, 0.3),  # the id is taken: the first is let go
    ]
    _, performance = played(events, 7_000, parts=(SINE, saw(2, LONG)))
    moved = [o.hz for o in performance.outcomes if o.kind == OutcomeKind.MOVED]
    assert moved == [pytest.approx(400.0 * 2 ** (1 / 12))]
    released = [(o.sample, o.note) for o in performance.outcomes if o.kind == OutcomeKind.RELEASED]
    assert released == [(5_000, 7)]
