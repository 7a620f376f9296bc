"""Layouts: keys to degrees."""

import pytest

from meantide.errors import InvalidValue
from meantide.pitch import LinearLayout


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
