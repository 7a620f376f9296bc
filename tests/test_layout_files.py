"""Every kind of layout file: what it comes to, and what is refused with its line."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.catalogue import Catalogue, shipped_folder
from meantide.document import parse_document, parse_json
from meantide.errors import InvalidValue
from meantide.layout_files import read_layout
from meantide.pitch import (
    Anchor,
    GridLayout,
    KeyboardLayout,
    Layout,
    LinearLayout,
    RepeatLayout,
    TableLayout,
    Tuning,
)
from meantide.pitch.note_name import NoteName

OURS = Catalogue([shipped_folder()])


def read(text: str) -> Layout:
    return read_layout(parse_document(text, "quay.yaml"))


@pytest.mark.parametrize(
    ("text", "layout"),
    [
        ("kind: linear\n", LinearLayout()),
        ("kind: linear\nroot: {key: 69}\n", LinearLayout(69, 0)),
        ("kind: repeat\ndegrees: [0, null, 2]\n", RepeatLayout((0, None, 2))),
        ("kind: repeat\nroot: {key: 1, degree: 2}\ndegrees: [0]\n", RepeatLayout((0,), 1, 2)),
        ("kind: grid\nright: 5\nup: 3\ncolumns: 16\n", GridLayout(5, 3, 16)),
        ("kind: table\nkeys: {61: 2, 60: 0}\n", TableLayout(((60, 0), (61, 2)))),
        ("kind: keyboard\n", KeyboardLayout()),
        ("kind: keyboard\nfrom: Ab\nto: C#\nroot: {key: 48}\n", KeyboardLayout("Ab", "C#", 48)),
    ],
)
def test_each_kind_is_read(text: str, layout: Layout) -> None:
    assert read(text) == layout


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("kind: repeat\n", 1, "degrees: got 'nothing'; allowed: this field is needed"),
        ("kind: repeat\ndegrees:\n- 0\n- 1.5\n", 4, "degrees item 2: got 1.5; allowed: a who"),
        ("kind: repeat\ndegrees: [null]\n", 2, "degrees: got '1 keys'; allowed: 1 to 1000 ke"),
        ("kind: grid\nright: 5\nup: 3\n", 1, "columns: got 'nothing'; allowed: this field is"),
        ("kind: grid\nright: 5\nup: x\ncolumns: 8\n", 3, "up: got 'x'; allowed: a whole numb"),
        ("kind: linear\nup: 3\n", 2, "unknown field: got 'up'; allowed: one of name, source"),
        ("kind: table\nkeys: [0, 2]\n", 2, "keys: got 'a list'; allowed: a mapping of keys"),
        ("kind: table\nkeys: {}\n", 2, "keys: got '0 keys'; allowed: 1 to 10000 keys"),
        ("kind: table\nkeys:\n  60: 0\n  A4: 2\n", 4, "keys.A4: got 'A4'; allowed: whole num"),
        ("kind: table\nkeys:\n  60: 0\n  '60': 2\n", 2, "keys: got 'a key twice'; allowed: e"),
        ("kind: table\nkeys:\n  60: 0\n  61: true\n", 4, "keys.61: got True; allowed: a whol"),
        ("kind: keyboard\nfrom: Eb\nto: C#\n", 3, "to: got 'C#'; allowed: G#, for twelve nam"),
        ("kind: keyboard\nroot: {degree: 0}\n", 2, "root: unknown field: got 'degree'; allow"),
    ],
)  # fmt: skip
def test_layouts_that_are_refused(text: str, line: int, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        read(text)
    assert str(caught.value).startswith(f"quay.yaml:{line}: {message}")


# What is written reads back, from YAML and from JSON.

whole = st.integers(-(10**6), 10**6)
labels = st.fixed_dictionaries(
    {}, optional={key: st.sampled_from(["quay", "a: b", "#1", "null", "31", "é♯", "- x"])
                  for key in ("name", "source", "about")}
)  # fmt: skip
first_names = st.integers(-30, 20)
layouts = st.one_of(
    st.builds(lambda key, degree, said: LinearLayout(key, degree, **said), whole, whole, labels),
    st.builds(
        lambda steps, key, said: RepeatLayout((0, *steps), key, **said),
        st.lists(st.none() | whole, max_size=20),
        whole,
        labels,
    ),
    st.builds(
        lambda right, up, columns, said: GridLayout(right, up, columns, **said),
        whole,
        whole,
        st.integers(1, 1000),
        labels,
    ),
    st.builds(
        lambda keys, said: TableLayout(tuple(keys.items()), **said),
        st.dictionaries(whole, whole, min_size=1),
        labels,
    ),
    st.builds(
        lambda chain, key, said: KeyboardLayout(
            NoteName.from_chain(chain, 4).spelling,
            NoteName.from_chain(chain + 11, 4).spelling,
            key,
            **said,
        ),
        first_names,
        whole,
        labels,
    ),
)


@given(layouts)
def test_layouts_read_back(layout: Layout) -> None:
    mapping: dict[str, Any] = layout.to_mapping()
    assert OURS.layout(mapping) == layout
    assert read_layout(parse_json(json.dumps(mapping), "log")) == layout


# What ships.

NAMED = Anchor.parse("A4=440")


def degrees(layout: str, scale: str, anchor: Anchor, keys: range) -> list[int | None]:
    tuning = Tuning(OURS.scale(scale), anchor, OURS.layout(layout))
    return [tuning.degree_of_key(key) for key in keys]


def test_keyboards_ship_for_sharps_and_for_flats() -> None:
    octave = range(60, 72)
    sharps = degrees("keyboard", "31-equal", NAMED, octave)
    assert sharps == [0, 2, 5, 8, 10, 13, 15, 18, 20, 23, 26, 28]
    flats = degrees("keyboard-flats", "31-equal", NAMED, octave)
    assert [key for key, a, b in zip(octave, sharps, flats, strict=True) if a != b] == [61, 68]
    assert (flats[1], flats[8]) == (3, 21)  # Db and Ab, a step above C# and G#


def test_white_keys_and_black_keys_ship() -> None:
    white, black = (60, 62, 64, 65, 67, 69, 71, 72), (61, 63, 66, 68, 70, 73)
    found = degrees("white-keys", "12-equal", NAMED, range(60, 74))
    assert {60 + place for place, degree in enumerate(found) if degree is None} == set(black)
    assert [found[key - 60] for key in white] == [0, 1, 2, 3, 4, 5, 6, 12]
    found = degrees("black-keys", "12-equal", NAMED, range(60, 74))
    assert {60 + place for place, degree in enumerate(found) if degree is None} == set(white)
    assert [found[key - 60] for key in black] == [0, 1, 2, 3, 4, 12]


def test_pads_and_buttons_ship() -> None:
    pads = Tuning(OURS.scale("31-equal"), NAMED, OURS.layout("pads-31"))
    assert pads.hz_of_key(36) == pads.hz_of_name("C2")
    assert pads.hz_of_key(36 + 8 + 1) == pads.hz_of_name("G2")
    buttons = Tuning(OURS.scale("harmonics-8-16"), Anchor.parse("0=256"), OURS.layout(
        "harbour-buttons"
    ))  # fmt: skip
    fundamental = 256 / 8
    numbers = [buttons.hz_of_key(key) / fundamental for key in range(36, 45)]
    assert numbers == pytest.approx([4, 6, 8, 10, 12, 14, 15, 16, 24], rel=1e-15)
    assert buttons.degree_of_key(45) is None
