"""`meantide near`: ratios, proportions, equal divisions and commas near what one has in mind."""

import click

from meantide.command.near_commas import commas
from meantide.command.near_divisions import divisions
from meantide.command.near_ratios import chord, ratio


@click.group()
def near() -> None:
    """Find what lies near: simple ratios, proportions, equal divisions, commas.

    Intervals are written 5/4, "386.31 cents" or "7/31 of 2/1". After -- they may begin with -.

    \b
    meantide near ratio "386.31 cents" --tolerance 5
    meantide near commas 31 --limit 7
    """


for command in (ratio, chord, divisions, commas):
    near.add_command(command)
