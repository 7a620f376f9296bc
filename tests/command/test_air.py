"""`meantide air`, run as the command line runs it."""

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meantide.command import main


def air(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["air", *arguments])


def answer(*arguments: str) -> Any:
    result = air(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_the_french_pitch_in_a_warm_room() -> None:
    """Built at 59 °F, 15 °C, heard at 72 °F, 22.2 °C: about 440 Hz, common practice, no source."""
    said = answer("--anchor", "a435", "--celsius", "22.2")
    [there] = said["at"]
    assert there["hz"] == pytest.approx(435.0 * (295.35 / 288.15) ** 0.5, rel=1e-14)
    assert there["hz"] == pytest.approx(440.0, abs=0.7)  # 3 cents
    assert said["from"]["celsius"] == 15.0
    assert (said["from"]["hz"], said["from"]["cents"]) == (435.0, 0.0)
    assert said["anchor"]["hz"] == 435.0


def test_the_table_of_an_anchor_at_twenty_degrees() -> None:
    """standards.md §6: an ideal pipe tuned to 440 at 20 °C, and the speed of sound (calculated)."""
    rows = {row["celsius"]: row for row in answer("--anchor", "A4=440", "--from", "20")["at"]}
    assert list(rows) == [0, 5, 10, 15, 20, 25, 30]
    for celsius, hz in ((0, 424.725), (15, 436.232), (30, 447.442)):
        assert rows[celsius]["hz"] == pytest.approx(hz, abs=0.00051)
    assert rows[0]["speed_m_s"] == pytest.approx(331.286, abs=0.00051)
    assert rows[20]["cents_a_degree"] == pytest.approx(2.953, abs=0.00051)


def test_damp_air_and_another_humidity_than_at_the_start() -> None:
    """50 % at 20 °C is 343.987 m/s, dry 343.359 (calculated from Cramer)."""
    built = ("--anchor", "A4=440", "--from", "20", "--celsius", "20")
    [same] = answer(*built, "--humidity", "50")["at"]
    assert same["cents"] == 0.0
    assert same["speed_m_s"] == pytest.approx(343.987, abs=0.00051)
    [damper] = answer(*built, "--humidity", "100", "--from-humidity", "0")["at"]
    assert damper["cents"] == pytest.approx(6.3, abs=0.05)


@pytest.mark.parametrize("damp", [(), ("--humidity", "40")])
def test_the_temperature_to_reach_a_pitch(damp: tuple[str, ...]) -> None:
    [found] = answer("--anchor", "a435", "--reach", "440", *damp)["at"]
    assert found["hz"] == pytest.approx(440.0, rel=1e-12)
    [back] = answer("--anchor", "a435", "--celsius", repr(found["celsius"]), *damp)["at"]
    assert back["hz"] == pytest.approx(440.0, rel=1e-12)


def test_people_are_told_the_pitch_and_what_the_model_leaves_out() -> None:
    text = " ".join(air("--anchor", "a435", "--celsius", "20").stdout.split())
    for part in (
        "A4=435 Hz at 15 °C, dry air by the ideal form of ISO 9613-1",
        "20.00 °C A4=438.758 Hz +14.89 cents 2.95 cents a degree 343.20 m/s",
        "breath is warm, damp and rich in CO2",
        "Strings and forks go the other way",
        "0.15 cents a degree (-86 ppm a degree, from a weak source)",
    ):
        assert part in text
    other = air("--anchor", "a435", "--celsius", "20", "--humidity", "60", "--from-humidity", "40")
    assert "then in air of 60 % humidity by Cramer 1993" in other.stdout
    assert "7=438.758 Hz" in air("--anchor", "7=435", "--from", "15", "--celsius", "20").stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--anchor", "a440"], "the temperature in °C at which A4=440 holds, since it states none"),
        (["--anchor", "a43"], "anchor: got 'a43'"),
        (["--celsius", "60"], "celsius: got 60.0; allowed: a number from -20 to 50 °C"),
        (["--celsius", "nan"], "celsius: got nan"),
        (["--celsius", "35", "--humidity", "50"], "from 0 to 30 °C, for air of 50 % humidity"),
        (["--humidity", "101"], "humidity: got 101.0"),
        (["--from-humidity", "10"], "--from-humidity with --humidity"),
        (["--celsius", "20", "--reach", "440"], "either --celsius or --reach"),
        (["--reach", "500"], "407.73 to 460.66 Hz, reached from -20 to 50 °C"),
        (["--celsius", "warm"], "not a valid float"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_exit_code_two(
    arguments: list[str], message: str
) -> None:
    result = air(*arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stdout == ""
