"""Phrases and turns of a comparison: where a piece is cut, and in which order takes play."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.offline.matched_takes import matching_gains
from meantide.offline.turns import LONGEST_S, order_of, phrases_of
from takes import RATE, Asked, make_take


def cuts_s(*spans: tuple[float, float]) -> list[float]:
    """Return where phrases begin, in s, of notes that begin and last so."""
    log, _ = make_take([Asked(440.0 + place, *span, voice="pure")
                        for place, span in enumerate(spans)])  # fmt: skip
    return [first / RATE for first, _ in phrases_of(log)]


def test_a_phrase_begins_where_no_note_is_held() -> None:
    assert cuts_s((0, 5), (1, 3), (6, 5), (8, 3), (12, 5)) == [0.0, 6.0, 12.0]


def test_where_notes_overlap_the_fewest_are_cut() -> None:
    # At 4 s two are held, at 7 s one.
    assert cuts_s((0, 6), (0, 11), (4, 4), (7, 6)) == [0.0, 7.0]


def test_a_short_piece_is_one_phrase_and_a_long_note_is_not_cut() -> None:
    assert cuts_s((0, 2), (3, 2)) == [0.0]
    assert cuts_s((0, 14)) == [0.0]


def test_phrases_follow_each_other_to_the_end() -> None:
    log, _ = make_take([Asked(440.0, each * 1.5, 1.4, voice="pure") for each in range(16)])
    phrases = phrases_of(log)
    assert all(one[1] == two[0] for one, two in pairwise(phrases))
    assert phrases[-1][1] == log.frames
    assert all(last - first <= LONGEST_S * RATE for first, last in phrases[:-1])


@given(st.integers(2, 16), st.integers(1, 20), st.one_of(st.none(), st.integers()))
def test_every_take_plays_once_a_phrase_in_the_same_order_for_a_seed(takes, phrases, seed) -> None:
    orders = order_of(takes, phrases, seed)
    assert [sorted(order) for order in orders] == [list(range(takes))] * phrases
    assert orders == order_of(takes, phrases, seed)


@given(st.lists(st.floats(-69.0, 0.0), min_size=1))
def test_takes_are_only_turned_down_and_end_equal(loudness) -> None:
    gains = matching_gains(loudness)
    assert max(gains) == 0.0
    assert [a + b for a, b in zip(loudness, gains, strict=True)] == pytest.approx(
        [min(loudness)] * len(loudness)
    )
