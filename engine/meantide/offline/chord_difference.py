"""Chords in two tunings: their intervals, how far those are from just, and how fast they beat."""

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

from meantide.errors import InvalidValue, NotFound
from meantide.offline.tuning_difference import has_names, partner
from meantide.pitch import Interval, NoteName, Tuning
from meantide.pitch.nearness import near_proportions

MAJOR, MINOR = (4, 5, 6), (10, 12, 15)
MAX_NOTES = 8
MAX_NUMBER = 1000  # of a proportion that is given
JUST_WITHIN = Interval.parse("25 cents")
"""How far a chord may be from the just one that it is taken for."""
JUST_LIMIT, JUST_MOST = 11, 64  # of which no prime, and no number, is larger

_LETTERS = "CDEFGAB"
_TRIADS = ((MAJOR, (0, 4, 1)), (MINOR, (0, -3, 1)))  # and their notes in fifths from the root
_ALLOWED = "notes between commas, such as C4,E4,G4, with their just proportions if wanted: =4:5:6"


@dataclass(frozen=True, slots=True)
class Chord:
    """Notes by name, or by degree of the first tuning, and the proportions they have if just.

    `just` is None where that is to be found.
    """

    notes: tuple[NoteName | int, ...]
    just: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class ChordReading:
    """A chord in one tuning.

    `cents` are the upper notes' intervals above the lowest one as written, `from_just_cents` how
    much wider those are than just. `beats_hz` are those of each pair of notes, the first with the
    second, with the third, ..., the second with the third, ...: of the lowest partials that would
    be one if the chord were just.
    """

    degrees: tuple[int, ...]
    hz: tuple[float, ...]
    cents: tuple[float, ...]
    from_just_cents: tuple[float, ...]
    beats_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ChordDifference:
    """A chord in both tunings; `change_cents` is how much wider each interval is in the other."""

    notes: tuple[str, ...]
    just: tuple[int, ...]
    first: ChordReading
    other: ChordReading
    change_cents: tuple[float, ...]


def read_chord(text: str) -> Chord:
    """Return the chord written `C4,E4,G4`, `C4,E4,G4=4:5:6`, or `0,5,9` for degrees.

    Raises InvalidValue.
    """
    written, equals, just_text = text.partition("=")
    notes = tuple(_read_note(part.strip(), text) for part in written.split(","))
    if not 2 <= len(notes) <= MAX_NOTES:
        raise InvalidValue("chord", text, f"2 to {MAX_NOTES} {_ALLOWED}")
    if not equals:
        return Chord(notes)
    if not re.fullmatch(r"[0-9]{1,4}(:[0-9]{1,4})*", just_text):
        raise InvalidValue("chord", text, _ALLOWED)
    just = tuple(int(number) for number in just_text.split(":"))
    rising = all(low < high for low, high in pairwise(just))
    within = min(just) >= 1 and max(just) <= MAX_NUMBER
    if len(just) != len(notes) or not rising or not within:
        allowed = f"a number for each note, rising, from 1 to {MAX_NUMBER}"
        raise InvalidValue("chord", text, allowed)
    return Chord(notes, just)


def triads(first: Tuning, other: Tuning, degrees: Iterable[int]) -> list[Chord]:
    """Return the major and minor triads on each of `degrees` whose name both tunings have.

    Their notes are named from the chain of fifths. Where a tuning lists its names without one of
    them, as a keyboard has no E#, what stands on that key is taken; a triad for which there is
    nothing is left out.
    """
    names = [first.name_of_degree(degree) for degree in degrees]
    roots = [name for name in names if name is not None and _has(other, name)]
    chords = (Chord(_triad(root, fifths), just) for root in roots for just, fifths in _TRIADS)
    return [
        chord
        for chord in chords
        if all(_has(tuning, note, keys=True) for tuning in (first, other) for note in chord.notes)
    ]


