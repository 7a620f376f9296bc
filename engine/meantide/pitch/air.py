"""Air: the speed of sound, and where winds built for one temperature sound at another.

The model is an ideal column of air in a pipe that keeps its length: its frequency goes as the
speed of sound in it, and with nothing else. `LEFT_OUT` says what that leaves out.

Two laws of the speed c:

- without a humidity, dry air by the ideal form c = 343.2 √(T / 293.15 K) m/s of ISO 9613-1 (seen
  as constants in open code, the standard itself from memory), T in kelvin, from -20 to 50 °C, the
  range of that standard's tables (from memory);
- with a humidity, the real-gas polynomial of Cramer, JASA 93 (1993) 2510, at 101.325 kPa and
  0.04 % CO2, from 0 to 30 °C; he states it to 300 ppm, half a cent.

Standard library only.
"""

import math
from dataclasses import dataclass
from typing import Any

from meantide.errors import InvalidValue
from meantide.pitch.anchor import Anchor

LEFT_OUT = (
    "The model is an ideal column of air at one temperature: real winds shift less, for the "
    "player's breath is warm, damp and rich in CO2, and is not the air of the room. Strings and "
    "forks go the other way and fall as it gets warmer: a steel fork by about 0.15 cents a degree "
    "(-86 ppm a degree, from a weak source)."
)
"""What the model leaves out, in words for the player; the fork's figure is from a web page."""

COLDEST_IDEAL, HOTTEST_IDEAL = -20.0, 50.0  # °C
COLDEST_REAL, HOTTEST_REAL = 0.0, 30.0  # °C
ZERO_CELSIUS_K = 273.15
PRESSURE_PA = 101_325.0
CO2_SHARE = 0.0004  # mole fraction

_IDEAL_M_S, _IDEAL_K = 343.2, 293.15
# Cramer 1993 as copied by an open documentation page; a8 is from memory.
_A = (
    331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8,
    -2.93e-10, -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486,
)  # fmt: skip
_SLOPE_STEP = 0.001  # °C, over which a slope without a closed form is taken
_HALVINGS = 60  # of 30 °C: past the last bit of a float


@dataclass(frozen=True, slots=True)
class Air:
    """Air of one temperature, and of one relative humidity in percent if that is given.

    Raises InvalidValue outside -20 to 50 °C; with a humidity outside 0 to 30 °C or 0 to 100 %.
    """

    celsius: float
    humidity: float | None = None

    def __post_init__(self) -> None:
        if self.humidity is not None:
            _check_number("humidity", self.humidity, 0.0, 100.0, "percent")
        _check_number("celsius", self.celsius, *self.limits_celsius, f"°C, for {self.law}")

    @property
    def limits_celsius(self) -> tuple[float, float]:
        """The temperatures between which the law in use holds."""
        if self.humidity is None:
            return COLDEST_IDEAL, HOTTEST_IDEAL
        return COLDEST_REAL, HOTTEST_REAL

    @property
    def law(self) -> str:
        """The law in use, in words."""
        if self.humidity is None:
            return "dry air by the ideal form of ISO 9613-1"
        return f"air of {self.humidity:g} % humidity by Cramer 1993"

    @property
    def speed_m_s(self) -> float:
        """The speed of sound in metres a second."""
        if self.humidity is None:
            return _IDEAL_M_S * math.sqrt((self.celsius + ZERO_CELSIUS_K) / _IDEAL_K)
        return _cramer_m_s(self.celsius, _water_share(self.celsius, self.humidity))

    @property
    def cents_a_degree(self) -> float:
        """How fast the pitch of an ideal column rises here, in cents a degree Celsius.

        The ideal form gives 600 / (ln 2 · T) in closed form; the other is a difference quotient.
        """
        if self.humidity is None:
            return 600.0 / (math.log(2.0) * (self.celsius + ZERO_CELSIUS_K))
        low, high = self.limits_celsius
        below = Air(max(self.celsius - _SLOPE_STEP, low), self.humidity)
        above = Air(min(self.celsius + _SLOPE_STEP, high), self.humidity)
        rise = 1200.0 * math.log2(above.speed_m_s / below.speed_m_s)
        return rise / (above.celsius - below.celsius)


