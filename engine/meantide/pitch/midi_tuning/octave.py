"""Twelve offsets for tunings that repeat at the octave every twelve keys, and only for those."""

from collections.abc import Sequence
from statistics import median_low

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.forms import Form

SAME_CENTS = 1e-6  # a thousand times what Hz as floats are off, a thousandth of a fine step


def octave_steps(heights: Sequence[float | None], form: Form) -> tuple[int, ...]:
    """Return a form's offsets for C to B, in steps, from each key's height in semitones.

    None is a key that plays nothing; a pitch class of nothing else gets 0. Raises InvalidValue,
    naming the worst key, where an octave of keys is no octave, and where offsets do not reach.
    """
    assert form.offsets is not None  # noqa: S101  the caller's choice of form
    kind = form.offsets
    cents = [None if height is None else 100 * (height - key) for key, height in enumerate(heights)]
    classes = [[each for each in cents[place::12] if each is not None] for place in range(12)]
    middles = [median_low(each) if each else 0.0 for each in classes]
    drifts = [(each - middles[key % 12], key) for key, each in enumerate(cents) if each is not None]
    drift, key = max(drifts, key=lambda pair: abs(pair[0]), default=(0.0, 0))
    if abs(drift) > SAME_CENTS:
        raise InvalidValue(
            f"key {key}",
            f"{drift:+.3f} cents from where the same note in other octaves puts it",
            f"in {form.name} a tuning that repeats at the octave every twelve keys; "
            "the forms of 128 keys take any",
        )
    steps = []
    for place, middle in enumerate(middles):
        nearest = kind.steps_of_cents(middle)
        if nearest is None:
            low, high = float(kind.cents(kind.lowest)), float(kind.cents(kind.highest))
            raise InvalidValue(
                f"key {60 + place}",
                f"{middle:+.3f} cents from twelve equal notes at A4=440",
                f"{low:+g} to {high:+.4g} cents in {form.name}; the forms of 128 keys take any",
            )
        steps.append(nearest)
    return tuple(steps)
