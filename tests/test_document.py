"""YAML files and JSON: what they mean, the lines, and everything that is refused."""

import json
import math
import os
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from meantide import document
from meantide.document import MAX_BYTES, parse_document, parse_json, plain_scalar, read_document
from meantide.errors import InvalidValue, NotFound
from meantide.reading import Value


@pytest.fixture(params=["compiled", "pure"], autouse=True)
def _each_parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run every test here with the library's compiled parser and with its Python one."""
    if request.param == "pure":
        monkeypatch.setattr(document, "_Loader", yaml.SafeLoader)
    elif not yaml.__with_libyaml__:
        pytest.skip("the YAML library was built without its compiled parser")


# YAML 1.2.2, 10.3.2 (core schema) for the first two rows; the third is what YAML 1.1 took for
# numbers, flags and dates. Octal and hexadecimal of the core schema are left as text.
@pytest.mark.parametrize(
    ("text", "value"),
    [
        *(("", None), ("~", None), ("null", None), ("true", True), ("False", False), ("60", 60)),
        *(("-0", 0), ("+7", 7), ("010", 10), ("0.5", 0.5), (".5", 0.5), ("1.", 1.0), ("1e3", 1e3)),
        *((text, text) for text in ("1:30", "on", "no", "Yes", "1_000", "2001-01-01", "0x1f")),
        *(
            (text, text)
            for text in ("3/2", "A4", "E4", "7/31 of 2/1", "nan", "inf", "٣", "=", "<<")
        ),
        ("9" * 41, "9" * 41),
    ],
)
def test_plain_scalars(text: str, value: object) -> None:
    found = plain_scalar(text)
    assert found == value
    assert type(found) is type(value)


def test_infinities_are_numbers_that_readers_then_refuse() -> None:
    assert plain_scalar("-.inf") == -math.inf
    assert math.isnan(float(str(plain_scalar(".nan"))))
    with pytest.raises(InvalidValue, match=r"quay\.yaml:2: hz: got nan"):
        parse_document("note: A4\nhz: .NaN", "quay.yaml").fields("note", "hz").number("hz", 0, 9)


def test_quoted_scalars_are_text() -> None:
    assert parse_document("[60, '60', \"~\", 'true']", "f").plain() == [60, "60", "~", "true"]
    assert parse_document("a: |\n  60\n", "f").plain() == {"a": "60\n"}


def test_places_are_those_of_the_keys() -> None:
    text = "# a remark\nscale:\n  equal: 31\n  names:\n    [C, D,\n     E]\n"
    value = parse_document(text, "quay.yaml")
    scale = value.fields("scale")["scale"]
    assert (scale.where, scale.field) == ("quay.yaml:2", "scale")
    fields = scale.fields("equal", "names")
    assert (fields["equal"].where, fields["equal"].field) == ("quay.yaml:3", "scale.equal")
    assert fields["names"].where == "quay.yaml:4"
    assert [(item.where, item.field) for item in fields.items("names")] == [
        ("quay.yaml:5", "scale.names item 1"),
        ("quay.yaml:5", "scale.names item 2"),
        ("quay.yaml:6", "scale.names item 3"),
    ]


scalars = (
    st.none()
    | st.booleans()
    | st.integers(-(10**9), 10**9)
    | st.text("ab :#'\"\n\\-é♯", max_size=9)
)
trees = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text("abc -:#", min_size=1, max_size=5) | st.integers(0, 127), inner)
    ),
    max_leaves=20,
)


@settings(deadline=None)
@given(trees)
def test_what_the_yaml_library_writes_is_read_back(tree: object) -> None:
    # The library writes YAML 1.1; the texts here mean the same in both versions.
    text = yaml.safe_dump(tree, allow_unicode=True)
    assert parse_document(text, "f").plain() == tree


def refusal_of(parse: Callable[[str, str], Value], text: str) -> InvalidValue | None:
    try:
        parse(text, "quay.yaml")
    except InvalidValue as error:
        return error
    return None


