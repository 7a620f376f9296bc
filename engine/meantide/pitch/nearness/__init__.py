"""What lies near an interval, a chord or a set of targets: ratios, divisions, commas, degrees."""

from meantide.pitch.nearness.commas import Comma, steps_of_primes, tempered_commas
from meantide.pitch.nearness.degrees import nearest_degree, nearest_step
from meantide.pitch.nearness.divisions import Division, rank_divisions
from meantide.pitch.nearness.numbers import primes_up_to
from meantide.pitch.nearness.proportions import Proportion, near_proportions
from meantide.pitch.nearness.ratios import NearRatio, near_ratios

__all__ = [
    "Comma",
    "Division",
    "NearRatio",
    "Proportion",
    "near_proportions",
    "near_ratios",
    "nearest_degree",
    "nearest_step",
    "primes_up_to",
    "rank_divisions",
    "steps_of_primes",
    "tempered_commas",
]
