"""Equal divisions ranked, against published tables, mpmath at 100 digits and exact intervals."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interval_strategies import intervals
from meantide.errors import InvalidValue
from meantide.pitch import OCTAVE, UNISON, Interval
from meantide.pitch.nearness import Division, nearest_step, rank_divisions

parse = Interval.parse
TRITAVE = Interval.ratio(3)

# Calculated from 1200 log2 with mpmath at 40 digits, three decimals: steps and errors in cents.
TARGETS = ("3/2", "5/4", "6/5", "7/4", "11/8")
EQUAL_PARTS = {
    12: (100, [(7, -1.955), (4, 13.686), (3, -15.641), (10, 31.174), (6, 48.682)]),
    19: (63.157895, [(11, -7.218), (6, -7.366), (5, 0.148), (15, -21.457), (9, 17.103)]),
    22: (54.545455, [(13, 7.136), (7, -4.496), (6, 11.631), (18, 12.992), (10, -5.863)]),
    31: (38.709677, [(18, -5.181), (10, 0.783), (8, -5.964), (25, -1.084), (14, -9.382)]),
    53: (22.641509, [(31, -0.068), (17, -1.408), (14, 1.340), (43, 4.759), (24, -7.922)]),
}
# Just intervals of the Bohlen-Pierce scale (microtonaltheory.com) and how far the equal steps of
# 3/1 lie above them, calculated to three decimals; the upper half mirrors the lower.
THIRTEEN_OF_THREE = {
    "27/25": 13.067, "25/21": -9.238, "9/7": 3.829, "7/5": 2.705, "75/49": -5.409, "5/3": -6.533,
    "9/5": 6.533, "49/25": 5.409, "15/7": -2.705, "7/3": -3.829, "63/25": 9.238, "25/9": -13.067,
}  # fmt: skip


def octaves(interval: Interval) -> mpmath.mpf:
    return mpmath.fsum(
        mpmath.mpf(power.numerator) / power.denominator * mpmath.log(prime, 2)
        for prime, power in interval.powers
    )


def only(parts: int, targets: Sequence[Interval], period: Interval = OCTAVE) -> Division:
    [division] = rank_divisions(targets, parts, least=parts, period=period)
    return division


def parts_of(divisions: Sequence[Division]) -> list[int]:
    return [division.parts for division in divisions]


@pytest.mark.parametrize("parts", EQUAL_PARTS)
def test_steps_and_errors_as_tabled(parts: int) -> None:
    step_cents, table = EQUAL_PARTS[parts]
    division = only(parts, [parse(target) for target in TARGETS])
    assert division.steps == tuple(step for step, _ in table)
    # Half a unit of the last decimal printed, and a little for the float.
    assert division.errors_cents == pytest.approx([cents for _, cents in table], abs=5.1e-4)
    assert 1200 / parts == pytest.approx(step_cents, abs=5.1e-7)
    assert division.error_share * step_cents == pytest.approx(division.error_cents, rel=1e-7)


def test_thirteen_parts_of_three_as_tabled() -> None:
    division = only(13, [parse(ratio) for ratio in THIRTEEN_OF_THREE], TRITAVE)
    assert division.steps == tuple(range(1, 13))
    assert division.errors_cents == pytest.approx(list(THIRTEEN_OF_THREE.values()), abs=5.1e-4)
    # The step is 146.304230836 cents, calculated.
    assert division.error_cents / division.error_share == pytest.approx(146.304230836, abs=5e-10)


def test_the_weighted_error_is_the_formula_that_is_stated() -> None:
    targets = [parse("3/2"), parse("5/4")]
    [division] = rank_divisions(targets, 12, least=12, weights=[3, Fraction(1, 2)])
    expected = mpmath.sqrt((3 * 1.955000865**2 + 0.5 * 13.686286135**2) / 3.5)
    assert division.error_cents == pytest.approx(float(expected), abs=1e-9)
    assert division.error_share == pytest.approx(float(expected) / 100, abs=1e-11)
    [weighed_double] = rank_divisions(targets, 12, least=12, weights=[6, 1])
    assert weighed_double == division


targets = st.one_of(
    st.builds(Interval.ratio, st.integers(1, 24), st.integers(1, 24)),
    st.fractions(-2, 2, max_denominator=48).map(OCTAVE.__mul__),
    intervals(2).filter(lambda interval: abs(interval.octaves) < 9),
)
periods = st.sampled_from(
    [OCTAVE, TRITAVE, parse("3/2"), parse("1/2 of 2/1"), parse("701.3 cents")]
)


@given(
    st.lists(targets, min_size=1, max_size=4),
    periods,
    st.lists(st.fractions(Fraction(1, 9), 9, max_denominator=9), min_size=4, max_size=4),
    st.sampled_from(["cents", "share"]),
)
def test_against_a_hundred_digits(
    wanted: list[Interval], period: Interval, weights: list[Fraction], by: str
) -> None:
    weights = weights[: len(wanted)]
    ranked = rank_divisions(wanted, 24, period=period, weights=weights, by=by)
    assert sorted(parts_of(ranked)) == list(range(1, 25))
    keys = []
    with mpmath.workdps(100):
        whole = 1200 * octaves(period)
        for division in ranked:
            step = whole / division.parts
            errors = [
                steps * step - 1200 * octaves(target)
                for steps, target in zip(division.steps, wanted, strict=True)
            ]
            total = mpmath.fsum(
                mpmath.mpf(w.numerator) / w.denominator * error**2
                for w, error in zip(weights, errors, strict=True)
            )
            rms = mpmath.sqrt(total / mpmath.mpf(float(sum(weights))))
            # Floats are made of the exact errors by a few roundings.
            assert division.errors_cents == pytest.approx(
                [*map(float, errors)], rel=1e-14, abs=1e-60
            )
            assert division.error_cents == pytest.approx(float(rms), rel=1e-14, abs=1e-60)
            assert division.error_share == pytest.approx(float(rms / step), rel=1e-14, abs=1e-60)
            assert division.steps == tuple(
                nearest_step(target, division.parts, period) for target in wanted
            )
            error = total if by == "cents" else total / step**2
            # What agrees to sixty digits is equal; then the one of fewer parts comes first.
            keys.append((mpmath.nint(error * mpmath.mpf(10) ** 60), division.parts))
    assert keys == sorted(keys)


@given(st.lists(targets, min_size=2, max_size=4), periods)
def test_consistent_means_that_differences_are_best_too(
    wanted: list[Interval], period: Interval
) -> None:
    for division in rank_divisions(wanted, 24, period=period):
        half = period * Fraction(1, 2 * division.parts)
        errors = [
            period * Fraction(high_step - low_step, division.parts) - (high - low)
            for (low, low_step), (high, high_step) in combinations(
                zip(wanted, division.steps, strict=True), 2
            )
        ]
        assert division.consistent == all(-half <= error <= half for error in errors)


def test_a_division_that_is_not_consistent() -> None:
    # In steps of 21 parts 3/2 is 12.284, 5/4 6.760 and 6/5 5.524: best as 12, 7 and 6, not 5.
    assert only(21, [parse("3/2"), parse("5/4"), parse("6/5")]).steps == (12, 7, 6)
    assert not only(21, [parse("3/2"), parse("5/4")]).consistent
    assert only(12, [parse("3/2"), parse("5/4")]).consistent


def test_half_way_between_two_steps_is_the_lower() -> None:
    wanted = [parse(text) for text in ("50 cents", "150 cents", "-50 cents", "50.000001 cents")]
    assert only(12, wanted).steps == (0, 1, -1, 1)
    # Half a step between two targets is a best difference either way.
    assert only(12, [parse("25 cents"), parse("-25 cents")]).consistent
    assert not only(12, [parse("25.000001 cents"), parse("-25 cents")]).consistent


# Powers of 2, 3, ... 19 whose product is within 10**-103 of 1, found by lattice reduction: what
# they add to an interval lies past the hundred decimals that the ranking carries.
BARELY = (
    (2, -70883002238188), (3, 29159468281698), (5, -318342719861332), (7, -4630815498900),
    (11, -131298606898749), (13, 118700199405531), (17, 92822860820183), (19, 97082921079624),
)  # fmt: skip


def test_roundings_that_a_hundred_decimals_do_not_decide() -> None:
    tiny = sum((Interval.ratio(prime) * power for prime, power in BARELY), UNISON)
    with mpmath.workdps(300):
        size = octaves(tiny)
        assert 0 < abs(size) < mpmath.mpf(10) ** -103
    if size < 0:
        tiny = -tiny
    middle, quarter = parse("50 cents"), parse("25 cents")
    assert only(12, [middle + tiny, middle, middle - tiny]).steps == (1, 0, 0)
    assert only(12, [quarter - tiny, -quarter]).consistent
    assert not only(12, [quarter + tiny, -quarter]).consistent


def test_what_is_equal_is_ranked_by_parts() -> None:
    fifth = [parse("3/2")]
    ranked = parts_of(rank_divisions(fifth, 48))
    # 12, 24, 36 and 48 parts have the same fifth (common practice, no source).
    assert ranked[ranked.index(12) :][:4] == [12, 24, 36, 48]
    # 2/5 is 28/70 and 3/7 is 30/70: as far from 29/70 on either side.
    between = rank_divisions([OCTAVE * Fraction(29, 70)], 9)
    places = [(each.parts, each.steps[0]) for each in between if each.parts in (5, 7)]
    assert places == [(5, 2), (7, 3)]
    # 4/3 and 3/2 err by the same amount, whatever is divided into octaves.
    both = rank_divisions([parse("3/2"), parse("4/3")], 48)
    assert parts_of(both) == ranked


def test_best_fifths_are_the_convergents() -> None:
    # Continued fraction of log2(3/2): 1/1 1/2 3/5 7/12 24/41 31/53 179/306 389/665 (from memory);
    # of all divisions up to each, none has a nearer fifth.
    for parts, steps in ((5, 3), (12, 7), (41, 24), (53, 31), (306, 179), (665, 389)):
        best = rank_divisions([parse("3/2")], parts)[0]
        assert (best.parts, best.steps) == (parts, (steps,))


def test_progress_is_told_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    rank_divisions([parse("3/2")], 600, least=11, on_progress=lambda *each: told.append(each))
    assert told == [(256, 590), (512, 590), (590, 590)]


@pytest.mark.parametrize(
    ("wanted", "options", "message"),
    [
        ([], {}, "targets: got '0 intervals'; allowed: 1 to 100"),
        (["3/2"] * 101, {}, "targets: got '101 intervals'"),
        (["1001 of 2/1"], {}, "target: got"),
        (["3/2"], {"most": 0}, "parts: got '1 to 0'"),
        (["3/2"], {"most": 100_001}, "parts"),
        (["3/2"], {"least": True}, "parts"),
        (["3/2"], {"most": 12, "least": 13}, "parts: got '13 to 12'"),
        (["3/2"], {"period": UNISON}, "period: got '1/1'; allowed: 1 cent to"),
        (["3/2"], {"period": parse("0.5 cents")}, "period"),
        (["3/2"], {"weights": [1, 1]}, "weights: got '2 weights'; allowed: one for each of 1"),
        (["3/2"], {"weights": []}, "weights: got '0 weights'"),
        (["3/2"], {"weights": [0]}, "weight: got '0'"),
        (["3/2"], {"weights": [-1]}, "weight: got '-1'"),
        (["3/2"], {"weights": [float("nan")]}, "weight: got 'nan'"),
        (["3/2"], {"weights": [True]}, "weight: got 'True'"),
    ],
)
def test_what_cannot_be_ranked_is_refused(
    wanted: list[str], options: dict[str, object], message: str
) -> None:
    with pytest.raises(InvalidValue, match=message):
        rank_divisions([parse(text) for text in wanted], **{"most": 12, **options})
