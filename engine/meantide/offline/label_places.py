"""Where labels go along a ruler: as near as may be to what they name, and none on another."""

from collections.abc import Sequence


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return rising places, `gap` or more apart and within `low` to `high`, nearest to `wanted`.

    `wanted` rises; any unit. The sum of squared displacements is the least there can be, found by
    pooling adjacent violators (Ayer and others, Annals of Mathematical Statistics 26 (1955) 641;
    from memory): less their gaps, places need only not fall. There must be room for all.
    """
    pools: list[tuple[float, int]] = []  # the sum of a pool's places less gaps, and how many
    for number, place in enumerate(wanted):
        total, count = place - number * gap, 1
        while pools and pools[-1][0] * count >= total * pools[-1][1]:
            before, many = pools.pop()
            total, count = before + total, many + count
        pools.append((total, count))
    level = [total / count for total, count in pools for _ in range(count)]
    most = high - (len(level) - 1) * gap
    return [min(max(each, low), most) + number * gap for number, each in enumerate(level)]
