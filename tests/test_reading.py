"""Checked reading of values: what passes, and what every refusal says."""

import math

import pytest

from meantide.document import parse_document
from meantide.errors import InvalidValue, NotFound
from meantide.pitch import Interval
from meantide.reading import MAX_DEPTH, Fields, Value, value_of

SCORE = """\
title: Slack water
tempo: 72
loop: false
parts:
  reed:
    held: stay
    notes:
      - {at: 0, for: 2}
      - {at: 2,
         for: soon}
"""


def score() -> Fields:
    return parse_document(SCORE, "score.yaml").fields("title", "tempo", "loop", "parts", "about")


def refusal(value: Value, method: str, *arguments: object) -> str:
    with pytest.raises(InvalidValue) as caught:
        getattr(value, method)(*arguments)
    return str(caught.value)


def test_fields_are_read_as_what_they_are() -> None:
    fields = score()
    assert fields.text("title") == "Slack water"
    assert fields.number("tempo", 1, 1000) == 72.0
    assert isinstance(fields.number("tempo", 1, 1000), float)
    assert fields.integer("tempo", 1, 1000) == 72
    assert fields.flag("loop") is False
    assert "tempo" in fields
    assert "about" not in fields
    assert fields.get("about") is None
    [(name, part)] = fields["parts"].entries()
    assert name == "reed"
    assert part.fields("held", "notes").choice("held", ["follow", "stay"]) == "stay"


def test_defaults_serve_only_where_nothing_is_written() -> None:
    fields = value_of({"hz": 0}).fields("hz", "on", "name", "count", "held")
    assert fields.number("hz", 0, 1, default=0.5) == 0
    assert fields.flag("on", default=False) is False
    assert fields.text("name", default="") == ""
    assert fields.integer("count", 0, 9, default=3) == 3
    assert fields.choice("held", ["follow"], default="follow") == "follow"


def test_errors_name_file_line_and_the_path_of_fields() -> None:
    notes = score()["parts"].fields("reed").fields("reed", "held", "notes").items("notes")
    late = notes[1].fields("at", "for")
    with pytest.raises(InvalidValue) as caught:
        late.number("for", 0, 100)
    assert str(caught.value) == (
        "score.yaml:10: parts.reed.notes item 2.for: got 'soon'; allowed: a number from 0 to 100"
    )
    with pytest.raises(InvalidValue) as caught:
        _ = score()["about"]
    assert str(caught.value) == (
        "score.yaml:1: about: got 'nothing'; allowed: this field is needed"
    )


def test_unknown_fields_are_refused_with_the_nearest_and_all_there_are() -> None:
    with pytest.raises(NotFound) as caught:
        parse_document(SCORE, "score.yaml").fields("title", "temp", "loop", "parts")
    assert str(caught.value) == (
        "score.yaml:2: unknown field: got 'tempo'; "
        "allowed: did you mean temp? one of title, temp, loop, parts"
    )
    with pytest.raises(NotFound) as caught:
        score()["parts"].fields("bell")
    assert str(caught.value) == (
        "score.yaml:5: parts: unknown field: got 'reed'; allowed: one of bell"
    )


@pytest.mark.parametrize(
    ("data", "method", "arguments", "message"),
    [
        (True, "number", (0, 1), "hz: got True; allowed: a number from 0 to 1"),
        ("1", "number", (0, 1), "hz: got '1'; allowed: a number from 0 to 1"),
        (math.nan, "number", (0, 1), "hz: got nan; allowed: a number from 0 to 1"),
        (math.inf, "number", (0, 1), "hz: got inf; allowed: a number from 0 to 1"),
        (10**400, "number", (0, 1e308), "a number from 0 to 1e+308"),
        (1.01, "number", (0, 1), "hz: got 1.01; allowed: a number from 0 to 1"),
        (None, "number", (0, 1), "hz: got 'nothing'; allowed: a number from 0 to 1"),
        ([1], "number", (0, 1), "hz: got 'a list'; allowed: a number from 0 to 1"),
        ({}, "number", (0, 1), "hz: got 'a mapping'; allowed: a number from 0 to 1"),
        (3.0, "integer", (0, 9), "hz: got 3.0; allowed: a whole number from 0 to 9"),
        (False, "integer", (0, 9), "hz: got False; allowed: a whole number from 0 to 9"),
        (10, "integer", (0, 9), "hz: got 10; allowed: a whole number from 0 to 9"),
        (3, "text", (), "hz: got 3; allowed: text"),
        (" ", "text", (), "allowed: one line of 1 to 4000 printable characters"),
        ("a\x1b[2J", "text", (), "allowed: one line of 1 to 4000 printable characters"),
        ("a\nb", "text", (), "allowed: one line of 1 to 4000 printable characters"),
        ("a" * 4001, "text", (), "allowed: one line of 1 to 4000 printable characters"),
        (None, "verbatim", (), "hz: got 'nothing'; allowed: text"),
        (["a"], "verbatim", (), "hz: got 'a list'; allowed: text"),
        ("held", "choice", (["follow", "stay"],), "got 'held'; allowed: one of follow, stay"),
        (True, "choice", (["follow"],), "got True; allowed: one of follow"),
        (1, "flag", (), "hz: got 1; allowed: true or false"),
        ("on", "flag", (), "hz: got 'on'; allowed: true or false"),
        ("ab", "items", (), "hz: got 'ab'; allowed: a list"),
        ([1, 2, 3], "items", (2,), "hz: got '3 items'; allowed: a list of at most 2"),
        ([1], "fields", ("at", "for"), "hz: got 'a list'; allowed: a mapping with at, for"),
        ([1], "entries", (), "hz: got 'a list'; allowed: a mapping of names to values"),
        ({60: 0}, "entries", (), "hz: got 60; allowed: text for a key"),
    ],
)
def test_what_each_reader_refuses(
    data: object, method: str, arguments: tuple[object, ...], message: str
) -> None:
    text = refusal(value_of(data, "/anchor", "hz"), method, *arguments)
    assert text.startswith("/anchor: hz: ")
    assert message in text