def chord_differences(
    first: Tuning, other: Tuning, chords: Iterable[Chord]
) -> Iterator[ChordDifference]:
    """Give each chord in both tunings.

    A chord without proportions is taken for the simplest just one within 25 cents in the first
    tuning, or else in the other. Raises InvalidValue if there is none, NotFound for a note that a
    tuning does not have.
    """
    for chord in chords:
        degrees = [_degree(first, note) for note in chord.notes]
        others = [
            partner(first, other, note)[0] if isinstance(note, int) else _degree(other, note)
            for note in chord.notes
        ]
        words = tuple(str(note) for note in chord.notes)
        just = chord.just or _just(first, degrees) or _just(other, others)
        if just is None:
            raise InvalidValue("chord", ",".join(words), f"its just proportions too: {_ALLOWED}")
        readings = _read(first, degrees, just), _read(other, others, just)
        change = tuple(
            (_interval(other, others[0], upper) - _interval(first, degrees[0], lower)).cents
            for lower, upper in zip(degrees[1:], others[1:], strict=True)
        )
        yield ChordDifference(words, just, *readings, change)


def _read_note(text: str, chord: str) -> NoteName | int:
    """Return the name or the degree that one note of a chord is written as."""
    if re.fullmatch(r"-?[0-9]{1,6}", text):
        return int(text)
    try:
        return NoteName.parse(text)
    except InvalidValue:
        raise InvalidValue("chord", chord, _ALLOWED) from None


def _triad(root: NoteName, chain: Iterable[int]) -> tuple[NoteName, ...]:
    """Return the names so many fifths from the root; a letter is left out between any two."""
    notes = []
    for third, fifths in enumerate(chain):
        letter = _LETTERS.index(root.letter) + 2 * third
        octave = root.octave + letter // len(_LETTERS)
        notes.append(NoteName.from_chain(root.chain + fifths, octave))
    return tuple(notes)


def _has(tuning: Tuning, note: NoteName | int, *, keys: bool = False) -> bool:
    """Tell whether a tuning has a name, or with `keys` one that stands on the same key."""
    if isinstance(note, int):
        return True
    if not has_names(tuning.scale):
        return False
    try:
        if keys:
            _degree(tuning, note)
        else:
            tuning.degree_of_name(note)
    except NotFound:
        return False
    return True


def _degree(tuning: Tuning, note: NoteName | int) -> int:
    """Return the degree of a note; of a name that is not listed, that on its key of twelve."""
    if isinstance(note, int):
        return note
    try:
        return tuning.degree_of_name(note)
    except NotFound:
        for spelling in tuning.scale.listed:
            for octave in (note.octave - 1, note.octave, note.octave + 1):
                same = replace(NoteName.parse(f"{spelling}4"), octave=octave)
                if same.semitones == note.semitones:
                    return tuning.degree_of_name(same)
        raise


def _just(tuning: Tuning, degrees: Sequence[int]) -> tuple[int, ...] | None:
    """Return the simplest proportions near a chord, if its notes rise and there are any."""
    above = [_interval(tuning, degrees[0], degree) for degree in degrees[1:]]
    if any(low >= high for low, high in combinations([Interval(), *above], 2)):
        return None
    found = near_proportions(above, JUST_WITHIN, count=1, most=JUST_MOST, limit=JUST_LIMIT)
    return found[0].numbers if found else None


def _interval(tuning: Tuning, low: int, high: int) -> Interval:
    """Return the interval of one degree above another."""
    return tuning.scale.interval(high) - tuning.scale.interval(low)


def _read(tuning: Tuning, degrees: Sequence[int], just: Sequence[int]) -> ChordReading:
    """Return a chord as one tuning has it."""
    hz = tuple(tuning.hz_of_degree(degree) for degree in degrees)
    above = [_interval(tuning, degrees[0], degree) for degree in degrees[1:]]
    beats = []
    for low, high in combinations(range(len(degrees)), 2):
        common = math.gcd(just[low], just[high])
        exact = Interval.ratio(just[high], just[low])
        if _interval(tuning, degrees[low], degrees[high]) == exact:
            beats.append(0.0)  # where a difference of floats would leave some noise
        else:
            beats.append(abs(just[high] * hz[low] - just[low] * hz[high]) / common)
    return ChordReading(
        tuple(degrees),
        hz,
        tuple(interval.cents for interval in above),
        tuple(
            (interval - Interval.ratio(number, just[0])).cents
            for interval, number in zip(above, just[1:], strict=True)
        ),
        tuple(beats),
    )
