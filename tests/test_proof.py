"""The signature: every sounding pitch can be proved. Each scale we ship, degree by degree.

Frequencies are measured from rendered samples by the tests' own least squares, and compared with
values worked out here from the exact intervals in 60-digit arithmetic.
"""

import mpmath
import numpy as np
import pytest
from numpy.typing import NDArray

import tones
from meantide.catalogue import Catalogue
from meantide.perform.event import Event, Kind
from meantide.pitch import Anchor, Interval, Scale, Tuning
from meantide.voice.description import AdditiveVoice, Partial
from playing import (
    RATE,
    SINE,
    STEADY,
    decibels,
    degree,
    hertz,
    note,
    outside,
    play,
    saw,
    spectrum_db,
)

pytestmark = pytest.mark.usefixtures("kernel")  # every proof with either
CATALOGUE = Catalogue()
TOLERANCE_CENTS = 0.001
SPACING, LENGTH, ATTACK = 5_200, 4_800, 480
"""Samples from note to note, of each note, and left out while it rises."""


def exact_hz(scale: Scale, anchor: Anchor, at: int) -> float:
    """Return a degree's frequency by mpmath, from the primes and their powers alone."""
    anchored = Tuning(scale, anchor).anchor_degree
    with mpmath.workdps(60):
        octaves = mpmath.mpf(0)
        for interval, sign in ((scale.interval(at), 1), (scale.interval(anchored), -1)):
            for prime, power in interval.powers:
                share = mpmath.mpf(power.numerator) / power.denominator
                octaves += sign * share * mpmath.log(prime, 2)
        return float(mpmath.mpf(anchor.hz) * mpmath.power(2, octaves))


def fine_cents(samples: NDArray[np.float64], hz: float) -> float:
    """Return how many cents a lone sine lies from `hz`: one least-squares step from there.

    The columns are cos, sin, t·cos, t·sin of the expected frequency; a detuning of w turns the
    vector (cos, sin) at the rate w. It is within a thousandth of what it says, up to a cent.
    """
    t = (np.arange(len(samples)) - (len(samples) - 1) / 2) / RATE
    angle = 2 * np.pi * hz * t
    cosine, sine = np.cos(angle), np.sin(angle)
    columns = np.stack([cosine, sine, t * cosine, t * sine], axis=1)
    c, s, ct, st = np.linalg.lstsq(columns, samples, rcond=None)[0]
    turn = (s * ct - c * st) / (c * c + s * s) / (2 * np.pi)
    return tones.cents(hz + turn, hz)


def measured_cents(scale: Scale, anchor: Anchor) -> NDArray[np.float64]:
    """Return the deviation of every degree over two periods, rendered and measured."""
    degrees = range(-scale.size, scale.size)
    events = [
        event
        for place, at in enumerate(degrees)
        for event in note(place * SPACING, place * SPACING + LENGTH, degree(at), place)
    ]
    samples, performance = play(
        events, len(degrees) * SPACING, tunings=[Tuning(scale, anchor)], block=8192
    )
    assert performance.counts.refused == 0
    deviations = []
    for place, at in enumerate(degrees):
        start = place * SPACING + ATTACK
        hz = exact_hz(scale, anchor, at)
        deviations.append(fine_cents(samples[start : place * SPACING + LENGTH], hz))
    return np.array(deviations)


def test_the_measure_itself_tells_a_thousandth_of_a_cent() -> None:
    for cents in (-0.5, -0.001, 0.0, 0.001, 0.25):
        hz = 311.1 * 2 ** (cents / 1200)
        samples = tones.note(RATE, 4_320, [(0, 0, hz)], attack_s=0.0, level_db=-6.0)
        assert fine_cents(samples, 311.1) == pytest.approx(cents, rel=1e-3, abs=1e-6)


@pytest.mark.parametrize("name", CATALOGUE.names("scales"))
def test_every_degree_of_every_scale_is_in_tune_at_two_anchors(name: str) -> None:
    scale = CATALOGUE.scale(name)
    named = scale.fifth is not None or scale.names is not None
    first, second = (
        (Anchor.parse("A4=440"), Anchor.parse("A4=415"))
        if named
        else (Anchor.parse("0=440"), Anchor.parse("0=415"))
    )
    at_first, at_second = measured_cents(scale, first), measured_cents(scale, second)
    assert np.abs(at_first).max() < TOLERANCE_CENTS
    assert np.abs(at_second).max() < TOLERANCE_CENTS
    # every pitch moved by the same number of cents, and no interval moved
    assert np.ptp(at_first - at_second) < TOLERANCE_CENTS


# Worked frequencies, standards.md §5 "Scale × anchor": anchor A4 = 440, calculated with mpmath.
MEANTONE_FIFTH = Interval.parse("3/2 - 1/4 of 81/80")
WORKED = {
    "meantone C4": ("A4=440", -3, 263.1814),
    "meantone C#4": ("A4=440", 4, 275.0000),
    "meantone E4": ("A4=440", 1, 328.9767),
    "meantone F4": ("A4=440", -4, 352.0000),
    "meantone G4": ("A4=440", -2, 393.5480),
}


