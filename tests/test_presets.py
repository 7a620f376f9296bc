"""The presets that ship: scales against published tables and closed forms, anchors against theirs.

The tables of cents are calculated from the definitions that stand beside them, to three decimals,
unless a source is named; "from memory" marks values that were recalled and not looked up.
"""

import re
from collections import Counter
from fractions import Fraction
from pathlib import Path

import mpmath
import pytest

from meantide.catalogue import Catalogue, shipped_folder
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Anchor, Interval, Scale, Tuning

OURS = Catalogue([shipped_folder()])
SCALES, ANCHORS = OURS.names("scales"), OURS.names("anchors")

FIFTH = Interval.ratio(3, 2)
PYTHAGOREAN_COMMA = Interval.ratio(531441, 524288)
SYNTONIC_COMMA = Interval.ratio(81, 80)
SCHISMA = Interval.ratio(32805, 32768)

TRADITIONS = (
    "amadinda-5",
    "arab-rast-24",
    "byzantine-68",
    "byzantine-72",
    "guqin-hui",
    "hirajoshi",
    "ottoman-24",
    "ottoman-rast-53",
    "pelog-1885",
    "persian-17",
    "sanfen-sunyi-12",
    "shruti-22",
    "slendro-1885",
    "thai-7",
    "timbila-7",
    "urmawi-17",
    "zalzal-lute",
    "zhu-zaiyu-12",
)


def cents(scale: Scale) -> list[float]:
    return [scale.interval(degree).cents for degree in range(scale.size)]


def ratios(scale: Scale) -> list[str]:
    return [str(scale.interval(degree)) for degree in range(1, scale.size)]


def folded(interval: Interval) -> Interval:
    return interval - OCTAVE * interval.floor_div(OCTAVE)


def nearest_fifth_cents(scale: Scale) -> float:
    """Return the error of the degree nearest to 3/2, by trying all of them."""
    return min((each - FIFTH.cents for each in cents(scale)), key=abs)


# All of them.


def test_there_are_enough() -> None:
    assert len(SCALES) >= 60
    assert len(ANCHORS) >= 25
    assert len(TRADITIONS) >= 8


@pytest.mark.parametrize("name", SCALES)
def test_a_scale_is_named_as_its_file_and_says_what_it_is_and_where_from(name: str) -> None:
    scale = OURS.scale(name)
    assert scale.name == name
    assert scale.source
    assert scale.about.endswith(".")
    # Sizes of errors are computed where they are shown, never written by hand.
    assert not re.search(r"[0-9]\.[0-9]", scale.about)


@pytest.mark.parametrize("name", TRADITIONS)
def test_a_tradition_is_told_as_one_reading_among_others(name: str) -> None:
    assert OURS.scale(name).about.startswith("One ")
    assert "among others" in OURS.scale(name).about


# Equal divisions.

EQUAL = [int(name.removesuffix("-equal")) for name in SCALES if re.fullmatch("[0-9]+-equal", name)]


@pytest.mark.parametrize("parts", EQUAL)
def test_equal_divisions_divide_the_octave_equally(parts: int) -> None:
    scale = OURS.scale(f"{parts}-equal")
    assert (scale.size, scale.period, scale.interval(1) * parts) == (parts, OCTAVE, OCTAVE)


def test_what_is_said_of_fifths_is_so() -> None:
    told = Counter[str]()
    for parts in EQUAL:
        scale = OURS.scale(f"{parts}-equal")
        error = nearest_fifth_cents(scale)
        if "wide fifths" in scale.about:
            assert 2 < error < 30
            told["wide"] += 1
        if "no fifth near 3/2" in scale.about:
            assert abs(error) > 30  # more than a comma
            told["none"] += 1
        if "fifths near 3/2" in scale.about or "fifths very near 3/2" in scale.about:
            assert abs(error) < 1
            told["near"] += 1
    assert min(told[kind] for kind in ("wide", "none", "near")) > 0


