"""Tuning messages back into scales and anchors: what an instrument would play, key by key.

Messages act in order on the places they address: a program, a program in a bank, or channels. A
dump sets every key it does not leave alone; single changes set theirs; offsets count from twelve
equal notes at A4 = 440 Hz and are never added up (RP-020). A place begins with nothing known.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from meantide.pitch.anchor import Anchor
from meantide.pitch.interval import OCTAVE, Interval
from meantide.pitch.layout import Layout, LinearLayout, TableLayout
from meantide.pitch.midi_tuning.fields import KEYS, channels_text
from meantide.pitch.midi_tuning.message import Message
from meantide.pitch.midi_tuning.words import A4_KEY, STEPS, height_of_word, hz_of_height
from meantide.pitch.note_name import NoteName
from meantide.pitch.scale import Scale
from meantide.pitch.tuning import Tuning

ROOT_KEY = 60  # plays degree 0 of a scale that repeats at the octave
MOST_KEYS_AN_OCTAVE = 63  # so that every key has another an octave away
ONE_STEP = Fraction(1, STEPS)  # two keys an octave apart may each be rounded by half of it

Heights = tuple[Fraction | None, ...]
"""Semitones of each of 128 keys (69 is 440 Hz); None where nothing is known."""

_UNKNOWN: Heights = (None,) * KEYS


@dataclass(frozen=True, slots=True)
class Recovered:
    """A tuning as messages leave it at one place.

    `heights` is where the messages put each of the 128 keys. The tuning gives each key just that,
    or, where rounded words make octaves uneven by a step, within half a step of it. Its layout is
    linear where neighbouring keys play neighbouring degrees, else a table; keys of which nothing
    is known play nothing in a table.
    """

    place: str
    tuning: Tuning
    heights: Heights


def recover(messages: Iterable[Message]) -> tuple[Recovered, ...]:
    """Return the tuning at each place that messages address, in the order they first name it.

    Channels that end up alike are one place; one where no key is tuned is left out.
    """
    programs: dict[str, tuple[Heights, str]] = {}
    channels: dict[int, Heights] = {}
    for message in messages:
        if message.channels is not None:
            channels |= dict.fromkeys(sorted(message.channels), _applied(_UNKNOWN, message))
        elif not message.form.is_request:
            place = f"program {message.program}"
            if message.bank is not None:
                place = f"bank {message.bank} {place}"
            heights, name = programs.get(place, (_UNKNOWN, ""))
            programs[place] = (_applied(heights, message), message.name or name)
    alike: dict[Heights, list[int]] = {}
    for channel, heights in channels.items():
        alike.setdefault(heights, []).append(channel)
    found = [(place, *tuned) for place, tuned in programs.items()]
    for heights, members in alike.items():
        found.append((f"channels {channels_text(frozenset(members))}", heights, ""))
    return tuple(
        _recovered(place, heights, name) for place, heights, name in found if heights != _UNKNOWN
    )


def _applied(heights: Heights, message: Message) -> Heights:
    """Return the heights after a message has acted on them."""
    kind = message.form.offsets
    if kind is not None and message.offsets is not None:
        semitones = [kind.cents(steps) / 100 for steps in message.offsets]
        return tuple(key + semitones[key % 12] for key in range(KEYS))
    changes = enumerate(message.words) if message.words is not None else message.changes or ()
    after = list(heights)
    for key, word in changes:
        if word is not None:
            after[key] = height_of_word(word)
    return tuple(after)


def _recovered(place: str, heights: Heights, name: str) -> Recovered:
    """Return the scale, the anchor and the degrees that give the keys their heights."""
    keys_an_octave, laid = _octave_of_keys(heights) or (None, heights)
    known = [height for height in laid if height is not None]
    if keys_an_octave is None:  # no period is to be seen: all keys are one, the next octave above
        base = min(known)
        period = OCTAVE * ((max(known) - base) // 12 + 1)
    else:
        base = _root_height(laid, keys_an_octave)
        period = OCTAVE
    span = 12 * period.powers[0][1]
    steps = sorted({(height - base) % span for height in known})
    rank = {step: degree for degree, step in enumerate(steps)}
    degrees = {
        key: rank[(height - base) % span] + len(steps) * int((height - base) // span)
        for key, height in enumerate(laid)
        if height is not None
    }
    layout = _layout(degrees, endless=keys_an_octave is not None)
    plain = keys_an_octave == len(steps) and layout == LinearLayout()
    scale = _scale([OCTAVE * (step / 12) for step in steps], period, plain, name)
    anchor = _anchor(laid, degrees, named=plain and scale.size == 12)
    return Recovered(place, Tuning(scale, anchor, layout), heights)


def _anchor(laid: Heights, degrees: Mapping[int, int], *, named: bool) -> Anchor:
    """Return key 69 as A4 where keys have those names, else the known key nearest to 60."""
    a4 = laid[A4_KEY]
    if named and a4 is not None:
        return Anchor(hz_of_height(a4), note=NoteName("A", 0, 4))
    key, height = min(_known(laid, range(KEYS)), key=lambda pair: abs(pair[0] - ROOT_KEY))
    return Anchor(hz_of_height(height), degree=degrees[key])


def _layout(degrees: Mapping[int, int], *, endless: bool) -> Layout:
    """Return the layout by which keys play these degrees; linear ones make unknown keys sound."""
    roots = {key - degree for key, degree in degrees.items()}
    if len(roots) == 1 and (endless or len(degrees) == KEYS):
        return LinearLayout(roots.pop())
    return TableLayout(tuple(degrees.items()))


def _scale(steps: Sequence[Interval], period: Interval, plain: bool, name: str) -> Scale:
    """Return the scale of these steps.

    Where plain, that is with key 60 for C4 and as many keys as degrees to the octave, twelve
    degrees have note names, and an exact equal division is one.
    """
    title = "".join(character for character in name if character.isprintable()).strip()
    size = len(steps)
    if plain and all(step == period * Fraction(place, size) for place, step in enumerate(steps)):
        return Scale.equal(size, period, name=title)
    fifth = 7 if plain and size == 12 else None
    return Scale.from_degrees(steps[1:], period, fifth=fifth, name=title)


def _octave_of_keys(heights: Heights) -> tuple[int, Heights] | None:
    """Return how many keys make an octave, and the heights with all octaves exact; or None.

    They do where every key lies whole octaves from the others so many keys apart, but for the
    rounding of words, and each has such another. Twelve are tried first.
    """
    for keys in (12, *(each for each in range(1, MOST_KEYS_AN_OCTAVE + 1) if each != 12)):
        laid = list(heights)
        for first in range(keys):
            members = _known(heights, range(first, KEYS, keys))
            folded = [height - 12 * (key // keys) for key, height in members]
            if len(folded) < 2 or max(folded) - min(folded) > ONE_STEP:
                break
            middle = (max(folded) + min(folded)) / 2
            for key, _ in members:
                laid[key] = middle + 12 * (key // keys)
        else:
            return keys, tuple(laid)
    return None


def _known(heights: Heights, keys: Iterable[int]) -> list[tuple[int, Fraction]]:
    """Return the keys of these that have a height, with it."""
    return [(key, height) for key in keys if (height := heights[key]) is not None]


def _root_height(laid: Heights, keys_an_octave: int) -> Fraction:
    """Return the height of key 60, or what it would be by another octave of it."""
    others = range(ROOT_KEY % keys_an_octave, KEYS, keys_an_octave)
    key, height = _known(laid, others)[0]
    return height + 12 * ((ROOT_KEY - key) // keys_an_octave)
