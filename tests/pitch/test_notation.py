"""Note names: their text, the chain of fifths, and listed names."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue, NotFound
from meantide.pitch import Interval, NoteName, Scale, degree_of, name_of
from meantide.pitch.note_name import count_up

note_names = st.builds(
    NoteName, st.sampled_from("ABCDEFG"), st.integers(-9, 9), st.integers(-999, 999)
)


def degrees(scale: Scale, names: str) -> list[int]:
    return [degree_of(scale, NoteName.parse(name)) for name in names.split()]


@given(note_names)
def test_names_read_back(name: NoteName) -> None:
    assert NoteName.parse(str(name)) == name
    assert NoteName.from_chain(name.chain, name.octave) == name


@pytest.mark.parametrize(
    ("text", "letter", "accidentals", "octave"),
    [
        ("A4", "A", 0, 4),
        ("C#4", "C", 1, 4),
        ("Bb3", "B", -1, 3),
        ("F##5", "F", 2, 5),
        ("C-1", "C", 0, -1),
        ("Bbb-12", "B", -2, -12),
    ],
)
def test_names_as_written(text: str, letter: str, accidentals: int, octave: int) -> None:
    assert NoteName.parse(text) == NoteName(letter, accidentals, octave)


@pytest.mark.parametrize(
    "text",
    ["", "A", "4", "a4", "H4", "A#b4", "A4.", "A 4", "A+4", "A1234", "A##########4", "A٤", "A4\n"],
)
def test_what_is_no_name_is_refused(text: str) -> None:
    with pytest.raises(InvalidValue, match="such as A4, C#4, Bb3 or C-1"):
        NoteName.parse(text)


@pytest.mark.parametrize(
    "parts", [("H", 0, 4), ("", 0, 4), ("A", 10, 4), ("A", 0, 1000), ("A", True, 4), ("A", 0, 4.0)]
)
def test_parts_of_a_name_are_checked(parts: tuple[str, int, int]) -> None:
    with pytest.raises(InvalidValue):
        NoteName(*parts)


def test_the_chain_of_fifths() -> None:
    chain = [NoteName.from_chain(place, 4).spelling for place in range(-3, 13)]
    assert chain == "Eb Bb F C G D A E B F# C# G# D# A# E# B#".split()  # noqa: SIM905


@pytest.mark.parametrize(
    ("parts", "names", "expected"),
    [
        (12, "C4 C#4 Db4 D4 E4 F4 F#4 G4 A4 B4 C5", [0, 1, 1, 2, 4, 5, 6, 7, 9, 11, 12]),
        (31, "C4 D4 E4 F4 G4 A4 B4 C#4 Db4 Cb4 B#3", [0, 5, 10, 13, 18, 23, 28, 2, 3, -2, -1]),
        (19, "C4 C#4 Db4 D4 E#4 Fb4 B#4 Cb5", [0, 1, 2, 3, 7, 7, 18, 18]),
        # In 53 the major third on the chain is the Pythagorean one, and Fb is nearest to 5/4.
        (53, "C4 D4 E4 Fb4 F4 G4 A4 B4 C#4 Db4 B#3", [0, 9, 18, 17, 22, 31, 40, 49, 5, 4, 1]),
        # The fifth of 1000 is degree 585, so a sharp is 7 * 585 - 4 * 1000 = 95 degrees.
        (1000, "C4 G4 D4 A4 E4 B4 F4 C#4 Db4 B#3",
         [0, 585, 170, 755, 340, 925, 415, 95, 75, 20]),
        # In 16 the fifth, degree 9, is so narrow that sharps lower.
        (16, "C4 D4 E4 F4 G4 A4 B4 C#4 Cb4", [0, 2, 4, 7, 9, 11, 13, -1, 1]),
        (24, "C4 C#4 D4 A4", [0, 2, 4, 18]),
    ],
)  # fmt: skip
def test_names_on_the_chain_of_fifths(parts: int, names: str, expected: list[int]) -> None:
    assert degrees(Scale.equal(parts), names) == expected


def test_enharmonics_of_twelve_meet_across_the_octave() -> None:
    scale = Scale.equal(12)
    assert degrees(scale, "B#3 C4 Dbb4") == [0, 0, 0]
    assert degrees(scale, "Cb5 B4 A##4") == [11, 11, 11]


def test_the_simplest_spelling() -> None:
    names = [str(name_of(Scale.equal(12), degree)) for degree in range(-1, 13)]
    assert names == "B3 C4 C#4 D4 Eb4 E4 F4 F#4 G4 G#4 A4 Bb4 B4 C5".split()  # noqa: SIM905
    names = [str(name_of(Scale.equal(19), degree)) for degree in range(19)]
    expected = "C C# Db D D# Eb E E# F F# Gb G G# Ab A A# Bb B Cb"
    assert [name[:-1] for name in names] == expected.split()
    assert names[18] == "Cb5"


@given(st.sampled_from([5, 7, 12, 16, 17, 19, 22, 31, 41, 53]), st.integers(-500, 500))
def test_every_degree_has_a_name_that_leads_back_to_it(parts: int, degree: int) -> None:
    scale = Scale.equal(parts)
    name = name_of(scale, degree)
    assert name is not None
    assert degree_of(scale, name) == degree


@given(st.integers(1, 2000), st.integers(-3000, 3000))
def test_a_name_if_there_is_one_leads_back(parts: int, degree: int) -> None:
    scale = Scale.equal(parts)
    name = name_of(scale, degree)
    assert name is None or degree_of(scale, name) == degree


def test_degrees_off_the_chain_have_no_name() -> None:
    quarter_tones = Scale.equal(24)
    assert [name_of(quarter_tones, degree) is None for degree in range(24)] == [False, True] * 12
    assert name_of(Scale.equal(12), 12 * 2000) is None  # its octave number would be past 999


def test_a_scale_without_a_fifth_says_so() -> None:
    scale = Scale.equal(13, Interval.ratio(3), name="13-equal-of-3")
    assert name_of(scale, 0) is None
    with pytest.raises(InvalidValue, match=r"13-equal-of-3 has no note names.*by degree") as caught:
        degree_of(scale, NoteName.parse("A4"))
    assert caught.value.got == "A4"


TWELVE = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]


def test_listed_names_and_no_others_are_understood() -> None:
    scale = Scale.equal(12, names=TWELVE)
    assert degrees(scale, "C4 Eb4 A4 Bb3 C5") == [0, 3, 9, -2, 12]
    assert str(name_of(scale, -2)) == "Bb3"
    with pytest.raises(NotFound, match="did you mean") as caught:
        degree_of(scale, NoteName.parse("A#4"))
    assert caught.value.got == "A#"


@given(st.integers(-1000, 1000))
def test_listed_names_lead_back(degree: int) -> None:
    scale = Scale.equal(12, names=TWELVE)
    name = name_of(scale, degree)
    assert name is not None
    assert degree_of(scale, name) == degree


def test_listed_names_count_octaves_from_c() -> None:
    from_a = Scale.equal(7, names=list("ABCDEFG"))
    names = [str(name_of(from_a, degree)) for degree in range(-1, 8)]
    assert names == ["G4", "A4", "B4", "C5", "D5", "E5", "F5", "G5", "A5"]
    edges = Scale.equal(12, names=["B#", *TWELVE[1:-1], "Cb"])
    assert degrees(edges, "B#3 Cb5 D4") == [0, 11, 2]


@pytest.mark.parametrize(
    ("names", "placed"),
    [
        ("A B C D E F G", "A4 B4 C5 D5 E5 F5 G5"),
        ("C C# Db D", "C4 C#4 Db4 D4"),
        ("C Db C# D", "C4 Db4 C#4 D4"),
        ("B# C# Db B Cb", "B#3 C#4 Db4 B4 Cb5"),
        ("Cb C D B", "Cb5 C5 D5 B5"),
        ("C Db B# C# D", "C4 Db4 B#3 C#4 D4"),
        ("C G", "C4 G4"),
        ("C D C# E", "C4 D4"),  # C#5 would be next, but not below C5
        ("E F D G", "E4 F4 D5"),
        ("B A", "B4 A5"),
        ("C C#", "C4 C#4"),
        ("C# C", "C#4 C5"),
    ],
)
def test_names_that_count_up(names: str, placed: str) -> None:
    assert " ".join(map(str, count_up(names.split()))) == placed


DIATONIC = [parts for parts in range(5, 100) if 4 / 7 < Scale.equal(parts).fifth / parts < 3 / 5]


@pytest.mark.parametrize("parts", DIATONIC)
def test_the_names_of_an_equal_division_count_up_as_its_chain_says(parts: int) -> None:
    # Wherever a sharp raises and a minor second is no step down, that is for fifths between four
    # sevenths and three fifths of an octave, the chain of fifths is the order of the names.
    scale = Scale.equal(parts)
    names = [name for name in (name_of(scale, degree) for degree in range(parts)) if name]
    octaves = [name.octave - names[0].octave for name in names]
    placed = count_up([name.spelling for name in names])
    assert [name.octave - placed[0].octave for name in placed] == octaves
