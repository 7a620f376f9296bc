"""The assay without a log, on tones that scipy makes: notes, anchor, degrees, the scale itself."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.signal import chirp, sawtooth

from meantide.catalogue import Catalogue
from meantide.errors import CheckFailed
from meantide.offline.heard_notes import heard_notes
from meantide.offline.scale_assay import Finding, ScaleAssay, assay_scale
from meantide.pitch import Anchor, Tuning

RATE = 44_100
A4 = 437.3


def tuning(scale: str, anchor: str = "A4=440") -> Tuning:
    return Tuning(Catalogue().scale(scale), Anchor.parse(anchor))


def tone(hz: float, seconds: float, kind: str) -> np.ndarray:
    """Make a sine (a chirp that stands still) or a bright tone: a saw, filtered of its aliases."""
    t = np.arange(round(seconds * RATE)) / RATE
    if kind == "sine":
        made = chirp(t, hz, seconds, hz, phi=-90)
    else:  # a saw at eight times the rate, brought down by its spectrum alone
        fine = np.arange(8 * len(t)) / (8 * RATE)
        spectrum = np.fft.rfft(sawtooth(2 * np.pi * hz * fine))[: len(t) // 2 + 1]
        made = np.fft.irfft(spectrum, len(t)) / 8
    rise = np.minimum(1.0, np.arange(len(t)) / (0.02 * RATE))
    return 0.2 * made * rise * rise[::-1]


def with_noise(samples: np.ndarray, snr_db: float) -> np.ndarray:
    """Add white noise at a signal-to-noise ratio, power over power."""
    power = np.mean(samples**2) * 10.0 ** (-snr_db / 10.0)
    return samples + np.random.default_rng(7).normal(0.0, math.sqrt(power), len(samples))


def pitches_31(degrees: Sequence[int]) -> list[float]:
    """Degrees of thirty-one parts above C4, A4 (degree 23) at 437.3 Hz; by hand."""
    return [A4 * 2.0 ** ((degree - 23) / 31) for degree in degrees]


def melody(kind: str) -> np.ndarray:
    """Legato, no silence between: C D E F G A B and C again."""
    hz = pitches_31([0, 5, 10, 13, 18, 23, 28, 31])
    return with_noise(np.concatenate([tone(each, 0.9, kind) for each in hz]), 20.0)


def chords(kind: str) -> np.ndarray:
    """Three at a time: F A C, C E G, G B D, each a mixture."""
    chosen = ([13, 23, 31], [0, 10, 18], [18, 28, 36])
    mixed = [sum(tone(hz, 1.5, kind) for hz in pitches_31(chord)) for chord in chosen]
    return with_noise(np.concatenate(mixed), 20.0)


def assayed(samples: np.ndarray, scale: str, tolerance: float = 5.0) -> ScaleAssay:
    return assay_scale(tuning(scale), heard_notes(samples, RATE), tolerance)


@pytest.mark.parametrize("make", [melody, chords])
@pytest.mark.parametrize("kind", ["sine", "saw"])
def test_the_anchor_is_found_within_half_a_cent_at_20_db(make, kind) -> None:
    found = assayed(make(kind), "31-equal")
    off = 1200 * math.log2(found.fit.tuning.anchor.hz / A4)
    assert abs(off) < 0.5
    assert abs(off) < 5 * found.fit.uncertainty_cents  # and it knows how sure it is
    assert found.fit.uncertainty_cents < 0.25
    assert found.finding is Finding.FITS
    assert not found.set_aside
    assert {row.degree for row in found.degrees} == {0, 5, 10, 13, 18, 23, 28}
    assert all(abs(row.cents) < 0.5 + 3 * row.uncertainty_cents for row in found.degrees)


@pytest.mark.parametrize("make", [melody, chords])
@pytest.mark.parametrize("kind", ["sine", "saw"])
@pytest.mark.parametrize("scale", ["12-equal", "19-equal", "just-five-limit", "pythagorean"])
def test_a_wrong_scale_is_named_as_wrong(make, kind, scale) -> None:
    assert assayed(make(kind), scale).finding is Finding.WRONG


def test_quarter_comma_meantone_is_told_from_31_only_by_a_small_tolerance() -> None:
    # The fifths are 696.774 and 696.578 cents: over seven names they part by under 1.2 cents.
    samples = melody("saw")
    assert assayed(samples, "meantone-quarter-comma").finding is Finding.FITS
    assert assayed(samples, "meantone-quarter-comma", 0.1).finding is not Finding.FITS


def test_a_scale_so_fine_that_all_fits_leaves_it_undecided() -> None:
    found = assayed(melody("saw"), "1000-equal")
    assert found.chance == 1.0
    assert found.finding is Finding.UNDECIDED


def test_one_note_gone_sharp_is_named_and_has_no_part_in_the_anchor() -> None:
    hz = pitches_31([0, 5, 10, 13, 18, 23, 28, 31])
    hz[3] *= 2.0 ** (9 / 1200)
    samples = with_noise(np.concatenate([tone(each, 0.9, "saw") for each in hz]), 20.0)
    found = assayed(samples, "31-equal")
    assert found.finding is Finding.NOTES_OUT
    (out,) = [row for row in found.degrees if row.out]
    assert (out.name, out.degree) == ("F", 13)
    assert out.cents == pytest.approx(9.0, abs=0.5)
    assert abs(1200 * math.log2(found.fit.tuning.anchor.hz / A4)) < 0.5


def test_partials_of_a_bell_do_not_spoil_the_scale() -> None:
    # A bar's partials (a free bar's ratios, handbook values) beside a reed.
    bar = [(1.0, 1.0), (2.756, 0.5), (5.404, 0.3)]
    hz = pitches_31([0, 10, 18, 23, 31])
    struck = [sum(gain * tone(each * ratio, 1.2, "sine") for ratio, gain in bar) for each in hz]
    found = assayed(with_noise(np.concatenate(struck), 40.0), "31-equal")
    assert found.finding is Finding.FITS
    assert len(found.set_aside) >= 5
    assert abs(1200 * math.log2(found.fit.tuning.anchor.hz / A4)) < 0.5


def test_the_many_partials_of_a_low_bright_tone_are_no_notes() -> None:
    notes = heard_notes(with_noise(tone(101.7, 1.5, "saw"), 20.0), RATE)
    assert [note.hz for note in notes] == [pytest.approx(101.7, abs=0.001)]


@pytest.mark.parametrize("samples", [np.zeros(RATE), np.zeros(0), np.zeros(100)])
def test_silence_is_refused_in_a_sentence(samples) -> None:
    with pytest.raises(CheckFailed, match="only silence"):
        heard_notes(samples, RATE)


def test_noise_has_no_notes() -> None:
    with pytest.raises(CheckFailed, match="no note"):
        heard_notes(np.random.default_rng(1).normal(0.0, 0.1, 3 * RATE), RATE)
