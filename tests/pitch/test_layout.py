"""Layouts: keys to degrees."""

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch import (
    Anchor,
    GridLayout,
    Interval,
    KeyboardLayout,
    Layout,
    LinearLayout,
    NoteName,
    RepeatLayout,
    Scale,
    TableLayout,
    Tuning,
)

EACH_KIND = [
    LinearLayout(36, -5),
    GridLayout(5, 13, 8, 36, -62),
    TableLayout(((60, 0), (61, 2))),
    RepeatLayout((0, None, 1, None, 2)),
    KeyboardLayout(),
]


def test_neighbouring_keys_play_neighbouring_degrees() -> None:
    layout = LinearLayout()
    assert [layout.degree(key) for key in (59, 60, 61, 0, 127)] == [-1, 0, 1, -60, 67]
    layout = LinearLayout(root_key=36, root_degree=-5)
    assert [layout.degree(key) for key in (36, 48)] == [-5, 7]
    assert layout.to_mapping() == {"kind": "linear", "root": {"key": 36, "degree": -5}}


@pytest.mark.parametrize("root", [(60.0, 0), (True, 0), (60, 10**7), (60, None)])
def test_roots_are_whole_numbers(root: tuple[int, int]) -> None:
    with pytest.raises(InvalidValue, match="root"):
        LinearLayout(*root)
    with pytest.raises(InvalidValue, match="root"):
        GridLayout(5, 3, 16, *root)
    with pytest.raises(InvalidValue, match="root"):
        RepeatLayout((0, 2), *root)


# Grids.


@given(*[st.integers(-99, 99)] * 3, st.integers(1, 99), st.integers(-30, 30), st.integers(0, 98))
def test_on_a_grid_a_key_plays_the_steps_that_lead_to_it(
    right: int, up: int, root_degree: int, columns: int, row: int, column: int
) -> None:
    layout = GridLayout(right, up, columns, 60, root_degree)
    column %= columns
    key = 60 + row * columns + column
    assert layout.degree(key) == root_degree + row * up + column * right


def test_a_grid_of_tones_and_fourths_in_31() -> None:
    pads = Tuning(Scale.equal(31), Anchor.parse("A4=440"), GridLayout(5, 13, 8, 36, -62))
    names = [str(pads.name_of_degree(pads.degree_of_key(key))) for key in (36, 37, 38, 44, 45, 52)]
    assert names == ["C2", "D2", "E2", "F2", "G2", "Bb2"]


@pytest.mark.parametrize(
    ("grid", "field"),
    [((5.0, 3, 16), "right"), ((5, None, 16), "up"), ((5, 3, 0), "columns"), ((5, 3, True), "col")],
)
def test_grids_that_are_refused(grid: tuple[int, int, int], field: str) -> None:
    with pytest.raises(InvalidValue, match=f"^{field}"):
        GridLayout(*grid)


# Tables.


def test_a_table_plays_its_keys_and_no_other() -> None:
    layout = TableLayout(((61, 2), (60, 0), (-3, 7)))
    assert [layout.degree(key) for key in (60, 61, -3, 62, 59)] == [0, 2, 7, None, None]
    assert layout.keys == ((-3, 7), (60, 0), (61, 2))
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), layout)
    assert tuning.hz_of_key(61) == tuning.hz_of_degree(2)
    assert tuning.degree_of_key(62) is None
    with pytest.raises(InvalidValue, match=r"^key: got 62; .* in this layout .* plays nothing"):
        tuning.hz_of_key(62)


@pytest.mark.parametrize("keys", [(), ((60, 0), (60, 2)), ((60, 0.5),), ((60.0, 0),)])
def test_tables_that_are_refused(keys: tuple[tuple[int, int], ...]) -> None:
    with pytest.raises(InvalidValue, match=r"^keys"):
        TableLayout(keys)


# So many keys a period.


@pytest.mark.parametrize(
    "scale",
    [Scale.equal(7), Scale.equal(31), Scale.equal(13, Interval.ratio(3))],
)
def test_as_many_keys_as_are_listed_carry_one_period(scale: Scale) -> None:
    tuning = Tuning(scale, Anchor.parse("0=220"), RepeatLayout((0, None, 1, 3), 50, -2))
    assert [tuning.degree_of_key(key) for key in (50, 51, 52, 53)] == [-2, None, -1, 1]
    for key in (50, 52, 53):
        rise = tuning.hz_of_key(key + 4) / tuning.hz_of_key(key)
        assert rise == pytest.approx(scale.period.ratio_value, rel=1e-14)
        fall = tuning.hz_of_key(key - 80) / tuning.hz_of_key(key)
        assert fall == pytest.approx(scale.period.ratio_value**-20, rel=1e-12)


@pytest.mark.parametrize("degrees", [(), (None, None), (0, 1.5), (True,), tuple(range(1001))])
def test_repeats_that_are_refused(degrees: tuple[int | None, ...]) -> None:
    with pytest.raises(InvalidValue, match=r"^degrees"):
        RepeatLayout(degrees)