@pytest.mark.parametrize(
    ("parts", "meantone"),
    [
        (19, "third-comma"),
        (31, "quarter-comma"),
        (43, "fifth-comma"),
        (50, "two-sevenths-comma"),
        (55, "sixth-comma"),
    ],
)
def test_what_is_said_of_meantones_is_so(parts: int, meantone: str) -> None:
    scale = OURS.scale(f"{parts}-equal")
    assert f"near {meantone}" in scale.about
    fifth = FIFTH.cents + nearest_fifth_cents(scale)
    found = {
        name: abs(cents(OURS.scale(name))[7] - fifth)
        for name in SCALES
        if name.startswith("meantone-") and OURS.scale(name).size == 12
    }
    assert len(found) == 5
    assert min(found, key=found.__getitem__) == f"meantone-{meantone}"


# Historical temperaments. The first eight rows are standards.md §5, each from its definition.

TABLE = {
    "pythagorean": [0, 113.685, 203.910, 294.135, 407.820, 498.045, 611.730, 701.955, 815.640,
                    905.865, 996.090, 1109.775],
    "just-five-limit": [0, 111.731, 203.910, 315.641, 386.314, 498.045, 590.224, 701.955, 813.686,
                        884.359, 1017.596, 1088.269],
    "meantone-quarter-comma": [0, 76.049, 193.157, 310.265, 386.314, 503.422, 579.471, 696.578,
                               772.627, 889.735, 1006.843, 1082.892],
    "werckmeister-3": [0, 90.225, 192.180, 294.135, 390.225, 498.045, 588.270, 696.090, 792.180,
                       888.270, 996.090, 1092.180],
    "kirnberger-3": [0, 90.225, 193.157, 294.135, 386.314, 498.045, 590.224, 696.578, 792.180,
                     889.735, 996.090, 1088.269],
    "vallotti": [0, 94.135, 196.090, 298.045, 392.180, 501.955, 592.180, 698.045, 796.090,
                 894.135, 1000.000, 1090.225],
    "young-1": [0, 93.890, 195.845, 297.800, 391.690, 499.878, 591.935, 697.923, 795.845, 893.768,
                999.755, 1091.813],
    "young-2": [0, 90.225, 196.090, 294.135, 392.180, 498.045, 588.270, 698.045, 792.180, 894.135,
                996.090, 1090.225],
}  # fmt: skip
# J. M. Barbour, Tuning and Temperament, 1951, in whole cents: from memory.
WHOLE_CENTS = {
    "grammateus": [0, 102, 204, 306, 408, 498, 600, 702, 804, 906, 1008, 1110],
    "werckmeister-4": [0, 82, 196, 294, 392, 498, 588, 694, 784, 890, 1004, 1086],
    "werckmeister-5": [0, 96, 204, 300, 396, 504, 600, 702, 792, 900, 1002, 1098],
    "kirnberger-2": [0, 90, 204, 294, 386, 498, 590, 702, 792, 895, 996, 1088],
    "neidhardt-1": [0, 94, 196, 296, 392, 498, 592, 698, 796, 894, 996, 1092],
}


@pytest.mark.parametrize("name", TABLE)
def test_historical_scales_as_tabled(name: str) -> None:
    assert cents(OURS.scale(name)) == pytest.approx(TABLE[name], abs=5.1e-4)  # three decimals


@pytest.mark.parametrize("name", WHOLE_CENTS)
def test_other_temperaments_as_tabled_in_whole_cents(name: str) -> None:
    assert cents(OURS.scale(name)) == pytest.approx(WHOLE_CENTS[name], abs=0.51)


