"""What a voice is for: its family, the notes that it serves, and how loud it is over them."""

import math
from collections.abc import Sequence

from meantide.errors import InvalidValue
from meantide.voice.envelope import check_range

FAMILIES = (
    "reed", "pipe", "bowed", "plucked", "bell", "bar", "bowl", "brass", "choir", "electric",
    "glass", "bass", "pad", "texture",
)  # fmt: skip
"""What a voice may be told to belong to."""
MOST_TRIMS = 32
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0


def check_purpose(
    family: str, lowest_hz: float, highest_hz: float, trims_db: Sequence[float]
) -> None:
    """Raise InvalidValue, naming the field, for what no voice may be for."""
    if family and family not in FAMILIES:
        raise InvalidValue("family", family, "one of " + ", ".join(FAMILIES))
    check_range("lowest_hz", lowest_hz, LOWEST_HZ, HIGHEST_HZ)
    check_range("highest_hz", highest_hz, LOWEST_HZ, HIGHEST_HZ)
    if lowest_hz > highest_hz:
        raise InvalidValue("highest_hz", highest_hz, f"at least the lowest, {lowest_hz:g} Hz")
    if len(trims_db) > MOST_TRIMS:
        raise InvalidValue("trims_db", len(trims_db), f"at most {MOST_TRIMS}")
    for place, trim_db in enumerate(trims_db, start=1):
        check_range(f"trims_db item {place}", trim_db, -24.0, 24.0)


def trim_at(trims_db: Sequence[float], lowest_hz: float, highest_hz: float, hz: float) -> float:
    """Return the trim, in dB, of a note at `hz`.

    The trims lie evenly in pitch from the lowest note to the highest; between two they change
    straight, dB over cents, and beyond the ends they stay. None: 0 dB.
    """
    if not trims_db:
        return 0.0
    last = len(trims_db) - 1
    if last == 0 or lowest_hz == highest_hz:
        return trims_db[0]
    place = last * math.log(hz / lowest_hz) / math.log(highest_hz / lowest_hz)
    place = min(max(place, 0.0), float(last))
    below = min(int(place), last - 1)
    return trims_db[below] + (trims_db[below + 1] - trims_db[below]) * (place - below)
