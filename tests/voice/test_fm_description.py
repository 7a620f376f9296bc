"""FM voices as values: what is refused, in which order operators stand, how loud they are."""

import math

import pytest

from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator, Path

HEARD = Operator(1.0, level_db=0.0)
SILENT = Operator(2.0)


@pytest.mark.parametrize("number", [math.nan, math.inf, True, "1", -1.1, 1.1])
def test_feedback_beyond_1_is_refused(number: float) -> None:
    with pytest.raises(InvalidValue, match=r"feedback.*from -1 to 1"):
        Operator(1.0, feedback=number)


def test_an_operator_has_a_ratio_or_a_frequency() -> None:
    with pytest.raises(InvalidValue, match=r"neither.*one of ratio and hz"):
        Operator()
    with pytest.raises(InvalidValue, match=r"both.*one of ratio and hz"):
        Operator(ratio=1.0, hz=100.0)
    with pytest.raises(InvalidValue, match="ratio"):
        Operator(ratio=Interval.ratio(1000, 1))
    with pytest.raises(InvalidValue, match="degree"):
        DegreesUp(True)


@pytest.mark.parametrize("index", [-0.1, 50.1, math.nan, True])
def test_an_index_is_0_to_50_radians(index: float) -> None:
    with pytest.raises(InvalidValue, match=r"index.*from 0 to 50"):
        Path(1, 2, index)


@pytest.mark.parametrize(
    ("paths", "says"),
    [
        ((Path(1, 2, 1.0), Path(2, 1, 1.0)), "1 -> 2 -> 1"),
        ((Path(2, 1, 1.0), Path(1, 3, 1.0), Path(3, 2, 1.0)), "1 -> 3 -> 2 -> 1"),
        ((Path(4, 1, 1.0),), "source: got 4"),
        ((Path(2, 1, 1.0), Path(2, 1, 2.0), Path(3, 1, 1.0)), "2 to 1 twice"),
        ((Path(2, 1, 1.0),), "operators item 3: got 'neither heard nor moving one'"),
    ],
)
def test_paths_that_make_no_sense_are_named(paths: tuple[Path, ...], says: str) -> None:
    with pytest.raises(InvalidValue) as refused:
        FmVoice("voice", (HEARD, SILENT, SILENT), paths)
    assert says in str(refused.value)


def test_an_operator_on_itself_is_told_of_feedback() -> None:
    with pytest.raises(InvalidValue, match="feedback"):
        Path(2, 2, 1.0)


def test_something_must_be_heard() -> None:
    with pytest.raises(InvalidValue, match="at least one with a level_db"):
        FmVoice("voice", (SILENT, SILENT), (Path(1, 2, 1.0),))
    with pytest.raises(InvalidValue, match="1 to 6 operators"):
        FmVoice("voice", ())


def test_operators_stand_after_those_that_move_them() -> None:
    paths = (Path(3, 1, 1.0), Path(4, 3, 1.0), Path(2, 4, 1.0), Path(2, 1, 1.0))
    voice = FmVoice("voice", (HEARD, SILENT, SILENT, SILENT), paths)
    order = voice.order()
    assert sorted(order) == [1, 2, 3, 4]
    for path in paths:
        assert order.index(path.source) < order.index(path.target)


def test_powers_of_what_is_heard_add_up_to_a_sine_at_full_scale() -> None:
    operators = (HEARD, Operator(2.0, level_db=-6.0), Operator(3.0, level_db=-90.0))
    levels = FmVoice("voice", operators).levels()
    assert sum(level**2 for level in levels) == pytest.approx(1.0)
    assert 20 * math.log10(levels[1] / levels[0]) == pytest.approx(-6.0)
