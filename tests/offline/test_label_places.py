"""Labels along a ruler, against a general optimiser."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from meantide.offline.label_places import spread

heights = st.lists(st.floats(0, 100), min_size=1, max_size=7).map(sorted)


@given(heights, st.floats(0.1, 14))
def test_labels_keep_apart_and_within(wanted: list[float], gap: float) -> None:
    found = spread(wanted, gap, 0, 100)
    assert len(found) == len(wanted)
    assert min(found) >= 0
    assert max(found) <= 100 + 1e-9
    assert all(high - low >= gap - 1e-9 for low, high in pairwise(found))


@given(heights, st.floats(0.1, 14))
def test_no_other_places_lie_nearer(wanted: list[float], gap: float) -> None:
    found = np.array(spread(wanted, gap, 0, 100))
    apart = [
        {"type": "ineq", "fun": lambda x, i=i: x[i + 1] - x[i] - gap}
        for i in range(len(wanted) - 1)
    ]
    start = np.linspace(0, 100, len(wanted) + 2)[1:-1]
    best = minimize(
        lambda x: np.sum((x - wanted) ** 2),
        start,
        bounds=[(0, 100)] * len(wanted),
        constraints=apart,
        method="SLSQP",
    )
    assert best.success
    # The optimiser stops at 1e-6 of the sum of squares or so.
    assert np.sum((found - wanted) ** 2) <= best.fun + 1e-3 * (1 + best.fun)


def test_labels_with_room_stay_where_they_are() -> None:
    assert spread([10, 50, 90], 20, 0, 100) == [10, 50, 90]
    assert spread([50, 50], 20, 0, 100) == [40, 60]
    assert spread([0, 0, 0], 20, 10, 100) == pytest.approx([10, 30, 50])