def test_outer_spaces_are_no_part_of_a_text() -> None:
    assert value_of(" Slack water\n").text() == "Slack water"


@pytest.mark.parametrize("text", ["", " Slack water\n", "a" * 4001, "a\tb\nc"])
def test_a_text_taken_verbatim_is_whole(text: str) -> None:
    assert value_of(text).verbatim() == text


def test_exactly_one_of_several_fields() -> None:
    fields = value_of({"note": "A4", "hz": 440}, "/anchor", "anchor").fields("note", "degree", "hz")
    assert fields.only_one_of("note", "degree") == "note"
    with pytest.raises(InvalidValue, match="anchor: got 'note and hz'; allowed: exactly one of"):
        fields.only_one_of("note", "hz")
    with pytest.raises(InvalidValue, match="got 'none of them'; allowed: exactly one of degree"):
        fields.only_one_of("degree")


def test_errors_of_constructors_get_the_place_of_the_field_they_name() -> None:
    value = parse_document("root:\n  key: 1\nsteps:\n  - 5/4\n  - 3\n", "quay.yaml")
    fields = value.fields("root", "steps")
    for named, where, field in [
        ("root.key", "quay.yaml:2", "root.key"),
        ("steps item 2", "quay.yaml:5", "steps item 2"),
        ("steps item 7", "quay.yaml:3", "steps"),
        ("elsewhere", "quay.yaml:1", "elsewhere"),
    ]:
        with pytest.raises(InvalidValue) as caught, fields.placing():
            raise InvalidValue(named, 1, "something else")
        assert (caught.value.where, caught.value.field) == (where, field)
    first = fields.items("steps")[0]
    with pytest.raises(InvalidValue, match=r"^quay\.yaml:4: steps item 1: got"), first.placing():
        Interval.parse("5")
    with pytest.raises(NotFound, match=r"^there: "), fields.placing():
        raise NotFound("name", "x", "y", "there")


def test_python_values_are_read_like_files() -> None:
    data = {"title": "Quay", "keys": {60: 0, 61: [1, 2.5, None, True]}}
    value = value_of(data, "a score")
    assert value.plain() == data
    assert value.fields("title", "keys")["keys"].plain() == data["keys"]
    assert value_of(value) is value
    assert value_of((1, 2)).plain() == [1, 2]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({1.5: 0}, "allowed: keys of one line of text, or whole numbers"),
        ({True: 0}, "allowed: keys of one line of text, or whole numbers"),
        ({"a\n": 0}, "allowed: keys of one line of text, or whole numbers"),
        ({"a" * 101: 0}, "allowed: keys of one line of text, or whole numbers"),
        ({"a": [object()]}, "here: a item 1: got 'object'; allowed: text, numbers, lists"),
        (b"bytes", "got 'bytes'; allowed: text, numbers, lists and mappings"),
    ],
)
def test_other_python_values_are_refused(data: object, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        value_of(data, "here")
    assert message in str(caught.value)


def test_nesting_has_an_end() -> None:
    ring: list[object] = []
    ring.append(ring)
    with pytest.raises(InvalidValue, match=f"at most {MAX_DEPTH} levels"):
        value_of(ring)
