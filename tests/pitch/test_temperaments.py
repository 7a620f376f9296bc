"""Historical temperaments stacked from exact fifths, against their tables and frequencies.

Each is given by eleven fifths along the chain Eb Bb F C G D A E B F# C# G#. The cents are
calculated from the definitions beside them, to three decimals; the definitions come from: Young
1800 (Philosophical Transactions) for his, the letter of Kirnberger to Forkel for Kirnberger III,
and modern summaries for Werckmeister III and Vallotti.
"""

import pytest

from meantide.catalogue import Catalogue, shipped_folder
from meantide.pitch import OCTAVE, UNISON, Anchor, Interval, Scale, Tuning, forms

PURE = "3/2"
MEANTONE = "3/2 - 1/4 of 81/80"
WERCKMEISTER = "3/2 - 1/4 of 531441/524288"
SIXTH = "3/2 - 1/6 of 531441/524288"
SCHISMA = "3/2 - 32805/32768"
YOUNG = "3/2 - 3/16 of 81/80"
# What Young's four fifths of 3/16 leave of the comma 531441/524288, in four parts.
YOUNGS_REST = "3/2 - 1/4 of 531441/524288 + 3/16 of 81/80"

ORDER = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]

# The fifths Eb-Bb, Bb-F, F-C, C-G, G-D, D-A, A-E, E-B, B-F#, F#-C#, C#-G#.
FIFTHS = {
    "pythagorean": [PURE] * 11,
    "quarter-comma": [MEANTONE] * 11,
    "werckmeister": [PURE] * 3 + [WERCKMEISTER] * 3 + [PURE] * 2 + [WERCKMEISTER] + [PURE] * 2,
    "kirnberger": [PURE] * 3 + [MEANTONE] * 4 + [PURE] * 2 + [SCHISMA] + [PURE],
    "vallotti": [PURE] * 2 + [SIXTH] * 6 + [PURE] * 3,
    "young-1": [PURE] + [YOUNGS_REST] * 2 + [YOUNG] * 4 + [YOUNGS_REST] * 2 + [PURE] * 2,
    "young-2": [PURE] * 3 + [SIXTH] * 6 + [PURE] * 2,
}
TABLE = {
    "pythagorean": [0, 113.685, 203.910, 294.135, 407.820, 498.045, 611.730, 701.955, 815.640,
                    905.865, 996.090, 1109.775],
    "quarter-comma": [0, 76.049, 193.157, 310.265, 386.314, 503.422, 579.471, 696.578, 772.627,
                      889.735, 1006.843, 1082.892],
    "werckmeister": [0, 90.225, 192.180, 294.135, 390.225, 498.045, 588.270, 696.090, 792.180,
                     888.270, 996.090, 1092.180],
    "kirnberger": [0, 90.225, 193.157, 294.135, 386.314, 498.045, 590.224, 696.578, 792.180,
                   889.735, 996.090, 1088.269],
    "vallotti": [0, 94.135, 196.090, 298.045, 392.180, 501.955, 592.180, 698.045, 796.090,
                 894.135, 1000.000, 1090.225],
    "young-1": [0, 93.890, 195.845, 297.800, 391.690, 499.878, 591.935, 697.923, 795.845, 893.768,
                999.755, 1091.813],
    "young-2": [0, 90.225, 196.090, 294.135, 392.180, 498.045, 588.270, 698.045, 792.180, 894.135,
                996.090, 1090.225],
}  # fmt: skip


def fifths_of(name: str) -> list[Interval]:
    return [Interval.parse(fifth) for fifth in FIFTHS[name]]


def temperament(name: str) -> Scale:
    names, steps = forms.twelve_fifths("Eb", fifths_of(name), OCTAVE)
    assert names == ORDER
    return Scale.from_degrees(steps, names=names, name=name)


@pytest.mark.parametrize("name", FIFTHS)
def test_degrees_as_tabled(name: str) -> None:
    scale = temperament(name)
    found = [scale.interval(degree).cents for degree in range(12)]
    assert found == pytest.approx(TABLE[name], abs=5.1e-4)


@pytest.mark.parametrize("name", ["werckmeister", "kirnberger", "vallotti", "young-1", "young-2"])
def test_twelve_fifths_of_a_circular_temperament_make_seven_octaves_exactly(name: str) -> None:
    fifths = fifths_of(name)
    last = OCTAVE * 7 - sum(fifths, UNISON)
    # Each of these leaves G#-Eb pure: the whole comma lies elsewhere.
    assert last == Interval.parse(PURE)
    # So all twelve may be given, and 8400 cents is what they make.
    closed = forms.twelve_fifths("Eb", [*fifths_of(name), last], OCTAVE)
    assert closed == forms.twelve_fifths("Eb", fifths_of(name), OCTAVE)
    assert sum([*fifths_of(name), last], UNISON) == Interval.parse("8400 cents")