@pytest.mark.parametrize("label", WORKED)
def test_worked_frequencies_of_quarter_comma_meantone_sound(label: str) -> None:
    anchor, fifths, hz = WORKED[label]
    interval = MEANTONE_FIFTH * fifths
    period = Interval.parse("2/1")
    placed = interval - period * interval.floor_div(period)  # within the octave above A
    scale = Scale.from_degrees([placed])
    below = Tuning(scale, Anchor(float(anchor.removeprefix("A4=")), degree=2))
    samples, _ = play(note(0, None, degree(1)), 48_000, tunings=[below])
    measured = tones.measure_hz(samples[1_000:], RATE, below.hz_of_degree(1))
    assert measured == pytest.approx(hz, abs=5e-5)  # the table has four places


# standards.md §5: one step up from 440, and steps 1, 4, 6, 10, 13 of thirteen parts of 3/1.
STEPS = [
    ("19-equal", 1, 456.3482),
    ("22-equal", 1, 454.0836),
    ("31-equal", 1, 449.9490),
    ("53-equal", 1, 445.7922),
    ("13-equal-of-3", 1, 478.8002),
    ("13-equal-of-3", 4, 616.9631),
    ("13-equal-of-3", 6, 730.5711),
    ("13-equal-of-3", 10, 1024.3987),
    ("13-equal-of-3", 13, 1320.0),
]


@pytest.mark.parametrize(("name", "steps", "hz"), STEPS)
def test_worked_frequencies_of_equal_divisions_sound(name: str, steps: int, hz: float) -> None:
    tuning = Tuning(CATALOGUE.scale(name), Anchor.parse("0=440"))
    samples, _ = play(note(0, None, degree(steps)), 48_000, tunings=[tuning])
    measured = tones.measure_hz(samples[1_000:], RATE, hz)
    assert measured == pytest.approx(hz, abs=5e-5)


def test_a_note_held_for_ten_minutes_ends_on_its_frequency_and_as_clean_as_it_began() -> None:
    hz, seconds = 440.0 * 2 ** (7 / 31), 600
    voice = AdditiveVoice("two", (Partial(1.0), Partial(3.0, -12.0)), STEADY)
    samples, _ = play(note(0, None, hertz(hz)), seconds * RATE, voice=voice, block=8192)
    early, late = samples[RATE : 3 * RATE], samples[-2 * RATE :]
    fits = [tones.fit_lines(part, RATE, [hz, 3 * hz]) for part in (early, late)]
    for fit in fits:
        assert abs(tones.cents(fit.hz[0], hz)) < 0.0001
        assert abs(tones.cents(fit.hz[1], 3 * hz)) < 0.0001
        assert fit.residual_db < -130.0
    assert fits[1].residual_db < fits[0].residual_db + 1.0


@pytest.mark.parametrize("hz", [82.4069, 440.0, 2_093.0045])
def test_all_but_the_partials_lies_120_db_under_a_full_scale_note(hz: float) -> None:
    voice = saw(40)
    samples, _ = play(note(0, None, hertz(hz)), 3 * RATE, voice=voice, level_db=-12.0, block=1024)
    part = samples[RATE : RATE + 2**16]
    at, db = spectrum_db(part)
    width = 9 * RATE / 2**16  # the window's main lobe
    lines = [p.ratio * hz for p in voice.sounding_partials()]
    beside = outside(at, [(line - width, line + width) for line in lines])
    assert db[beside].max() - -12.0 < -120.0
    # and of the partials that are listed, each below the fade is there at its level
    for p in voice.sounding_partials():
        if p.ratio * hz < 0.9 * RATE / 2:
            near = np.abs(at - p.ratio * hz) < width
            assert db[near].max() == pytest.approx(p.level_db - 12.0, abs=0.6)  # scalloping


def test_the_level_is_what_the_voice_and_the_velocity_say() -> None:
    samples, _ = play(note(0, None, hertz(1_000.0), 0, 0.5), 24_000, voice=SINE, level_db=-6.0)
    fit = tones.fit_lines(samples[1_000:], RATE, [1_000.0])
    assert fit.level_db[0] == pytest.approx(-6.0 + decibels(0.5), abs=1e-4)


def test_changing_the_anchor_moves_sounding_notes_by_one_factor() -> None:
    scale = CATALOGUE.scale("just-five-limit")
    before, after = (Tuning(scale, Anchor.parse(text)) for text in ("A4=440", "A4=435"))
    chord = [0, 4, 7, 9]
    events = [event for n, each in enumerate(chord) for event in note(0, None, degree(each), n)]
    events.append(Event(Kind.TUNING, 40_000, value=2, samples=4_800))
    samples, _ = play(events, 100_000, tunings=[before, after], level_db=-14.0)
    fits = [
        tones.fit_lines(samples[start:stop], RATE, [t.hz_of_degree(d) for d in chord])
        for start, stop, t in ((1_000, 40_000, before), (45_000, 100_000, after))
    ]
    moved = [tones.cents(b, a) for a, b in zip(fits[0].hz, fits[1].hz, strict=True)]
    assert moved == pytest.approx([tones.cents(435.0, 440.0)] * 4, abs=TOLERANCE_CENTS)