# Twelve keys on a chain of fifths.


def test_a_keyboard_plays_eb_to_g_sharp_of_31() -> None:
    # Degrees on the chain of fifths of 31 equal parts, whose fifth is degree 18: C# is 7 times 18
    # less four periods, 2, and Eb -3 times 18 and two periods, 8.
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), KeyboardLayout())
    degrees = [tuning.degree_of_key(key) for key in range(60, 73)]
    assert degrees == [0, 2, 5, 8, 10, 13, 15, 18, 20, 23, 26, 28, 31]
    assert tuning.degree_of_key(59) == -3
    assert tuning.hz_of_key(69) == 440
    # G#-Eb, keys 68 to 75, is no fifth of 18 steps: the wolf has 19.
    assert tuning.degree_of_key(75) - tuning.degree_of_key(68) == 19


@pytest.mark.parametrize(
    ("first", "last", "names"),
    [
        ("Eb", "G#", "C4 C#4 D4 Eb4 E4 F4 F#4 G4 G#4 A4 Bb4 B4"),
        ("Db", "F#", "C4 Db4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4"),
        ("G", "B#", "B#3 C#4 D4 D#4 E4 E#4 F#4 G4 G#4 A4 A#4 B4"),
        ("Cb", "E", "C4 Db4 D4 Eb4 E4 F4 Gb4 G4 Ab4 A4 Bb4 Cb5"),
        ("Ab", "C#", "C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4"),
    ],
)
@pytest.mark.parametrize("parts", [12, 19, 22, 31, 53])
def test_each_key_plays_its_name(first: str, last: str, names: str, parts: int) -> None:
    layout = KeyboardLayout(first, last, 48)
    assert " ".join(map(str, layout.names())) == names
    tuning = Tuning(Scale.equal(parts), Anchor.parse("A4=440"), layout)
    for key, name in enumerate(names.split(), start=48):
        assert tuning.hz_of_key(key) == tuning.hz_of_name(name)
        above = NoteName.parse(name)
        above = NoteName(above.letter, above.accidentals, above.octave + 1)
        assert tuning.degree_of_key(key + 12) == tuning.degree_of_name(above)


def test_in_twelve_equal_parts_every_keyboard_is_linear() -> None:
    for first, last in (("Eb", "G#"), ("Gbb", "Bb"), ("D#", "F###")):
        tuning = Tuning(Scale.equal(12), Anchor.parse("A4=440"), KeyboardLayout(first, last))
        assert [tuning.degree_of_key(key) for key in range(128)] == list(range(-60, 68))


def test_a_name_the_scale_does_not_have_is_a_silent_key() -> None:
    tuning = Tuning(Scale.equal(7, names="CDEFGAB"), Anchor.parse("A4=440"), KeyboardLayout())
    played = [tuning.degree_of_key(key) for key in range(60, 73)]
    assert played == [0, None, 1, None, 2, 3, None, 4, None, 5, None, 6, 7]


def test_a_keyboard_needs_names() -> None:
    with pytest.raises(InvalidValue, match="no note names"):
        Tuning(Scale.equal(13, Interval.ratio(3)), Anchor.parse("0=256"), KeyboardLayout())
    with pytest.raises(InvalidValue, match="names of this scale of 2 degrees: Gbb Abb"):
        Tuning(Scale.equal(2, names=["Gbb", "Abb"]), Anchor.parse("0=256"), KeyboardLayout())


@pytest.mark.parametrize(
    ("first", "last", "message"),
    [
        ("Eb", "C#", "to: got 'C#'; allowed: G#, for twelve names from Eb"),
        ("Eb", "D#", "to: got 'D#'; allowed: G#, for twelve names from Eb"),
        ("G#", "Eb", "to: got 'Eb'; allowed: B##, for twelve names from G#"),
        ("H", "C#", "from: got 'H'; allowed: a letter A to G with # or b"),
        ("Eb", "G#4", "to: got 'G#4'; allowed: a letter A to G with # or b"),
    ],
)
def test_spans_that_are_not_twelve_names_are_refused(first: str, last: str, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        KeyboardLayout(first, last)
    assert str(caught.value).startswith(message)


def test_the_last_sharps_there_are_may_be_beyond_a_keyboard() -> None:
    with pytest.raises(InvalidValue, match="accidentals"):
        KeyboardLayout("B#########", "G#")


# All of them.


@pytest.mark.parametrize("layout", EACH_KIND)
def test_a_tuning_with_any_layout_crosses_to_another_process(layout: Layout) -> None:
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), layout)
    crossed = pickle.loads(pickle.dumps(tuning))  # noqa: S301  our own bytes
    assert crossed == tuning
    assert hash(crossed) == hash(tuning)
    keys = range(-20, 140)
    assert [crossed.degree_of_key(k) for k in keys] == [tuning.degree_of_key(k) for k in keys]
