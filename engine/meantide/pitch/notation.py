"""What note names mean in a scale: the chain of fifths, or the names a scale lists.

On the chain the letters F C G D A E B are consecutive fifths folded into the period, a sharp is
seven fifths up less four periods, and a flat the same down; so C C# D in 31 equal parts, whose
fifth is degree 18, are degrees 0, 2 and 5. C4 is degree 0.
"""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from meantide.errors import InvalidValue, not_found
from meantide.pitch.note_name import MAX_OCTAVE, MIDDLE_OCTAVE, NoteName
from meantide.pitch.scale import Scale

_SPELLED_ACCIDENTALS = 4  # enough to give each of 53 equal parts a name


def degree_of(scale: Scale, name: NoteName) -> int:
    """Return the degree that `name` stands for.

    Raises InvalidValue if the scale has no note names, and NotFound, with the nearest ones, if it
    lists its names and this is none of them.
    """
    if scale.fifth is not None:
        natural = name.natural_chain * scale.fifth % scale.size
        sharp = 7 * scale.fifth - 4 * scale.size
        return natural + name.accidentals * sharp + (name.octave - MIDDLE_OCTAVE) * scale.size
    if scale.names is None:
        raise InvalidValue(
            "note name",
            str(name),
            f"degrees; {scale.label} has no note names: it is anchored and played by degree",
        )
    place = scale.listed.get(name.spelling)
    if place is None:
        raise not_found("note name", name.spelling, scale.names)
    return place + (name.octave - MIDDLE_OCTAVE) * scale.size


def name_of(scale: Scale, degree: int) -> NoteName | None:
    """Return the simplest name of a degree, or None if the scale has none for it.

    Naturals come first, then the sharps and flats nearest to D on the chain of fifths, so twelve
    equal parts read C C# D Eb E F F# G G# A Bb B.
    """
    if scale.fifth is not None:
        found = _spelled(scale.size, scale.fifth).get(degree % scale.size)
        if found is None:
            return None
        chain, base = found
        octave = MIDDLE_OCTAVE + (degree - base) // scale.size
        return NoteName.from_chain(chain, octave) if abs(octave) <= MAX_OCTAVE else None
    if scale.names is None:
        return None
    spelling = scale.names[degree % scale.size]
    octave = MIDDLE_OCTAVE + (degree - scale.listed[spelling]) // scale.size
    return NoteName.parse(f"{spelling}{octave}") if abs(octave) <= MAX_OCTAVE else None


@lru_cache(maxsize=64)
def _spelled(size: int, fifth: int) -> Mapping[int, tuple[int, int]]:
    """Return, by degree within the period, the chosen place on the chain and its degree."""
    reach = 3 + 7 * _SPELLED_ACCIDENTALS
    # D (place 2) is the middle of the chain; at equal distance the sharp side comes first.
    chain = sorted(range(2 - reach, 3 + reach), key=lambda place: (abs(place - 2), place < 2))
    sharp = 7 * fifth - 4 * size
    found: dict[int, tuple[int, int]] = {}
    for place in chain:
        accidentals, letter = divmod(place + 1, 7)
        degree = (letter - 1) * fifth % size + accidentals * sharp
        found.setdefault(degree % size, (place, degree))
    return MappingProxyType(found)
