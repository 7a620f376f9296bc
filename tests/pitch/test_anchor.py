"""Anchors: one note or degree and its frequency."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.pitch import Anchor, NoteName

A4 = NoteName("A", 0, 4)


@pytest.mark.parametrize(
    ("text", "anchor"),
    [
        ("A4=440", Anchor(440, note=A4)),
        ("C4=256", Anchor(256, note=NoteName("C", 0, 4))),
        ("Bb3 = 233.08", Anchor(233.08, note=NoteName("B", -1, 3))),
        ("0=256", Anchor(256, degree=0)),
        ("-12=1e2", Anchor(100, degree=-12)),
    ],
)
def test_anchors_as_written(text: str, anchor: Anchor) -> None:
    assert Anchor.parse(text) == anchor


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("A4", "anchor"),
        ("440", "anchor"),
        ("A4=", "anchor"),
        ("A4=fast", "anchor"),
        ("A4=4_40", "anchor"),
        ("A4=nan", "hz"),
        ("A4=inf", "hz"),
        ("A4=-440", "hz"),
        ("A4=0.009", "hz"),
        ("A4=20001", "hz"),
        ("H4=440", "note name"),
        ("=440", "note name"),
        ("1.5=440", "note name"),
        ("99999999=440", "note name"),
        ("9999999=440", "degree"),
    ],
)
def test_what_is_no_anchor_is_refused(text: str, field: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        Anchor.parse(text)
    assert caught.value.field == field


@pytest.mark.parametrize("hz", [0, -1, math.nan, math.inf, True, "440", 0.009, 20_001])
def test_frequencies_are_finite_and_in_range(hz: float) -> None:
    with pytest.raises(InvalidValue, match=r"from 0\.01 to 20000"):
        Anchor(hz, note=A4)


@pytest.mark.parametrize("celsius", [-300, 101, math.nan, False])
def test_temperatures_are_of_this_world(celsius: float) -> None:
    with pytest.raises(InvalidValue, match=r"from -273\.15 to 100"):
        Anchor(440, note=A4, celsius=celsius)


def test_an_anchor_names_one_thing() -> None:
    for both in ({}, {"note": A4, "degree": 0}):
        with pytest.raises(InvalidValue, match="one of the two"):
            Anchor(440, **both)  # type: ignore[arg-type]
    with pytest.raises(InvalidValue, match="a whole number"):
        Anchor(440, degree=True)


@given(st.floats(0.01, 20_000), st.none() | st.integers(-100, 100))
def test_the_short_form_reads_back_to_the_last_bit(hz: float, degree: int | None) -> None:
    anchor = Anchor(hz, degree=degree) if degree is not None else Anchor(hz, note=A4)
    assert Anchor.parse(anchor.label) == anchor


def test_mappings() -> None:
    assert Anchor(435, note=A4, celsius=15, name="quay").to_mapping() == {
        "name": "quay",
        "note": "A4",
        "hz": 435.0,
        "celsius": 15.0,
    }
    assert Anchor(256, degree=0).to_mapping() == {"degree": 0, "hz": 256.0}
