"""`meantide near`, run as the command line runs it."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meantide.command import main


def near(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["near", *arguments])


def answer(*arguments: str) -> dict[str, Any]:
    result = near(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_ratio_near_an_interval() -> None:
    found = answer("ratio", "386.31 cents", "--tolerance", "5", "--limit", "7")
    assert found["target"] == "386.31 cents"
    assert found["tolerance_cents"] == 5.0
    # 5/4 is 386.3137 cents, calculated.
    assert found["ratios"] == [
        {
            "numerator": 5,
            "denominator": 4,
            "size": 20,
            "limit": 5,
            "error_cents": pytest.approx(0.0037, abs=5e-5),
        }
    ]
    text = near("ratio", "386.31 cents").stdout
    for part in ("within 5 cents of 386.31 cents", "5/4", "386.314", "+0.004"):
        assert part in text


def test_the_tolerance_may_be_an_interval() -> None:
    found = answer("ratio", "5/4", "--tolerance", "81/80", "--most", "5184", "--limit", "3")
    assert [(each["numerator"], each["denominator"]) for each in found["ratios"]] == [(81, 64)]
    assert found["ratios"][0]["error_cents"] == found["tolerance_cents"]


def test_sorted_by_limit() -> None:
    # 407.8, 386.3, 405.9 and 378.6 cents; 386.3, 417.5, 409.2 and 424.4 cents.
    ranked = {
        "limit": [(81, 64), (5, 4), (512, 405), (56, 45)],
        "size": [(5, 4), (14, 11), (19, 15), (23, 18)],
    }
    for by, ratios in ranked.items():
        found = answer("ratio", "400 cents", "--tolerance", "25", "--by", by, "--count", "4")
        assert [(each["numerator"], each["denominator"]) for each in found["ratios"]] == ratios


def test_an_interval_below_is_written_after_two_dashes() -> None:
    result = near("ratio", "--json", "--", "-386.31 cents")
    assert json.loads(result.stdout)["ratios"][0]["denominator"] == 5


def test_finding_nothing_is_said() -> None:
    result = near("ratio", "10 cents", "--tolerance", "0")
    assert result.exit_code == 0
    assert "none with numerator times denominator up to 1000000" in result.stdout
    assert answer("ratio", "10 cents", "--tolerance", "0")["ratios"] == []
    assert "none up to 1 cents" in near("commas", "12", "--size", "1").stdout


def test_a_chord() -> None:
    found = answer("chord", "386 cents", "702 cents", "969 cents", "--tolerance", "1")
    assert found["proportions"][0]["numbers"] == [4, 5, 6, 7]
    text = near("chord", "386 cents,702 cents,969 cents", "--limit", "7").stdout
    for part in ("4:5:6:7", "+0.314", "-0.045", "-0.174"):
        assert part in text


def test_divisions_for_three_targets() -> None:
    found = answer("divisions", "3/2", "5/4", "7/4", "--by", "share", "--count", "1")
    [best] = found["divisions"]
    # 31 parts as tabled: calculated to three decimals.
    assert (best["parts"], best["steps"], best["consistent"]) == (31, [18, 10, 25], True)
    assert best["errors_cents"] == pytest.approx([-5.181, 0.783, -1.084], abs=5.1e-4)
    assert found["weights"] == [1.0, 1.0, 1.0]
    text = near("divisions", "3/2,5/4", "7/4", "--least", "12", "--most", "12").stdout
    for part in ("parts", "consistent", "7 -1.955", "4 +13.686", "10 +31.174", "19.689", "yes"):
        assert part in text


def test_divisions_of_three_weighted_and_only_consistent() -> None:
    arguments = ("divisions", "5/3", "7/3", "--period", "3/1", "--most", "13", "--weights", "2,0.5")
    found = answer(*arguments)
    assert (found["period"], found["weights"]) == ("3/1", [2.0, 0.5])
    # Thirteen parts of 3/1 lie -6.533 and -3.829 from 5/3 and 7/3, calculated.
    thirteen = next(each for each in found["divisions"] if each["parts"] == 13)
    assert thirteen["errors_cents"] == pytest.approx([-6.533, -3.829], abs=5.1e-4)
    expected = ((2 * 6.533**2 + 0.5 * 3.829**2) / 2.5) ** 0.5
    assert thirteen["error_cents"] == pytest.approx(expected, abs=1e-3)
    every = {
        each["parts"] for each in answer("divisions", "3/2", "5/4", "--count", "99")["divisions"]
    }
    kept = answer("divisions", "3/2", "5/4", "--count", "99", "--consistent")["divisions"]
    assert {each["consistent"] for each in kept} == {True}
    assert 21 in every - {each["parts"] for each in kept}


def test_commas_by_their_names() -> None:
    found = answer("commas", "31", "--limit", "7")
    assert found["steps"] == {"2": 31, "3": 49, "5": 72, "7": 87}
    assert found["commas"][0] == {
        "numerator": 81,
        "denominator": 80,
        "cents": pytest.approx(21.506289596715, abs=5e-13),
        "name": "syntonic comma",
    }
    text = near("commas", "12").stdout
    for part in ("2 → 12, 3 → 19, 5 → 28", "81/80", "23.460010", "Pythagorean comma", "schisma"):
        assert part in text
    text = near("commas", "13", "--period", "3/1", "--primes", "3, 5,7").stdout
    assert "13 equal parts of 3/1: 3 → 13, 5 → 19, 7 → 23" in text
    assert "245/243" in text


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["ratio", "five"], "interval: got 'five'; allowed: an interval such as 3/2"),
        (["ratio", "5/4", "--tolerance", "nan"], "--tolerance: got 'nan'; allowed: cents such as"),
        (["ratio", "5/4", "--tolerance", "1e3"], "--tolerance: got '1e3'"),
        (["ratio", "5/4", "--tolerance", "1500"], "tolerance: got '1500 cents'"),
        (["ratio", "5/4", "--most", "0"], "--most"),
        (["chord", "1/1"], "chord: got '1 notes'"),
        (["divisions", "3/2,"], "interval: got ''"),
        (["divisions", "3/2", "--weights", "1,2"], "weights: got '2 weights'"),
        (["divisions", "3/2", "--weights", "1/0"], "--weights: got '1/0'"),
        (["divisions", "3/2", "--weights", "inf"], "--weights: got 'inf'"),
        (["divisions", "3/2", "--least", "5", "--most", "4"], "parts: got '5 to 4'"),
        (["commas", "0"], "0"),
        (["commas", "12", "--primes", "4"], "primes: got 4; allowed: primes from 2 to 97"),
        (["commas", "12", "--primes", "x"], "--primes: got 'x'"),
        (["commas", "12", "--primes", "3", "--limit", "5"], "either --limit or --primes"),
        (["commas", "12", "--size", "0"], "size: got '1/1'"),
    ],
)
def test_bad_input_ends_with_a_sentence(arguments: list[str], message: str) -> None:
    result = near(*arguments)
    assert result.exit_code == 2
    assert message in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize("command", [[], ["ratio"], ["chord"], ["divisions"], ["commas"]])
def test_help_has_an_example(command: list[str]) -> None:
    assert (
        "meantide near" in near(*command, "--help").stdout.partition("Usage:")[2].partition("\n")[2]
    )
