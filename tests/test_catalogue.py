"""The catalogue: the presets that ship, the user's own, and what is refused in a file."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.catalogue import KINDS, Catalogue, default_folders, shipped_folder
from meantide.document import parse_document
from meantide.errors import InvalidValue, NotFound
from meantide.layout_files import read_layout
from meantide.pitch import OCTAVE, UNISON, Anchor, Interval, Layout, NoteName, Scale, Tuning
from meantide.pitch_files import read_anchor
from meantide.reading import value_of
from meantide.scale_files import read_scale

OURS = Catalogue([shipped_folder()])

EQUAL = {f"{parts}-equal": parts for parts in (12, 16, 19, 22, 24, 31, 41, 53, 1000)}


def read(text: str, kind: str = "scale") -> Scale | Anchor | Layout:
    readers = {"scale": read_scale, "anchor": read_anchor, "layout": read_layout}
    return readers[kind](parse_document(text, "quay.yaml"))


def refusal(text: str, kind: str = "scale") -> str:
    with pytest.raises(InvalidValue) as caught:
        read(text, kind)
    return str(caught.value)


# What ships.


@pytest.mark.parametrize(
    ("kind", "name"), [(kind, name) for kind in KINDS for name in OURS.names(kind)]
)
def test_every_preset_is_named_as_its_file_and_gives_its_source(kind: str, name: str) -> None:
    fields = dict(OURS.definition(kind, name).value.entries())
    assert fields["name"].text() == name
    assert fields["source"].text()
    assert fields["about"].text()


@pytest.mark.parametrize(("name", "parts"), EQUAL.items())
def test_equal_divisions_of_the_octave_ship(name: str, parts: int) -> None:
    scale = OURS.scale(name)
    assert (scale.size, scale.period) == (parts, OCTAVE)
    assert scale.interval(1) * parts == OCTAVE


def test_other_scales_ship() -> None:
    assert OURS.scale("13-equal-of-3").interval(13) == Interval.ratio(3)
    harmonics = OURS.scale("harmonics-8-16")
    assert [harmonics.interval(d) for d in range(9)] == [Interval.ratio(n, 8) for n in range(8, 17)]
    just = Tuning(OURS.scale("just-five-limit"), OURS.anchor("c256"))
    # Five-limit just A over C at 256, as tabled.
    assert just.hz_of_name("A4") == pytest.approx(426.667, abs=5e-4)
    assert just.interval_of_degree(6) == Interval.ratio(45, 32)


@pytest.mark.parametrize(
    ("name", "cents"),
    # Cents from A4 = 440, as tabled (common practice for 432).
    [("a440", 0), ("a435", -19.79), ("a415", -101.27), ("a432", -31.77), ("a466", 99.39),
     ("c256", -37.63)],
)  # fmt: skip
def test_anchors_ship(name: str, cents: float) -> None:
    anchor = OURS.anchor(name)
    twelve = OURS.scale("12-equal")
    there, here = Tuning(twelve, anchor), Tuning(twelve, Anchor.parse("A4=440"))
    ratio = there.hz_of_name("A4") / here.hz_of_name("A4")
    assert ratio == pytest.approx(2 ** (cents / 1200), rel=0.006 / 1731)  # half of 0.01 cent
    assert anchor.celsius == (15 if name == "a435" else None)


def test_the_linear_layout_ships() -> None:
    assert [OURS.layout("linear").degree(key) for key in (60, 69)] == [0, 9]


# Finding.


def test_the_users_own_folder_comes_first(tmp_path: Path) -> None:
    own = tmp_path / "scales"
    own.mkdir()
    (own / "31-equal.yaml").write_text("equal: 30\n")
    (own / "5-equal.yaml").write_text("equal: 5\n")
    catalogue = Catalogue([tmp_path, shipped_folder()])
    assert catalogue.scale("31-equal").size == 30
    assert catalogue.scale("5-equal").name == "5-equal"
    assert catalogue.scale("19-equal").size == 19
    names = catalogue.names("scales")
    places = [names.index(name) for name in ("5-equal", "12-equal", "13-equal-of-3", "vallotti")]
    assert places == sorted(places)
    assert names.count("31-equal") == 1
    (own / "31-equal.yaml").write_text("equal: 29\n")
    assert catalogue.scale("31-equal").size == 29


def test_folders_are_asked_for_when_needed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MEANTIDE_PRESETS", str(tmp_path))
    assert default_folders() == (tmp_path, shipped_folder())
    monkeypatch.setenv("MEANTIDE_PRESETS", "")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert Catalogue().folders == (tmp_path / ".config/meantide/presets", shipped_folder())


def test_paths_start_from_the_base(tmp_path: Path) -> None:
    (tmp_path / "quay.yaml").write_text("equal: 17\n")
    (tmp_path / "inner").mkdir()
    assert OURS.scale("quay.yaml", tmp_path).size == 17
    assert OURS.scale("../quay.yaml", tmp_path / "inner").name == "quay"
    assert OURS.scale(str(tmp_path / "quay.yaml")).size == 17
    assert OURS.scale(Path("quay.yaml"), tmp_path).size == 17
    with pytest.raises(NotFound, match=r"did you mean quay\.yaml"):
        OURS.scale("quai.yaml", tmp_path)


@pytest.mark.parametrize("reference", ["/quay.yaml", "quay.yaml", "../scales/31-equal", "./a440"])
def test_paths_are_not_followed_for_strangers(reference: str, tmp_path: Path) -> None:
    (tmp_path / "quay.yaml").write_text("equal: 17\n")
    names_only = Catalogue([shipped_folder()], paths=False)
    for read in (names_only.scale, names_only.anchor, names_only.layout, names_only.voice):
        with pytest.raises(InvalidValue, match="a name in the catalogue"):
            read(reference, tmp_path)
    assert names_only.scale("31-equal").size == 31
    assert names_only.anchor("A4=432").hz == 432


def test_definitions_may_be_written_in_place() -> None:
    assert OURS.scale({"equal": 7}).size == 7
    assert OURS.anchor({"note": "A4", "hz": 440}) == Anchor(440, note=NoteName("A", 0, 4))
    assert OURS.anchor("A4=440") == OURS.anchor({"note": "A4", "hz": 440})
    assert OURS.anchor("0=256") == Anchor(256, degree=0)
    assert OURS.layout({"kind": "linear", "root": {"key": 69}}).degree(70) == 1
    assert OURS.scale(value_of("31-equal")).size == 31


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("31-eqal", "scale: got '31-eqal'; allowed: did you mean 31-equal"),
        ("", "scale: got ''; allowed: one of"),
        ("..", "scale: got '..'; allowed: one of"),
        ("a" * 10_000, "scale: got 'aaaa"),
    ],
)
def test_names_that_are_not_there(name: str, message: str) -> None:
    with pytest.raises(NotFound) as caught:
        OURS.scale(name)
    assert str(caught.value).startswith(message)


def test_errors_about_references_name_the_line_that_made_them() -> None:
    value = parse_document("title: x\nscale: 31-eqal\nanchor: H4=440\n", "score.yaml")
    fields = value.fields("title", "scale", "anchor")
    with pytest.raises(NotFound, match=r"^score\.yaml:2: scale: got '31-eqal'"):
        OURS.scale(fields["scale"])
    with pytest.raises(InvalidValue, match=r"^score\.yaml:3: anchor: got 'H4'; allowed: a note"):
        OURS.anchor(fields["anchor"])
    with pytest.raises(NotFound, match=r"^kind of preset: got 'tunes'; allowed: one of anchors, "):
        OURS.names("tunes")


# What is refused in a file, and what the error says.


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("name: quay\n", 1, "fields: got 'none of them'; allowed: exactly one of equal, "),
        ("equal: 5\ndegrees: [3/2]\n", 1, "fields: got 'equal and degrees'; allowed: ex"),
        ("\nequal: 31\nfith: 18\n", 3, "unknown field: got 'fith'; allowed: did you mean "),
        ("xyz: [3/2]\n", 1, "unknown field: got 'xyz'; allowed: one of name, source, "),
        ("name: x\nequal: 0\n", 2, "equal: got 0; allowed: a whole number from 1 to 10"),
        ("equal: 100001\n", 1, "equal: got 100001; allowed: a whole number from 1 to 1"),
        ("equal: 12.0\n", 1, "equal: got 12.0; allowed: a whole number"),
        ("equal: true\n", 1, "equal: got True; allowed: a whole number"),
        ("equal: .nan\n", 1, "equal: got nan; allowed: a whole number"),
        ("equal:\n", 1, "equal: got 'nothing'; allowed: a whole number"),
        ("equal: 12\nperiod: 2\n", 2, "period: got 2; allowed: an interval such as 3/2"),
        ("equal: 12\nperiod: 1:30\n", 2, "period: got '1:30'; allowed: an interval"),
        ("equal: 12\nperiod: 1/2\n", 2, "period: got '1/2'; allowed: an interval above 1"),
        ("equal: 12\nfifth: 13\n", 2, "fifth: got 13; allowed: a degree from 1 to 12"),
        ("equal: 2\nnames: [C]\n", 2, "names: got '1 names'; allowed: one name for each "),
        ("equal: 2\nnames:\n- C\n- H\n", 4, "names item 2: got 'H'; allowed: a letter"),
        ("equal: 2\nnames: [C, no]\n", 2, "names item 2: got 'no'; allowed: a letter A t"),
        ("degrees: 3/2\n", 1, "degrees: got '3/2'; allowed: a list"),
        ("degrees:\n- 5/4\n- 1.5\n", 3, "degrees item 2: got 1.5; allowed: an interval"),
        ("degrees:\n- 5/4\n- 6/5\n", 3, "degrees item 2: got '6/5'; allowed: intervals t"),
        ("degrees:\n- 5/4\n- 2/1\n", 3, "degrees item 2: got '2/1'; allowed: intervals b"),
        ("degrees:\n- 5/4\n- 3/0\n", 3, "degrees item 2: got '3/0'; allowed: ratios of"),
        ("name: 31\nequal: 31\n", 1, "name: got 31; allowed: text"),
        ("name: \"a\\eb\"\nequal: 31\n", 1, "name: got 'a\\x1bb'; allowed: one line of 1"),
        ("- equal\n", 1, "value: got 'a list'; allowed: a mapping with name, source"),
        ("equal: 3\nequal: 4\n", 2, "equal: got 'equal again'; allowed: each key once"),
    ],
)  # fmt: skip
def test_scales_that_are_refused(text: str, line: int, message: str) -> None:
    assert refusal(text).startswith(f"quay.yaml:{line}: {message}")


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("note: A4\n", 1, "hz: got 'nothing'; allowed: this field is needed"),
        ("hz: 440\n", 1, "fields: got 'none of them'; allowed: exactly one of note, degr"),
        ("note: A4\nhz: 0\n", 2, "hz: got 0; allowed: a number from 0.01 to 20000"),
        ("note: A4\nhz: .inf\n", 2, "hz: got inf; allowed: a number from 0.01 to 20000"),
        ("note: A4\nhz: '440'\n", 2, "hz: got '440'; allowed: a number from 0.01 to 2000"),
        ("note: A4\nhz: yes\n", 2, "hz: got 'yes'; allowed: a number"),
        ("hz: 440\nnote: 69\n", 2, "note: got 69; allowed: a note name such as A4"),
        ("hz: 440\nnote: H4\n", 2, "note: got 'H4'; allowed: a note name such as A4"),
        ("hz: 440\ndegree: 1.5\n", 2, "degree: got 1.5; allowed: a whole number"),
        ("note: A4\nhz: 1\ncelsius: cold\n", 3, "celsius: got 'cold'; allowed: a number"),
        ("note: A4\nhz: 1\ncelcius: 5\n", 3, "unknown field: got 'celcius'; allowed: did "),
    ],
)  # fmt: skip
def test_anchors_that_are_refused(text: str, line: int, message: str) -> None:
    assert refusal(text, "anchor").startswith(f"quay.yaml:{line}: {message}")


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("root: {key: 60}\n", 1, "kind: got 'nothing'; allowed: this field is needed"),
        ("kind: hexagons\n", 1, "kind: got 'hexagons'; allowed: one of linear, repeat, "),
        ("kind: linear\nroot: 60\n", 2, "root: got 60; allowed: a mapping with key, d"),
        ("kind: linear\nroot:\n  key: 60.5\n", 3, "root.key: got 60.5; allowed: a who"),
        ("kind: linear\nroot:\n  degree: 0\n", 2, "root.key: got 'nothing'; allowed: th"),
    ],
)
def test_layouts_that_are_refused(text: str, line: int, message: str) -> None:
    assert refusal(text, "layout").startswith(f"quay.yaml:{line}: {message}")


# What is written reads back.

labels = st.fixed_dictionaries(
    {}, optional={key: st.sampled_from(["quay", "a: b", "#1", "null", "31", "é♯", "- x"])
                  for key in ("name", "source", "about")}
)  # fmt: skip
equal_scales = st.builds(
    lambda parts, period, fifth, labels: Scale.equal(
        parts, period, fifth=fifth if fifth and fifth <= parts else None, **labels
    ),
    st.integers(1, 3000),
    st.sampled_from([OCTAVE, Interval.ratio(3), Interval.parse("1201.3 cents")]),
    st.none() | st.integers(1, 3000),
    labels,
)
listed_scales = st.builds(
    lambda steps, named, labels: Scale.from_degrees(
        steps[:-1],
        steps[-1],
        names=["C", "Db", "D", "Eb", "E", "F", "F#", "G"][: len(steps)] if named else None,
        **labels,
    ),
    st.sets(intervals(9).filter(lambda step: step > UNISON), min_size=1, max_size=8).map(sorted),
    st.booleans(),
    labels,
)


@given(equal_scales | listed_scales)
def test_scales_read_back(scale: Scale) -> None:
    assert OURS.scale(scale.to_mapping()) == scale


@given(
    st.floats(0.01, 20_000),
    st.sampled_from([{"note": NoteName("B", -2, 3)}, {"degree": -7}]),
    st.none() | st.floats(-273, 100),
    labels,
)
def test_anchors_read_back(
    hz: float, place: dict[str, object], celsius: float | None, labels: dict[str, str]
) -> None:
    anchor = Anchor(hz, celsius=celsius, **place, **labels)  # type: ignore[arg-type]
    assert OURS.anchor(anchor.to_mapping()) == anchor


def test_a_file_of_a_hundred_thousand_degrees_is_read(tmp_path: Path) -> None:
    steps = "\n".join(f"- {part / 84:.4f} cents" for part in range(1, 100_000))
    (tmp_path / "fine.yaml").write_text(f"degrees:\n{steps}\n")
    scale = OURS.scale(tmp_path / "fine.yaml")
    assert scale.size == 100_000
    assert scale.interval(84) == Interval.parse("1 cents")
