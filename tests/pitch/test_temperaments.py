"""Historical temperaments stacked from exact fifths, against their tables and frequencies.

Each is given by eleven fifths along the chain Eb Bb F C G D A E B F# C# G#. The cents are
calculated from the definitions beside them, to three decimals; the definitions come from: Young
1800 (Philosophical Transactions) for his, the letter of Kirnberger to Forkel for Kirnberger III,
and modern summaries for Werckmeister III and Vallotti.
"""

from itertools import accumulate

import pytest

from meantide.pitch import OCTAVE, UNISON, Anchor, Interval, Scale, Tuning

PURE = "3/2"
MEANTONE = "3/2 - 1/4 of 81/80"
WERCKMEISTER = "3/2 - 1/4 of 531441/524288"
SIXTH = "3/2 - 1/6 of 531441/524288"
SCHISMA = "3/2 - 32805/32768"

CHAIN = ["Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#"]
ORDER = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]

# The fifths Eb-Bb, Bb-F, F-C, C-G, G-D, D-A, A-E, E-B, B-F#, F#-C#, C#-G#.
FIFTHS = {
    "pythagorean": [PURE] * 11,
    "quarter-comma": [MEANTONE] * 11,
    "werckmeister": [PURE] * 3 + [WERCKMEISTER] * 3 + [PURE] * 2 + [WERCKMEISTER] + [PURE] * 2,
    "kirnberger": [PURE] * 3 + [MEANTONE] * 4 + [PURE] * 2 + [SCHISMA] + [PURE],
    "vallotti": [PURE] * 2 + [SIXTH] * 6 + [PURE] * 3,
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
    "young-2": [0, 90.225, 196.090, 294.135, 392.180, 498.045, 588.270, 698.045, 792.180, 894.135,
                996.090, 1090.225],
}  # fmt: skip


def fifths_of(name: str) -> list[Interval]:
    return [Interval.parse(fifth) for fifth in FIFTHS[name]]


def temperament(name: str) -> Scale:
    """Stack the fifths from Eb, count from C and fold into the octave."""
    heights = dict(zip(CHAIN, accumulate(fifths_of(name), initial=UNISON), strict=True))
    folded = {}
    for spelling, height in heights.items():
        above = height - heights["C"]
        folded[spelling] = above - OCTAVE * above.floor_div(OCTAVE)
    return Scale.from_degrees([folded[spelling] for spelling in ORDER[1:]], names=ORDER, name=name)


@pytest.mark.parametrize("name", FIFTHS)
def test_degrees_as_tabled(name: str) -> None:
    scale = temperament(name)
    found = [scale.interval(degree).cents for degree in range(12)]
    assert found == pytest.approx(TABLE[name], abs=5.1e-4)


@pytest.mark.parametrize("name", ["werckmeister", "kirnberger", "vallotti", "young-2"])
def test_twelve_fifths_of_a_circular_temperament_make_seven_octaves_exactly(name: str) -> None:
    fifths = fifths_of(name)
    last = OCTAVE * 7 - sum(fifths, UNISON)
    # Each of these leaves G#-Eb pure: the whole comma lies elsewhere.
    assert last == Interval.parse(PURE)


def test_the_wolves() -> None:
    wolf = OCTAVE * 7 - sum(fifths_of("quarter-comma"), UNISON)
    assert wolf.cents == pytest.approx(737.637286872, abs=5.1e-10)
    wolf = OCTAVE * 7 - sum(fifths_of("pythagorean"), UNISON)
    assert wolf.cents == pytest.approx(678.494990481, abs=5.1e-10)


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