# How many fifths are tempered by what share of which comma, from each definition; pure ones not.
TEMPERED = {
    "grammateus": {PYTHAGOREAN_COMMA * Fraction(-1, 2): 2},
    "werckmeister-3": {PYTHAGOREAN_COMMA * Fraction(-1, 4): 4},
    "werckmeister-4": {
        PYTHAGOREAN_COMMA * Fraction(-1, 3): 5,
        PYTHAGOREAN_COMMA * Fraction(1, 3): 2,
    },
    "werckmeister-5": {
        PYTHAGOREAN_COMMA * Fraction(-1, 4): 5,
        PYTHAGOREAN_COMMA * Fraction(1, 4): 1,
    },
    "kirnberger-2": {SYNTONIC_COMMA * Fraction(-1, 2): 2, -SCHISMA: 1},
    "kirnberger-3": {SYNTONIC_COMMA * Fraction(-1, 4): 4, -SCHISMA: 1},
    "vallotti": {PYTHAGOREAN_COMMA * Fraction(-1, 6): 6},
    "young-1": {
        SYNTONIC_COMMA * Fraction(-3, 16): 4,
        (PYTHAGOREAN_COMMA - SYNTONIC_COMMA * Fraction(3, 4)) * Fraction(-1, 4): 4,
    },
    "young-2": {PYTHAGOREAN_COMMA * Fraction(-1, 6): 6},
    "neidhardt-1": {
        PYTHAGOREAN_COMMA * Fraction(-1, 6): 4,
        PYTHAGOREAN_COMMA * Fraction(-1, 12): 4,
    },
    "lambert": {PYTHAGOREAN_COMMA * Fraction(-1, 7): 7},
}


@pytest.mark.parametrize("name", TEMPERED)
def test_the_fifths_of_circular_temperaments_are_those_of_their_definition(name: str) -> None:
    scale = OURS.scale(name)
    fifths = [scale.interval(at + 7) - scale.interval(at) for at in range(12)]
    assert sum(fifths, UNISON) == OCTAVE * 7
    assert Counter(fifth - FIFTH for fifth in fifths if fifth != FIFTH) == TEMPERED[name]


def test_youngs_first_thirds_are_as_he_says() -> None:
    # Philosophical Transactions 1800: C:E too sharp by a quarter of a comma, E:G# equal to Ab:C,
    # F#:A# too sharp by a comma.
    scale, third = OURS.scale("young-1"), Interval.ratio(5, 4)
    errors = {at: scale.interval(at + 4) - scale.interval(at) - third for at in (0, 4, 6, 8)}
    assert errors[0] == SYNTONIC_COMMA * Fraction(1, 4)
    assert errors[4] == errors[8]
    assert errors[6] == SYNTONIC_COMMA


@pytest.mark.parametrize(
    ("name", "degree", "pure"),
    # What each share of the comma makes pure: arithmetic, common practice.
    [
        ("third", 3, "6/5"),
        ("two-sevenths", 1, "25/24"),
        ("quarter", 4, "5/4"),
        ("fifth", 11, "15/8"),
        ("sixth", 6, "45/32"),
    ],
)
def test_meantones_have_the_pure_interval_of_their_kind(name: str, degree: int, pure: str) -> None:
    scale = OURS.scale(f"meantone-{name}-comma")
    assert scale.interval(degree) == Interval.parse(pure)
    assert scale.names is not None
    assert " ".join(scale.names) == "C C# D Eb E F F# G G# A Bb B"


def test_nineteen_meantone_notes_hold_the_twelve() -> None:
    nineteen = Tuning(OURS.scale("meantone-quarter-comma-19"), OURS.anchor("a440"))
    twelve = Tuning(OURS.scale("meantone-quarter-comma"), OURS.anchor("a440"))
    for name in twelve.scale.names or ():
        assert nineteen.hz_of_name(f"{name}4") == twelve.hz_of_name(f"{name}4")
    assert nineteen.hz_of_name("C#4") == pytest.approx(275.0, rel=1e-15)  # standards.md §5


# Just scales, harmonics, products.


