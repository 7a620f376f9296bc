"""Where an FM note stands at one moment, a point, and what its voice is, a shape: their numbers.

Operators are in an order in which each comes after those that move it. A point is a row of float64:
their frequencies (cycles a sample), their amplitudes in the sum, their feedback, and the indices
(radians) of all paths there can be. Between two points everything runs straight.

A shape, also float64, is what of a voice can change under a sounding note, at full velocity.
"""

from meantide.voice.fm_description import MOST_OPERATORS

FREQUENCY = 0
HEARD = FREQUENCY + MOST_OPERATORS
FEEDBACK = HEARD + MOST_OPERATORS
INDEX = FEEDBACK + MOST_OPERATORS
MOST_PATHS = MOST_OPERATORS * (MOST_OPERATORS - 1) // 2
POINT = INDEX + MOST_PATHS
"""Numbers in a point."""

LEVEL = 0
SHARE = LEVEL + MOST_OPERATORS  # the feedback
DEPTH = SHARE + MOST_OPERATORS  # the indices
VELOCITY = DEPTH + MOST_PATHS  # nepers that amplitudes lose from velocity 1 to 0
KEY = VELOCITY + MOST_OPERATORS  # nepers that they gain in an octave above middle C
SHAPE = KEY + MOST_OPERATORS
"""Numbers in a shape."""


def path_place(source: int, target: int) -> int:
    """Return the place among the indices of the path from `source` to a later `target`, from 0."""
    return target * (target - 1) // 2 + source


SOURCES = tuple(source for target in range(MOST_OPERATORS) for source in range(target))
"""The operator that each path leaves."""