def test_young_1_is_as_his_own_page_says() -> None:
    # Philosophical Transactions 90 (1800): C:E too sharp by a quarter of a comma, F#:A# by a comma,
    # E:G# equal to Ab:C.
    scale = temperament("young-1")
    third = {name: scale.interval(place + 4) - scale.interval(place)
             for place, name in enumerate(ORDER)}  # fmt: skip
    comma, pure = Interval.ratio(81, 80), Interval.ratio(5, 4)
    assert third["C"] - pure == Interval.parse("1/4 of 81/80")
    assert third["F#"] - pure == comma
    assert third["E"] == third["G#"]
    assert third["E"].cents == pytest.approx(404.155, abs=5.1e-4)


SHIPPED = {
    "pythagorean": "pythagorean",
    "quarter-comma": "meantone-quarter-comma",
    "werckmeister": "werckmeister-3",
    "kirnberger": "kirnberger-3",
    "vallotti": "vallotti",
    "young-1": "young-1",
    "young-2": "young-2",
}


@pytest.mark.parametrize(("name", "file"), SHIPPED.items())
def test_the_presets_are_these_to_the_last_prime(name: str, file: str) -> None:
    shipped, ours = Catalogue([shipped_folder()]).scale(file), temperament(name)
    assert shipped.names == ours.names
    assert shipped.steps == ours.steps


def test_the_wolves() -> None:
    wolf = OCTAVE * 7 - sum(fifths_of("quarter-comma"), UNISON)
    assert wolf.cents == pytest.approx(737.637286872, abs=5.1e-10)
    wolf = OCTAVE * 7 - sum(fifths_of("pythagorean"), UNISON)
    assert wolf.cents == pytest.approx(678.494990481, abs=5.1e-10)
    scale = temperament("quarter-comma")
    eb, gis = ORDER.index("Eb"), ORDER.index("G#")
    wolf = scale.interval(eb + 12) - scale.interval(gis)
    assert wolf.cents == pytest.approx(737.637286872, abs=5.1e-10)
    tone = scale.interval(ORDER.index("D"))
    assert tone.cents == pytest.approx(193.156856932, abs=5.1e-10)


def test_werckmeister_as_published() -> None:
    # Cents from twelve equal with A in common, C to B, as printed on a tuning list in 1998.
    published = [11.7, 2.0, 3.9, 5.9, 2.0, 9.8, 0, 7.8, 3.9, 0, 7.8, 3.9]
    tuning = Tuning(temperament("werckmeister"), Anchor.parse("A4=440"))
    found = [tuning.interval_of_degree(degree).cents - 100 * (degree - 9) for degree in range(12)]
    # The list is printed to 0.1 cent, from commas rounded before they were added.
    assert found == pytest.approx(published, abs=0.1)


@pytest.mark.parametrize(
    ("name", "note", "hz"),
    [
        ("quarter-comma", "C4", 263.1814),
        ("quarter-comma", "C#4", 275.0),  # A:C# is 8:5 downwards, so exactly 440 * 5/8
        ("quarter-comma", "E4", 328.9767),
        ("quarter-comma", "F4", 352.0),
        ("quarter-comma", "G4", 393.5480),
        ("werckmeister", "C4", 263.4042),
        ("werckmeister", "E4", 330.0),
        ("werckmeister", "B4", 495.0),
    ],
)
def test_worked_frequencies(name: str, note: str, hz: float) -> None:
    tuning = Tuning(temperament(name), Anchor.parse("A4=440"))
    assert tuning.hz_of_name(note) == pytest.approx(hz, abs=5.1e-5)
    if hz == int(hz):
        assert tuning.hz_of_name(note) == pytest.approx(hz, rel=1e-15)


def test_a_fork_on_c_gives_the_a_that_was_published() -> None:
    # London 1813: c2 by a fork of 506.8, meantone; A is given as 423.7 (Encyclopaedia Britannica
    # 1911, vol. 21), and quarter-comma meantone makes it 423.647.
    tuning = Tuning(temperament("quarter-comma"), Anchor.parse("C5=506.8"))
    assert tuning.hz_of_name("A4") == pytest.approx(423.647, abs=5.1e-4)
    assert tuning.hz_of_name("A4") == pytest.approx(423.7, abs=0.06)