def test_other_just_scales() -> None:
    assert ratios(OURS.scale("just-major")) == ["9/8", "5/4", "4/3", "3/2", "5/3", "15/8"]
    euler = OURS.scale("just-euler")
    # Every note is F times a product of at most three threes and two fives (from memory).
    made = {
        folded(euler.interval(5) + Interval.ratio(3**threes * 5**fives))
        for threes in range(4)
        for fives in range(3)
    }
    assert made == {euler.interval(degree) for degree in range(12)}
    diamond = OURS.scale("just-diamond-11")
    odd = (1, 3, 5, 7, 9, 11)
    made = {folded(Interval.ratio(a, b)) for a in odd for b in odd}
    assert made == {diamond.interval(degree) for degree in range(diamond.size)}


@pytest.mark.parametrize("name", [name for name in SCALES if name.startswith("genus-")])
def test_greek_genera_are_two_like_tetrachords_and_a_tone(name: str) -> None:
    scale = OURS.scale(name)
    assert scale.interval(3) == Interval.ratio(4, 3)
    assert scale.interval(4) == FIFTH
    for degree in (1, 2):
        assert scale.interval(4 + degree) - FIFTH == scale.interval(degree)
    told = re.search("upwards (.*), with", scale.about)
    assert told
    steps = [scale.interval(at + 1) - scale.interval(at) for at in range(3)]
    assert [str(step) for step in steps] == told[1].split(", ")


def test_harmonics_and_their_mirrors() -> None:
    # standards.md §5: harmonics 8 to 16, in cents above 8.
    expected = [0, 203.910, 386.314, 551.318, 701.955, 840.528, 968.826, 1088.269]
    assert cents(OURS.scale("harmonics-8-16")) == pytest.approx(expected, abs=5.1e-4)
    for low, high in ((6, 12), (8, 16), (12, 24)):
        above, below = (
            OURS.scale(f"harmonics-{low}-{high}"),
            OURS.scale(f"subharmonics-{high}-{low}"),
        )
        assert above.size == below.size == low
        for degree in range(low + 1):
            assert above.interval(degree) + below.interval(low - degree) == OCTAVE
    twelfth = OURS.scale("harmonics-4-12")
    assert twelfth.period == Interval.ratio(3)
    assert [twelfth.interval(at) for at in range(9)] == [Interval.ratio(n, 4) for n in range(4, 13)]


def test_product_sets() -> None:
    # common practice, no source: the six products of two of 1 3 5 7 over the smallest, 1·3.
    six = OURS.scale("products-1-3-5-7-by-2")
    assert ratios(six) == ["7/6", "5/4", "35/24", "5/3", "7/4"]
    sizes = {"1-3-5-9-by-2": 6, "1-3-5-7-9-by-2": 10, "1-3-5-7-9-11-by-3": 20}  # binomials
    for name, size in sizes.items():
        assert OURS.scale(f"products-{name}").size == size


# Outside the octave.


@pytest.mark.parametrize(
    ("name", "size", "period"),
    [
        ("13-equal-of-3", 13, "3/1"),
        ("just-13-of-3", 13, "3/1"),
        ("9-of-13-of-3", 9, "3/1"),
        ("39-equal-of-3", 39, "3/1"),
        ("25-equal-of-5", 25, "5/1"),
        ("4-equal-of-3-2", 4, "3/2"),
        ("9-equal-of-3-2", 9, "3/2"),
        ("11-equal-of-3-2", 11, "3/2"),
        ("20-equal-of-3-2", 20, "3/2"),
        ("12-equal-pure-fifths", 12, "12/7 of 3/2"),
        ("12-equal-pure-twelfths", 12, "12/19 of 3/1"),
        ("harmonics-4-12", 8, "3/1"),
        ("guqin-hui", 13, "8/1"),
    ],
)
def test_scales_outside_the_octave(name: str, size: int, period: str) -> None:
    scale = OURS.scale(name)
    assert (scale.size, scale.period) == (size, Interval.parse(period))
    assert scale.interval(size) == scale.period


