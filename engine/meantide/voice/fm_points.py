"""The numbers that say where an FM note stands at one moment: a point.

Operators are in an order in which each comes after those that move it. A point is a row of float64:
their frequencies (cycles a sample), their amplitudes in the sum, their feedback, and the indices
(radians) of all paths there can be. Between two points everything runs straight.
"""

from meantide.voice.fm_description import MOST_OPERATORS

FREQUENCY = 0
HEARD = FREQUENCY + MOST_OPERATORS
FEEDBACK = HEARD + MOST_OPERATORS
INDEX = FEEDBACK + MOST_OPERATORS
MOST_PATHS = MOST_OPERATORS * (MOST_OPERATORS - 1) // 2
POINT = INDEX + MOST_PATHS
"""Numbers in a point."""


def path_place(source: int, target: int) -> int:
    """Return the place among the indices of the path from `source` to a later `target`, from 0."""
    return target * (target - 1) // 2 + source


SOURCES = tuple(source for target in range(MOST_OPERATORS) for source in range(target))
"""The operator that each path leaves."""
