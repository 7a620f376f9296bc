"""`meantide air`: what an anchor becomes as the air of a room warms or cools."""

import json
import math
from dataclasses import dataclass

import click

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.pitch import Anchor
from meantide.pitch.air import LEFT_OUT, Air, anchor_in, celsius_to_reach, stated_air

TABLE_CELSIUS = range(0, 31, 5)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the anchored note stands in some air."""

    anchor: Anchor
    air: Air
    cents: float
    """Above where it was built to stand."""

    def to_mapping(self) -> dict[str, object]:
        """Return what a program wants to know."""
        return {
            "celsius": self.air.celsius,
            "humidity": self.air.humidity,
            "hz": self.anchor.hz,
            "cents": self.cents,
            "speed_m_s": self.air.speed_m_s,
            "cents_a_degree": self.air.cents_a_degree,
        }


@click.command("air")
@click.option(
    "--anchor", default="a435", show_default=True, help="NOTE=HZ, DEGREE=HZ, a name or a path."
)
@click.option(
    "--from", "built_celsius", type=float, help="Where the anchor was built to stand, in °C."
)
@click.option("--celsius", type=float, help="The temperature now, in °C.")
@click.option("--reach", type=float, help="The Hz to reach, in place of --celsius.")
@click.option("--humidity", type=float, help="Relative humidity in percent, for damp air.")
@click.option("--from-humidity", type=float, help="Humidity at the start, if it was another.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def air(
    *,
    anchor: str,
    built_celsius: float | None,
    celsius: float | None,
    reach: float | None,
    humidity: float | None,
    from_humidity: float | None,
    as_json: bool,
) -> None:
    """Say where winds built for an anchor sound at another temperature, as ideal columns of air.

    Begins from the anchor's own temperature, or from --from. Without --celsius or --reach it lists
    0 to 30 °C. Strings and forks go the other way.

    \b
    meantide air --anchor a435 --celsius 22
    meantide air --anchor A4=440 --from 20 --reach 442 --humidity 50
    """
    if celsius is not None and reach is not None:
        raise InvalidValue("--reach", reach, "either --celsius or --reach")
    if from_humidity is not None and humidity is None:
        raise InvalidValue("--from-humidity", from_humidity, "--from-humidity with --humidity")
    stated = Catalogue().anchor(anchor)
    damp = humidity if from_humidity is None else from_humidity
    built = _built(stated, built_celsius, damp)
    if reach is not None:
        found = [celsius_to_reach(stated.hz, built, reach, humidity)]
    else:
        found = list(TABLE_CELSIUS) if celsius is None else [celsius]
    places = [_standing(stated, built, Air(each, humidity)) for each in found]
    if as_json:
        start = _standing(stated, built, built).to_mapping()
        answer = {
            "anchor": stated.to_mapping(),
            "from": start,
            "at": [place.to_mapping() for place in places],
            "law": built.law,
            "left_out": LEFT_OUT,
        }
        click.echo(json.dumps(answer, indent=2, allow_nan=False))
        return
    click.echo(f"{stated.label} Hz at {built.celsius:g} °C, {built.law}")
    if humidity != damp:
        click.echo(f"then in {places[0].air.law}")
    for place in places:
        click.echo(_sentence(place))
    click.echo("\n" + click.wrap_text(LEFT_OUT, 80))


def _built(anchor: Anchor, celsius: float | None, humidity: float | None) -> Air:
    """Return the air the winds were built for."""
    if celsius is not None:
        return Air(celsius, humidity)
    if anchor.celsius is None:
        allowed = f"the temperature in °C at which {anchor.label} holds, since it states none"
        raise InvalidValue("--from", "nothing", allowed)
    return stated_air(anchor, humidity)


def _standing(anchor: Anchor, built: Air, now: Air) -> Standing:
    """Return where the anchored note stands in `now`."""
    moved = anchor_in(anchor, built, now)
    return Standing(moved, now, 1200.0 * math.log2(moved.hz / anchor.hz))


def _sentence(place: Standing) -> str:
    """Return one line for people, rounded."""
    note = place.anchor.degree if place.anchor.note is None else place.anchor.note
    return (
        f"{place.air.celsius:6.2f} °C   {note}={place.anchor.hz:.3f} Hz   "
        f"{place.cents:+7.2f} cents   {place.air.cents_a_degree:.2f} cents a degree   "
        f"{place.air.speed_m_s:.2f} m/s"
    )