def test_thirteen_steps_of_three_beside_their_just_form() -> None:
    just, equal = OURS.scale("just-13-of-3"), OURS.scale("13-equal-of-3")
    # standards.md §5, cents from the ratios, then equal less just.
    expected = [0, 133.238, 301.847, 435.084, 582.512, 736.931, 884.359, 1017.596, 1165.024,
                1319.443, 1466.871, 1600.108, 1768.717]  # fmt: skip
    assert cents(just) == pytest.approx(expected, abs=5.1e-4)
    errors = [equal.interval(at).cents - just.interval(at).cents for at in range(1, 13)]
    first = [13.067, -9.238, 3.829, 2.705, -5.409, -6.533]
    assert errors == pytest.approx([*first, *(-error for error in reversed(first))], abs=5.1e-4)


def test_stretched_twelves_have_the_pure_interval_they_promise() -> None:
    assert OURS.scale("12-equal-pure-fifths").interval(7) == FIFTH
    assert OURS.scale("12-equal-pure-twelfths").interval(19) == Interval.ratio(3)
    for name in ("12-equal-pure-fifths", "12-equal-pure-twelfths"):
        assert 1200 < OURS.scale(name).period.cents < 1204
        tuning = Tuning(OURS.scale(name), OURS.anchor("a440"))
        assert str(tuning.name_of_degree(7)) == "G4"


# Modes.


@pytest.mark.parametrize(
    ("name", "names"),
    [
        ("mode-dorian-pythagorean", "D E F G A B C"),
        ("mode-phrygian-pythagorean", "E F G A B C D"),
        ("mode-lydian-pythagorean", "F G A B C D E"),
        ("mode-mixolydian-pythagorean", "G A B C D E F"),
        ("mode-major-31", "C D E F G A B"),
        ("mode-minor-31", "A B C D E F G"),
        ("mode-harmonic-minor-meantone", "A B C D E F G#"),
        ("mode-pentatonic-pythagorean", "C D E G A"),
    ],
)
def test_modes_keep_the_names_and_the_pitches_of_the_scale_they_are_chosen_from(
    name: str, names: str
) -> None:
    mode = OURS.scale(name)
    assert mode.names == tuple(names.split())
    origin = {"pythagorean": "pythagorean", "31": "31-equal", "meantone": "meantone-quarter-comma"}
    whole = Tuning(OURS.scale(origin[name.rpartition("-")[2]]), OURS.anchor("a440"))
    tuning = Tuning(mode, OURS.anchor("a440"))
    for spelling in mode.names:
        hz = whole.hz_of_name(f"{spelling}4")
        assert tuning.hz_of_name(f"{spelling}4") == pytest.approx(hz, rel=1e-14)


# Traditions beyond Western Europe.


def test_shrutis_are_three_sizes_of_step() -> None:
    scale = OURS.scale("shruti-22")
    # soundofindia.com's list, as in standards.md §5; its decimals for 5/4 are not the ratio (§0).
    listed = (
        "256/243 16/15 10/9 9/8 32/27 6/5 5/4 81/64 4/3 27/20 45/32 729/512 3/2 128/81 8/5 5/3 "
        "27/16 16/9 9/5 15/8 243/128"
    )
    assert ratios(scale) == listed.split()
    assert scale.interval(7).cents == pytest.approx(386.3137, abs=5.1e-5)
    steps = {scale.interval(at + 1) - scale.interval(at) for at in range(22)}
    assert {str(step) for step in steps} == {"256/243", "81/80", "25/24"}


def test_ottoman_degrees_in_commas() -> None:
    # The notes of the modern Turkish theory in 53rds of an octave, from memory.
    commas = [0, 4, 5, 8, 9, 13, 14, 17, 18, 22, 23, 26, 27, 30, 31, 35, 36, 39, 40, 44, 45, 48, 49,
              52]  # fmt: skip
    assert [round(53 * each / 1200) for each in cents(OURS.scale("ottoman-24"))] == commas
    rast = OURS.scale("ottoman-rast-53")
    steps = [(rast.interval(at + 1) - rast.interval(at)).cents * 53 / 1200 for at in range(7)]
    assert steps == pytest.approx([9, 8, 5, 9, 9, 8, 5], abs=1e-9)