def column_hz(hz: float, built: Air, now: Air) -> float:
    """Return the Hz at which a column that sounds `hz` in the air `built` sounds in `now`.

    Raises InvalidValue if one air has a humidity and the other none: the two laws differ by
    a few cents, which would pass for a change of pitch.
    """
    if (built.humidity is None) != (now.humidity is None):
        raise InvalidValue("humidity", "one humidity", "a humidity at both temperatures, or none")
    return hz * now.speed_m_s / built.speed_m_s


def celsius_to_reach(hz: float, built: Air, target_hz: float, humidity: float | None) -> float:
    """Return the temperature in °C at which a column that has `hz` in `built` reaches `target_hz`.

    `humidity` is the one found there, None if `built` has none. Exact for the ideal form, found
    by halving for the other (the speed rises with temperature at any humidity). Raises
    InvalidValue, with the Hz that can be reached, where that lies outside the law's range.
    """
    low, high = Air(built.celsius, humidity).limits_celsius
    lowest_hz, highest_hz = (column_hz(hz, built, Air(t, humidity)) for t in (low, high))
    if not lowest_hz <= target_hz <= highest_hz:
        reach = f"{lowest_hz:.2f} to {highest_hz:.2f} Hz, reached from {low:g} to {high:g} °C"
        raise InvalidValue("hz", target_hz, reach)
    if humidity is None:
        kelvin = (built.celsius + ZERO_CELSIUS_K) * (target_hz / hz) ** 2
        return min(max(kelvin - ZERO_CELSIUS_K, low), high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if column_hz(hz, built, Air(middle, humidity)) < target_hz:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def stated_air(anchor: Anchor, humidity: float | None = None) -> Air:
    """Return the air an anchor is stated in. Raises InvalidValue if it states no temperature."""
    if anchor.celsius is None:
        allowed = "an anchor stated at a temperature, such as a435, which is stated at 15 °C"
        raise InvalidValue("anchor", anchor.label, allowed)
    return Air(anchor.celsius, humidity)


def anchor_in(anchor: Anchor, built: Air, now: Air) -> Anchor:
    """Return where an ideal column built for `anchor` in `built` has that note in `now`.

    It is stated at the new temperature, and nameless: it is no longer the anchor of that name.
    """
    hz = column_hz(anchor.hz, built, now)
    return Anchor(hz, note=anchor.note, degree=anchor.degree, celsius=now.celsius)


def _water_share(celsius: float, humidity: float) -> float:
    """Return the mole fraction of water vapour, by the two formulas Cramer gives (from memory)."""
    kelvin = celsius + ZERO_CELSIUS_K
    saturated_pa = math.exp(
        1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin
    )
    enhancement = 1.00062 + 3.14e-8 * PRESSURE_PA + 5.6e-7 * celsius**2
    return humidity / 100.0 * enhancement * saturated_pa / PRESSURE_PA


def _cramer_m_s(t: float, water: float) -> float:
    """Return the speed of sound in m/s at t °C, `water` being a mole fraction, by Cramer."""
    p, co2 = PRESSURE_PA, CO2_SHARE
    t2 = t * t
    return (
        _A[0] + _A[1] * t + _A[2] * t2
        + (_A[3] + _A[4] * t + _A[5] * t2) * water
        + (_A[6] + _A[7] * t + _A[8] * t2) * p
        + (_A[9] + _A[10] * t + _A[11] * t2) * co2
        + _A[12] * water**2 + _A[13] * p**2 + _A[14] * co2**2 + _A[15] * water * p * co2
    )  # fmt: skip


def _check_number(field: str, value: Any, low: float, high: float, unit: str) -> None:
    """Refuse what is no finite number within the limits."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise InvalidValue(field, value, f"a number from {low:g} to {high:g} {unit}")