@settings(deadline=None)
@given(st.text(max_size=200) | st.text("[]{}:,-?&*!|>'\"%@`# \n\tab1", max_size=60))
def test_any_text_is_read_or_refused_with_its_file(text: str) -> None:
    error = refusal_of(parse_document, text)
    assert error is None or error.where.startswith("quay.yaml")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: 1\nb: 2\na: 3\n", "quay.yaml:3: a: got 'a again'; allowed: each key once"),
        ("s:\n  60: 1\n  60: 2\n", "quay.yaml:3: s.60: got '60 again'; allowed: each key once"),
        ("a: &x [1]\n", "quay.yaml:1: YAML: got '&x'; allowed: values without anchors"),
        ("a: 1\nb: *x\n", "quay.yaml:2: YAML: got '*x'; allowed: values written out, no aliases"),
        ("a: !!int 3\n", "quay.yaml:1: YAML: got 'tag:yaml.org,2002:int'; allowed: values without"),
        ("\n--- !quay\na: 1\n", "quay.yaml:2: YAML: got '!quay'; allowed: values without tags"),
        ("a: 1\n---\nb: 1\n", "quay.yaml:2: YAML: got 'a second document'; allowed: one document"),
        ("", "quay.yaml: file: got 'an empty file'; allowed: a YAML document"),
        ("# only a remark\n", "quay.yaml: file: got 'an empty file'; allowed: a YAML document"),
        ("a:\n- b\n c: d\n", "quay.yaml:3: YAML: got"),
        ("a: 'b\n", "quay.yaml:2: YAML: got 'found unexpected end of stream'; allowed: valid YAML"),
        ("a: 1\nb:\tc: d\n", "quay.yaml:2: YAML: got"),
        ("? [1]\n: 2\n", "quay.yaml:1: key: got 'a list or mapping'; allowed: text for a key"),
        ("a:\n  1.5: 2\n", "quay.yaml:2: a: got 1.5; allowed: keys of one line of text"),
        ("true: 2\n", "quay.yaml:1: key: got True; allowed: keys of one line of text"),
        ("~: 2\n", "quay.yaml:1: key: got None; allowed: keys of one line of text"),
        ("a: 1\nb: \x1b\n", "quay.yaml:2: text: got 'control character 0x1b'; allowed: printable"),
        ("[" * 33 + "]" * 33, "quay.yaml:1: YAML: got 'deeper nesting'; allowed: at most 32"),
        ("[" * 200_000, "quay.yaml:1: YAML: got"),  # the compiled parser looks far ahead
        ("{a: " * 200_000, "quay.yaml:1: YAML: got"),
    ],
)
def test_what_is_refused_and_where(text: str, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        parse_document(text, "quay.yaml")
    assert str(caught.value).startswith(message)


def test_files_are_read_as_utf_8_with_or_without_a_mark(tmp_path: Path) -> None:
    file = tmp_path / "quay.yaml"
    for data in ("title: Ebbe Büsum".encode(), b"\xef\xbb\xbf" + "title: Ebbe Büsum".encode()):
        file.write_bytes(data)
        assert read_document(file).plain() == {"title": "Ebbe Büsum"}
    file.write_bytes(b"a: 1\nb: caf\xe9\n")
    with pytest.raises(InvalidValue, match=r"quay.yaml:2: text: got 'byte 0xe9'; allowed: UTF-8"):
        read_document(file)


def test_files_have_an_end(tmp_path: Path) -> None:
    file = tmp_path / "quay.yaml"
    file.write_bytes(b"a: 1\n" + b"#" * (MAX_BYTES - 5))
    assert read_document(file).plain() == {"a": 1}
    file.write_bytes(b"a: 1\n" + b"#" * (MAX_BYTES - 4))
    with pytest.raises(
        InvalidValue, match=r"quay.yaml: file: got 'a larger file'; allowed: at most"
    ):
        read_document(file)


def test_files_that_are_not_there(tmp_path: Path) -> None:
    (tmp_path / "harbour.yaml").write_text("a: 1\n")
    with pytest.raises(NotFound, match=r"did you mean harbour\.yaml") as caught:
        read_document(tmp_path / "harbor.yaml")
    assert caught.value.got == str(tmp_path / "harbor.yaml")
    with pytest.raises(NotFound, match="a file that is there"):
        read_document(tmp_path / "nowhere" / "harbour.yaml")


def test_what_is_no_file_is_not_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")  # reading it would wait for ever
    for path in (tmp_path, tmp_path / "pipe.yaml"):
        with pytest.raises(InvalidValue, match="allowed: a file"):
            read_document(path)
    for name in ("x" * 5000, "a\0b"):
        with pytest.raises(InvalidValue, match="a readable file"):
            read_document(tmp_path / name)


json_trees = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(max_size=5).filter(str.isprintable), inner, max_size=4)
    ),
    max_leaves=20,
)