def test_urmawis_steps_are_limmas_and_commas() -> None:
    scale = OURS.scale("urmawi-17")
    steps = [str(scale.interval(at + 1) - scale.interval(at)) for at in range(17)]
    # from memory: two limmas and a comma to each whole tone, a limma where a fourth is full
    assert Counter(steps) == {"256/243": 12, "531441/524288": 5}


def test_pipes_and_strings_of_china() -> None:
    pipes = OURS.scale("sanfen-sunyi-12")
    lengths = [Fraction(1)]
    while len(lengths) < 12:  # a third taken away, or added where it would pass the octave
        shorter = lengths[-1] * Fraction(2, 3)
        lengths.append(shorter if shorter > Fraction(1, 2) else lengths[-1] * Fraction(4, 3))
    expected = sorted(1200 * float(mpmath.log(1 / mpmath.mpf(x.numerator) * x.denominator, 2))
                      for x in lengths)  # fmt: skip
    assert cents(pipes) == pytest.approx(expected, abs=1e-9)
    guqin = OURS.scale("guqin-hui")
    # The thirteen hui as parts of the string, from memory; the last octave ends at the first hui.
    hui = [
        "7/8",
        "5/6",
        "4/5",
        "3/4",
        "2/3",
        "3/5",
        "1/2",
        "2/5",
        "1/3",
        "1/4",
        "1/5",
        "1/6",
        "1/8",
    ]
    for at, part in enumerate(hui, start=1):
        assert guqin.interval(at) == -Interval.parse(part)


def test_parts_of_the_octave_of_the_byzantine_theories() -> None:
    for name, parts, steps in (
        ("byzantine-68", 68, [12, 9, 7, 12, 12, 9, 7]),
        ("byzantine-72", 72, [12, 10, 8, 12, 12, 10, 8]),
    ):
        scale = OURS.scale(name)
        found = [scale.interval(at + 1) - scale.interval(at) for at in range(7)]
        assert found == [OCTAVE * Fraction(step, parts) for step in steps]


def test_other_traditions_are_as_told() -> None:
    # All from memory, in the words of each file's source.
    assert cents(OURS.scale("arab-rast-24")) == [0, 200, 350, 500, 700, 900, 1050]
    assert cents(OURS.scale("slendro-1885")) == [0, 228, 484, 728, 960]
    assert cents(OURS.scale("pelog-1885")) == [0, 137, 446, 575, 687, 820, 1098]
    persian = cents(OURS.scale("persian-17"))
    lower = [0, 90, 135, 205, 295, 340, 410, 500]  # the same frets stand a fifth higher
    assert [*persian, 1200] == [*lower, 565, 630, *(700 + each for each in lower)]
    assert ratios(OURS.scale("zalzal-lute")) == ["9/8", "27/22", "4/3", "3/2", "18/11", "16/9"]
    assert ratios(OURS.scale("hirajoshi")) == ["9/8", "32/27", "3/2", "128/81"]
    for name, parts in (("thai-7", 7), ("timbila-7", 7), ("amadinda-5", 5), ("zhu-zaiyu-12", 12)):
        assert OURS.scale(name).interval(1) * parts == OCTAVE


# Anchors: standards.md §4 (cents from 440 calculated); Hz as in each file's source.

PITCHES = {
    "a440": ("A4", 440, 0),
    "a439-britain-1899": ("A4", 439, -3.94),
    "a435": ("A4", 435, -19.79),
    "a440-stuttgart-corrected-1834": ("A4", 440.2, 0.79),
    "c256": ("C4", 256, -37.63),
    "a433-london-1834": ("A4", 433.2, -26.96),
    "a452-london-1846": ("A4", 452.5, 48.5),
    "a454-london-1874": ("A4", 454, 54.23),
    "a422-handel-1751": ("A4", 422.5, -70.26),
    "a421-stein-1780": ("A4", 421.6, -73.95),
    "a428-harris": ("A4", 428.7, -45.04),
    "a415": ("A4", 415, -101.27),
    "a390-opera": ("A4", 390, -208.84),
    "a466": ("A4", 466, 99.39),
    "a473-quire": ("A4", 473, 125.2),
    "a442": ("A4", 442, 7.85),
    "a443": ("A4", 443, 11.76),
}


