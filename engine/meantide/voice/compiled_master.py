"""The compiled twins of the end of the line: interpolation, recursive filters, the limiter's gain.

Their numpy forms stand in `perform`; these stand here so that they are made ready with the kernel,
and kept on disk under a name that tells their sources apart.
"""

import math
from typing import Any

import numpy as np

from meantide.voice.compiling import compiled, inlined
from meantide.voice.kernel import F32, F64

GROUP = 16  # lanes of a loop that becomes vectors
TAPS = 8  # taps that are added at once
ZERO, ONE = np.float32(0.0), np.float32(1.0)


@inlined
def add_taps(weights: F32, samples: F32, sums: F32) -> None:
    """Add what TAPS taps give to each of GROUP lanes; so many at once save going to memory."""
    w0, w1, w2, w3 = weights[0], weights[1], weights[2], weights[3]
    w4, w5, w6, w7 = weights[4], weights[5], weights[6], weights[7]
    for lane in range(GROUP):
        sums[lane] += (
            w0 * samples[lane]
            + w1 * samples[lane + 1]
            + w2 * samples[lane + 2]
            + w3 * samples[lane + 3]
            + w4 * samples[lane + 4]
            + w5 * samples[lane + 5]
            + w6 * samples[lane + 6]
            + w7 * samples[lane + 7]
        )


@compiled
def find_largest(
    line: F32, first: int, samples: int, filters: F32, quiet: float, found: F32, sums: F32
) -> None:
    """Write the largest absolute value of any filter at each sample; as `Interpolator.largest`.

    `sums` is scratch for GROUP numbers.
    """
    taps = filters.shape[1]
    for channel in range(line.shape[0]):
        for start in range(0, samples, GROUP):
            part = line[channel, first + start - taps + 1 : first + start + GROUP]
            tops = found[channel, start : start + GROUP]
            tops[:] = ZERO
            heard = ZERO
            for sample in part:
                heard = max(heard, abs(sample))
            if heard <= quiet:
                continue
            for row in range(filters.shape[0]):
                sums[:] = ZERO
                for tap in range(0, taps, TAPS):
                    add_taps(filters[row, tap : tap + TAPS], part[tap : tap + GROUP + TAPS], sums)
                for lane in range(GROUP):
                    tops[lane] = max(tops[lane], abs(sums[lane]))


@compiled
def run_sections(block: F64, samples: int, sections: F64, nothing: float, state: F64) -> None:
    """Filter a block in place; as `RecursiveFilter.apply`."""
    for channel in range(block.shape[0]):
        for section in range(sections.shape[0]):
            b0, b1, b2 = sections[section, 0], sections[section, 1], sections[section, 2]
            a1, a2 = sections[section, 3], sections[section, 4]
            first, second = state[channel, 2 * section], state[channel, 2 * section + 1]
            for place in range(samples):
                sample = block[channel, place]
                made = b0 * sample + first
                first = b1 * sample - a1 * made + second
                second = b2 * sample - a2 * made
                block[channel, place] = made
            state[channel, 2 * section], state[channel, 2 * section + 1] = first, second
    largest = 0.0
    for channel in range(state.shape[0]):
        for place in range(state.shape[1]):
            largest = max(largest, abs(state[channel, place]))
    if largest < nothing:
        state[:] = 0.0


@inlined
def largest_of(values: F64) -> float:
    """Return the largest value, 0 at least."""
    largest = 0.0
    for value in values:
        largest = max(largest, value)
    return largest


@inlined
def draw(edges: F64, passed: int, samples: int, fractions: F64, gain: F32) -> None:
    """Write the gain at each sample, straight between the edges of cells."""
    edge, within = 0, passed
    for place in range(samples):
        left = edges[edge]
        gain[passed + place] = left + (edges[edge + 1] - left) * fractions[within]
        within += 1
        if within == len(fractions):
            within = 0
            edge += 1


@compiled
def move_gain(found: F32, samples: int, places: tuple[int, ...], parts: tuple[Any, ...]) -> None:
    """Take a block in and write its gains; as `move_gain` of `limiter_gain.py`."""
    filled, cells, passed, known, gone = places
    target, settled, speeds, weights, fractions, peaks, needs, state, eased, edges, gain = parts
    cell = len(fractions)
    for place in range(samples):
        peaks[filled + place] = max(found[0, place], found[1, place])
    held = len(needs) - (len(edges) - 3)
    ahead = len(weights) - 1
    need = largest_of(needs[:held])
    for each in range(cells):
        top = 0.0
        for place in range(each * cell, each * cell + cell):
            top = max(top, float(peaks[place]))
        needs[held + each] = math.log(max(top / target, 1.0))
        if needs[held + each] >= need:
            need = needs[held + each]
        elif each > 0 and needs[each - 1] == need:  # the largest is held no more
            need = largest_of(needs[each : each + held + 1])
        quick, slow = state[0], state[1]
        slow += (need - slow) * (speeds[2] if need > slow else speeds[1])
        goal = max(need, slow)
        quick = need if need >= quick else goal + (quick - goal) * (1.0 - speeds[0])
        if quick < settled:
            quick = 0.0
            slow = 0.0
        state[0], state[1], state[2] = quick, slow, max(state[2], quick)
        eased[ahead + each] = quick
        smooth = 0.0
        for place in range(ahead + 1):
            smooth += weights[place] * eased[each + place]
        edges[known + each] = math.exp(-smooth)
    for place in range(filled + samples - cells * cell):
        peaks[place] = peaks[cells * cell + place]
    for place in range(held):
        needs[place] = needs[cells + place]
    for place in range(ahead):
        eased[place] = eased[cells + place]
    draw(edges, passed, samples, fractions, gain)
    for place in range(known + cells - gone):
        edges[place] = edges[gone + place]


@compiled
def limit(
    line: F32,
    late: int,
    samples: int,
    filters: F32,
    quiet: float,
    found: F32,
    sums: F32,
    places: tuple[int, ...],
    parts: tuple[Any, ...],
) -> None:
    """Limit the block in `line` from `late` on and leave it in `found`; as `Limiter.apply`."""
    find_largest(line, late, samples, filters, quiet, found, sums)
    move_gain(found, samples, places, parts)
    passed, gain = places[2], parts[-1]
    for channel in range(line.shape[0]):
        for place in range(samples):
            found[channel, place] = line[channel, place] * gain[passed + place]
        for place in range(late):
            line[channel, place] = line[channel, samples + place]


def warm() -> None:
    """Compile all, or read it from disk, with the types that `perform` calls it with."""
    line, filters = np.zeros((2, 2 * TAPS), np.float32), np.zeros((1, TAPS), np.float32)
    found, sums = np.zeros((2, GROUP), np.float32), np.zeros(GROUP, np.float32)
    peaks, gain = np.zeros(4, np.float32), np.ones(4, np.float32)
    numbers = np.zeros(4)
    parts = (1.0, 0.0, numbers, numbers, numbers, peaks, numbers, numbers, numbers, numbers, gain)
    run_sections(np.zeros((2, 1)), 0, np.zeros((1, 5)), 0.0, np.zeros((2, 2)))
    find_largest(line, TAPS - 1, 0, filters, 0.0, found, sums)
    limit(line, TAPS, 0, filters, 0.0, found, sums, (0, 0, 1, 2, 0), parts)
