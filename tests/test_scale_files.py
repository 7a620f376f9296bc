"""Every form of scale file: what it comes to, and what is refused with its line."""

from pathlib import Path

import pytest

from meantide.catalogue import Catalogue, shipped_folder
from meantide.document import parse_document
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, Interval, Scale
from meantide.scale_files import FORMS, read_scale

OURS = Catalogue([shipped_folder()])
QUARTER_COMMA = "3/2 - 1/4 of 81/80"
ONE_OF_EACH = {
    "equal": "equal: 31\n",
    "degrees": "degrees: [9/8, 5/4, 4/3, 3/2, 5/3, 15/8]\nnames: [C, D, E, F, G, A, B]\n",
    "chain": f"chain: {{by: {QUARTER_COMMA}, up: 8, down: 3}}\n",
    "fifths": f"fifths:\n  from: Eb\n  each: [{', '.join([QUARTER_COMMA] * 11)}]\n",
    "harmonics": "harmonics: {from: 8, to: 16}\n",
    "subharmonics": "period: 3/1\nsubharmonics: {from: 15, to: 5}\n",
    "choose": "choose: {of: 31-equal, degrees: [0, 5, 10, 13, 18, 23, 28]}\n",
    "products": "products: {of: [1, 3, 5, 7], take: 2}\n",
}
SIZES = dict(zip(FORMS, (31, 7, 12, 12, 8, 10, 7, 6), strict=True))


def read(text: str) -> Scale:
    return OURS.scale(parse_document(text, "quay.yaml"))


def refusal(text: str) -> str:
    with pytest.raises(InvalidValue) as caught:
        read(text)
    return str(caught.value)


@pytest.mark.parametrize("form", FORMS)
def test_each_form_is_read_and_reads_back(form: str) -> None:
    scale = read(f"name: quay\nsource: invented\n{ONE_OF_EACH[form]}")
    assert (scale.name, scale.source, scale.size) == ("quay", "invented", SIZES[form])
    # Written out it is degrees, or an equal division, and needs no other file.
    assert read_scale(parse_document(str(scale.to_mapping()), "")) == scale


def test_a_chain_and_its_fifths_are_one_scale_but_for_names() -> None:
    chain, fifths = read(ONE_OF_EACH["chain"]), read(ONE_OF_EACH["fifths"])
    assert chain.steps == fifths.steps
    assert chain.names is None
    assert fifths.names == ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def test_a_chain_may_list_its_names() -> None:
    scale = read(f"chain: {{by: {QUARTER_COMMA}, up: 5, down: 1}}\nnames: [C, D, E, F, G, A, B]\n")
    assert scale.names == tuple("CDEFGAB")
    assert scale.interval(2) == Interval.ratio(5, 4)


@pytest.mark.parametrize(("first", "second"), [("equal", "harmonics"), ("fifths", "products")])
def test_two_forms_are_refused(first: str, second: str) -> None:
    reason = refusal(f"name: quay\n{ONE_OF_EACH[first]}{ONE_OF_EACH[second]}")
    assert reason.startswith(f"quay.yaml:1: fields: got '{first} and {second}'; allowed: exactly")


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("chain:\n  by: 3/2\n", 1, "chain: got '0 links'; allowed: 1 to 9999 links, up a"),
        ("chain:\n  up: 3\n", 1, "chain.by: got 'nothing'; allowed: this field is neede"),
        ("chain:\n  by: 3\n  up: 1\n", 2, "chain.by: got 3; allowed: an interval such as"),
        ("chain:\n  by: 3/2\n  up: -1\n", 3, "chain.up: got -1; allowed: a whole number"),
        ("chain:\n  by: 3/2\n  ups: 1\n", 3, "chain: unknown field: got 'ups'; allowed: did"),
        ("\nchain:\n  by: 1/2 of 2/1\n  up: 2\n", 2, "chain: got 'link 0 and link 2 on one p"),
        ("fifths:\n  from: G\n  each: []\n", 2, "fifths.from: got 'G'; allowed: a name fr"),
        ("fifths:\n  from: Eb\n  each: []\n", 3, "fifths.each: got '0 fifths'; allowed: e"),
        ("fifths:\n  from: Eb\n  each:\n  - 3/2\n  - 1.5\n", 5, "fifths.each item 2: got 1.5"),
        ("harmonics:\n  from: 8\n  to: 17\n", 3, "harmonics.to: got '17/8 above the first"),
        ("harmonics:\n  from: 8\n", 1, "harmonics.to: got 'nothing'; allowed: this field i"),
        ("period: 3/2\nharmonics:\n  from: 8\n  to: 16\n", 4, "harmonics.to: got '2/1 above"),
        ("subharmonics:\n  from: 8\n  to: 9\n", 3, "subharmonics.to: got 9; allowed: a who"),
        ("period: 1/1\nequal: 2\n", 1, "period: got '1/1'; allowed: an interval above 1/1"),
        ("period: 1/2\nproducts: {of: [1], take: 1}\n", 1, "period: got '1/2'; allowed: an"),
        ("products:\n  take: 2\n  of: [1, 3, 9, 27]\n", 3, "products.of: got '1·27 and 3·9"),
        ("products:\n  of:\n  - 1\n  - 0\n  take: 1\n", 4, "products.of item 2: got 0; allow"),
        ("products:\n  of: [1, 3]\n  take: 3\n", 3, "products.take: got 3; allowed: a whole"),
        ("degrees:\n- 5/4\n- 9/4\n", 3, "degrees item 2: got '9/4'; allowed: intervals belo"),
        ("equal: 3\nnames:\n- D\n- F\n- E\n", 5, "names item 3: got 'E'; allowed: names tha"),
        ("choose:\n  of: 31-eqal\n  degrees: [0]\n", 2, "scale: got '31-eqal'; allowed: did"),
        ("choose:\n  of: {equal: 0}\n  degrees: [0]\n", 2, "choose.of.equal: got 0; allowed"),
        ("choose:\n  of: 31-equal\n  degrees:\n  - 0\n  - 31\n", 5, "choose.degrees item 2: go"),
        ("choose:\n  of: 31-equal\n  degrees: []\n", 3, "choose.degrees: got 'no degrees'"),
        ("choose: {of: 31-equal, degrees: [0]}\nperiod: 3/1\n", 2, "period: got '3/1'; allow"),
    ],
)  # fmt: skip
def test_forms_that_are_refused(text: str, line: int, message: str) -> None:
    assert refusal(text).startswith(f"quay.yaml:{line}: {message}")