@pytest.mark.parametrize("name", PITCHES)
def test_anchors_as_tabled(name: str) -> None:
    note, hz, expected = PITCHES[name]
    anchor = OURS.anchor(name)
    assert (str(anchor.note), anchor.hz) == (note, hz)
    tuning = Tuning(OURS.scale("12-equal"), anchor)
    found = 1200 * float(mpmath.log(mpmath.mpf(tuning.hz_of_name("A4")) / 440, 2))
    assert found == pytest.approx(expected, abs=0.0051)  # two decimals


def test_anchors_that_are_not_on_a() -> None:
    twelve = OURS.scale("12-equal")
    # standards.md §0, §4: A4 of C4 = 256; Lissajous's B of 1000 single vibrations gives 890.898.
    a = Tuning(twelve, OURS.anchor("c256")).hz_of_name("A4")
    assert a == pytest.approx(430.5390, abs=5.1e-5)
    a = Tuning(twelve, OURS.anchor("b500-1859")).hz_of_name("A4")
    assert 2 * a == pytest.approx(890.898, abs=1.1e-3)
    # Encyclopaedia Britannica 1911: the fork of 1813 by meantone has its A at 423.7.
    meantone = Tuning(OURS.scale("meantone-quarter-comma"), OURS.anchor("c506-london-1813"))
    assert meantone.hz_of_name("A4") == pytest.approx(423.647, abs=5.1e-4)


def test_anchors_say_what_they_are_over_five_centuries() -> None:
    years = []
    for name in ANCHORS:
        anchor = OURS.anchor(name)
        assert (anchor.name, bool(anchor.source), bool(anchor.about)) == (name, True, True)
        if anchor.year is not None:
            years.append(anchor.year)
            assert anchor.place or name == "a440"  # the standard is the world's
        if re.fullmatch(".*-[0-9]{4}", name):
            assert name.endswith(str(anchor.year))
    assert len(years) >= 25
    assert {17, 18, 19, 20} <= {(year - 1) // 100 + 1 for year in years}
    assert max(years) - min(years) > 500
    warm = {name: OURS.anchor(name).celsius for name in ANCHORS if OURS.anchor(name).celsius}
    assert warm == {"a435": 15, "a435-vienna-1885": 15, "a439-london-1896": 20}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("year: 0", "year: got 0; allowed: a whole number from 1 to 9999"),
        ("year: 1751.5", "year: got 1751.5; allowed: a whole number"),
        ("year: true", "year: got True; allowed: a whole number"),
        ("year: '1751'", "year: got '1751'; allowed: a whole number"),
        ("place: 5", "place: got 5; allowed: text"),
        ("places: London", "unknown field: got 'places'; allowed: did you mean place?"),
    ],
)
def test_years_and_places_that_are_refused(line: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "fork.yaml").write_text(f"note: A4\nhz: 422.5\n{line}\n")
    with pytest.raises(InvalidValue) as caught:
        OURS.anchor("fork.yaml", tmp_path)
    assert str(caught.value).startswith(f"{tmp_path / 'fork.yaml'}:3: {message}")


def test_years_are_checked_when_anchors_are_made() -> None:
    for year in (0, 10_000, True, 1751.0):
        with pytest.raises(InvalidValue, match="year"):
            Anchor(440, degree=0, year=year)  # type: ignore[arg-type]


def test_anchors_keep_year_and_place() -> None:
    anchor = Anchor(422.5, note=OURS.anchor("a440").note, year=1751, place="London")
    assert OURS.anchor(anchor.to_mapping()) == anchor
