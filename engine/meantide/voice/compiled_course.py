"""The laws of `CourseTable`, compiled, for one note at one age."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.voice.compiling import inlined
from meantide.voice.course import NEPERS_PER_CENT
from meantide.voice.kernel import F64
from meantide.voice.touch import RESTING_TIMBRE, Destination, Source

Record = Any
Records = NDArray[np.void]
LEVEL, VIBRATO = int(Destination.LEVEL), int(Destination.VIBRATO)
COLOUR, BREATH = int(Destination.COLOUR), int(Destination.BREATH)
VELOCITY, PRESSURE, TIMBRE = int(Source.VELOCITY), int(Source.PRESSURE), int(Source.TIMBRE)


@inlined
def is_restless(course: Record, age: float) -> bool:
    """Tell whether a note moves on from `age`."""
    return bool(course.settled > age or course.vibrates != 0.0)


@inlined
def frequency_at(course: Record, answers: F64, age: float) -> float:
    """Return the frequency in cycles a sample."""
    frequency: float = course.pitch_goal
    rest = course.pitch_arrive - age
    if rest > 0.0:
        frequency *= math.exp(-course.pitch_slope * rest)
    cents = course.bend_goal - course.bend_slope * max(course.bend_arrive - age, 0.0)
    since = age - course.delay
    if course.vibrates != 0.0 and since > 0.0:
        depth = course.depth_goal - course.depth_slope * max(course.depth_arrive - age, 0.0)
        depth += touched(course, answers[VIBRATO], age)
        share = min(since / max(course.rise, 1.0), 1.0)
        turns = course.rate * (age - course.origin)
        turns -= math.floor(turns)
        cents += depth * math.sin(0.5 * math.pi * share) ** 2 * math.sin(2.0 * math.pi * turns)
    if cents != 0.0:
        frequency *= math.exp(cents * NEPERS_PER_CENT)
    return frequency


@inlined
def gain_at(course: Record, answers: F64, age: float) -> float:
    """Return the factor on the note's level."""
    nepers = course.level_goal - course.level_slope * max(course.level_arrive - age, 0.0)
    return math.exp(nepers + touched(course, answers[LEVEL], age))


@inlined
def colour_at(course: Record, answers: F64, age: float) -> float:
    """Return the colour as touched, unbounded."""
    colour: float = course.colour_goal
    colour -= course.colour_slope * max(course.colour_arrive - age, 0.0)
    return colour + touched(course, answers[COLOUR], age)


@inlined
def breath_at(course: Record, answers: F64, age: float) -> float:
    """Return the factor on the note's breath, over its gain."""
    nepers = course.breath_goal - course.breath_slope * max(course.breath_arrive - age, 0.0)
    return math.exp(nepers + touched(course, answers[BREATH], age))


@inlined
def touched(course: Record, answers: F64, age: float) -> float:
    """Return what velocity, pressure and timbre add to one destination."""
    pressure = course.pressure_goal
    pressure -= course.pressure_slope * max(course.pressure_arrive - age, 0.0)
    timbre = course.timbre_goal - course.timbre_slope * max(course.timbre_arrive - age, 0.0)
    timbre = (timbre - RESTING_TIMBRE) / RESTING_TIMBRE
    total: float = answers[VELOCITY] * course.velocity
    total += answers[PRESSURE] * pressure + answers[TIMBRE] * timbre
    return total