def test_twelve_fifths_that_do_not_close_are_refused_with_what_is_over() -> None:
    each = "\n  - ".join(["", *["3/2"] * 12])
    reason = refusal(f"name: quay\nfifths:\n  from: Eb\n  each:{each}\n")
    assert reason.startswith("quay.yaml:4: fifths.each: got 'twelve fifths that make seven periods")
    assert "+23.460010 cents" in reason  # the Pythagorean comma


@pytest.mark.parametrize("naming", ["fifth: 7", "names: [C, D]"])
def test_fifths_bring_their_names(naming: str) -> None:
    reason = refusal(f"{ONE_OF_EACH['fifths']}{naming}\n")
    field, _, _ = naming.partition(":")
    assert reason.startswith(f"quay.yaml:4: {field}: got ")
    assert "fifths.from" in reason


# Scales made of other scales.


def test_a_mode_has_the_names_and_the_period_of_its_scale() -> None:
    scale = read("choose: {of: 31-equal, degrees: [5, 10, 13, 18, 23, 28, 31]}\n")
    assert scale.names == ("D", "E", "F", "G", "A", "B", "C")
    assert scale.interval(7) == OCTAVE
    scale = read("choose: {of: 13-equal-of-3, degrees: [0, 4, 9]}\n")
    assert scale.names is None
    assert scale.period == Interval.ratio(3)
    scale = read("choose: {of: 31-equal, degrees: [0, 10, 18]}\nfifth: 2\n")
    assert (scale.names, scale.fifth) == (None, 2)
    scale = read("choose: {of: {harmonics: {from: 8, to: 16}}, degrees: [0, 2, 4, 6]}\n")
    assert scale.interval(3) == Interval.ratio(7, 4)


def test_paths_in_a_scale_start_where_its_file_lies(tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "tide.yaml").write_text("choose: {of: ../gauge.yaml, degrees: [0, 2, 4]}\n")
    (tmp_path / "gauge.yaml").write_text("harmonics: {from: 6, to: 12}\n")
    (tmp_path / "low.yaml").write_text("choose: {of: inner/tide.yaml, degrees: [1, 2]}\n")
    assert OURS.scale(inner / "tide.yaml").interval(2) == Interval.ratio(10, 6)
    assert OURS.scale("low.yaml", tmp_path).interval(1) == Interval.ratio(10, 8)
    named = {"choose": {"of": "./gauge.yaml", "degrees": [0, 1]}}
    assert OURS.scale(named, tmp_path).interval(1) == Interval.ratio(7, 6)


def test_scales_made_of_themselves_are_refused(tmp_path: Path) -> None:
    folder = tmp_path / "scales"
    folder.mkdir()
    catalogue = Catalogue([tmp_path])
    (folder / "a.yaml").write_text("choose:\n  of: b\n  degrees: [0]\n")
    (folder / "b.yaml").write_text("choose:\n  of: ./a.yaml\n  degrees: [0]\n")
    (folder / "self.yaml").write_text("choose: {of: self, degrees: [0]}\n")
    with pytest.raises(InvalidValue) as caught:
        catalogue.scale("a")
    reason = f"{folder / 'b.yaml'}:2: choose.of: got './a.yaml'; allowed: a scale that is not made"
    assert str(caught.value).startswith(reason)
    with pytest.raises(InvalidValue, match=r"self\.yaml:1: choose\.of: got 'self'"):
        catalogue.scale("self")


def test_strangers_name_no_files_but_files_may(tmp_path: Path) -> None:
    folder = tmp_path / "scales"
    folder.mkdir()
    (folder / "tide.yaml").write_text("choose: {of: ./gauge.yaml, degrees: [0, 1]}\n")
    (folder / "gauge.yaml").write_text("harmonics: {from: 6, to: 12}\n")
    wary = Catalogue([tmp_path], paths=False)
    assert wary.scale("tide").interval(1) == Interval.ratio(7, 6)
    foreign = {"choose": {"of": str(folder / "gauge.yaml"), "degrees": [0, 1]}}
    with pytest.raises(InvalidValue, match="paths are not followed here"):
        wary.scale(foreign)
    with pytest.raises(InvalidValue, match="no catalogue is at hand"):
        read_scale(parse_document(ONE_OF_EACH["choose"], "quay.yaml"))