@given(json_trees, st.booleans())
def test_what_the_json_library_writes_is_read_back(tree: object, ascii_only: bool) -> None:
    text = json.dumps(tree, ensure_ascii=ascii_only)
    assert repr(parse_json(text, "take.json").plain()) == repr(tree)  # tells 1 from 1.0 and True


@given(st.text(max_size=200) | st.text('[]{}:,"\\\\/u dDeE+-.0129trufalsn\n', max_size=60))
def test_any_text_is_read_as_json_or_refused_with_its_file(text: str) -> None:
    error = refusal_of(parse_json, text)
    assert error is None or error.where.startswith("quay.yaml")


def test_json_values_know_their_file_and_path() -> None:
    value = parse_json('{"notes": [{"hz": 440}, {"hz": true}]}', "take.json")
    late = value.fields("notes").items("notes")[1].fields("hz")
    with pytest.raises(InvalidValue, match=r"^take\.json: notes item 2\.hz: got True; allowed"):
        late.number("hz", 0, 1000)


# RFC 8259: numbers have neither NaN nor infinities (6); names "SHOULD be unique" (4); unpaired
# surrogates are "unpredictable" (8.2); a parser "MAY set limits" to depth and range (9).
@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "take.json: JSON: got 'Expecting value'; allowed: a JSON document"),
        ("{}\n{}", "take.json:2: JSON: got 'Extra data'; allowed: a JSON document"),
        ('{\n"hz": 1,\n"at" 2}', "take.json:3: JSON: got"),
        ("\ufeff{}", "take.json: JSON: got 'Unexpected UTF-8 BOM"),
        ("[NaN]", "take.json: JSON: got 'NaN'; allowed: finite numbers"),
        ('{"hz": -Infinity}', "take.json: JSON: got '-Infinity'; allowed: finite numbers"),
        ("[1e400]", "take.json: JSON: got '1e400'; allowed: finite numbers"),
        ('{"hz": 1, "at": 2, "hz": 1}', "take.json: JSON: got 'hz again'; allowed: each key once"),
        (
            r'["\udc00\ud800"]',
            "take.json: JSON: got 'half a surrogate pair'; allowed: Unicode text",
        ),
        (r'{"\uD800": 1}', "take.json: key: got '\\ud800'; allowed: keys of one line of text"),
        ('{"a\\n": 1}', "take.json: key: got 'a\\n'; allowed: keys of one line of text"),
        ("[" * 33 + "]" * 33, "take.json: item 1 item 1 item 1"),
        ("[" * 200_000, "take.json: JSON: got"),
        ("9" * 5_000, "take.json: JSON: got"),
    ],
)
def test_what_is_no_strict_json_is_refused_and_where(text: str, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        parse_json(text, "take.json")
    assert str(caught.value).startswith(message)


def test_a_surrogate_pair_is_one_character() -> None:
    assert parse_json(r'["\ud834\udd1e"]', "take.json").plain() == ["\U0001d11e"]  # a G clef
