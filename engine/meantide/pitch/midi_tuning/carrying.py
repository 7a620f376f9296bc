"""A tuning into tuning messages, and what that costs: every number is the nearest there is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.address import Address, ascii_name
from meantide.pitch.midi_tuning.fields import KEYS
from meantide.pitch.midi_tuning.forms import Form, form_named
from meantide.pitch.midi_tuning.message import Message
from meantide.pitch.midi_tuning.octave import octave_steps
from meantide.pitch.midi_tuning.words import (
    HIGHEST_HZ,
    LOWEST_HZ,
    OffsetKind,
    Word,
    height_of_hz,
    height_of_word,
    hz_of_height,
    word_of_height,
    word_of_hz,
)
from meantide.pitch.tuning import Tuning

CHANGES_AT_ONCE = 64  # in one message, so that all keys go into two alike


@dataclass(frozen=True, slots=True)
class CarriedKey:
    """What became of one key.

    `wanted_hz` is None where the key plays nothing, `sent` (its height in semitones, 69 being
    440 Hz, exact) where the message says "no change". `why` tells why a key could not be encoded,
    and is else empty.
    """

    key: int
    wanted_hz: float | None
    sent: Fraction | None
    why: str = ""

    @property
    def sent_hz(self) -> float | None:
        """The frequency that was sent, in Hz."""
        return None if self.sent is None else hz_of_height(self.sent)

    @property
    def error_cents(self) -> float | None:
        """How far what was sent lies above what was wanted."""
        if self.wanted_hz is None or self.sent is None:
            return None
        return 100 * (float(self.sent) - height_of_hz(self.wanted_hz))


@dataclass(frozen=True, slots=True)
class Carried:
    """Messages made of a tuning, and what became of each key."""

    messages: tuple[Message, ...]
    keys: tuple[CarriedKey, ...]

    @property
    def worst(self) -> CarriedKey | None:
        """The key that was moved most by the rounding; None if no key was sent."""
        moved = [(abs(key.error_cents), key) for key in self.keys if key.error_cents is not None]
        return max(moved, key=lambda pair: pair[0])[1] if moved else None

    @property
    def left_out(self) -> tuple[CarriedKey, ...]:
        """The keys that could not be encoded."""
        return tuple(key for key in self.keys if key.why)

    def to_bytes(self) -> bytes:
        """Return the messages one after another, as a .syx file holds them."""
        return b"".join(message.to_bytes() for message in self.messages)


def carry(
    tuning: Tuning,
    form_name: str,
    address: Address | None = None,
    keys: Sequence[int] | None = None,
) -> Carried:
    """Return a tuning as messages of one form, named after its scale unless `address` has a name.

    `keys`, 0 to 127, are those that a form of single changes takes (None: all); other forms take
    none. A key that cannot be encoded is sent as 7F 7F 7F, "no change", and listed; twelve
    offsets cannot say that, so there it is listed with what it gets. A request asks, and holds no
    key. Raises NotFound for a form there is not, and InvalidValue for an address the form has not,
    and for offsets where the tuning does not repeat at the octave every twelve keys or is out of
    their range.
    """
    form = form_named(form_name)
    address = Address() if address is None else address
    if form.has("name") and address.name is None:
        address = replace(address, name=ascii_name(tuning.scale.name))
    if form.is_request:
        return Carried((address.message(form),), ())
    if keys is not None and not form.has("changes"):
        raise InvalidValue("keys", list(keys), f"no keys: {form.name} tells of all of them")
    if form.offsets is not None:
        return _carry_offsets(tuning, form, form.offsets, address)
    carried = tuple(_carry_key(tuning, key) for key in _checked(keys))
    if form.has("words"):
        words = tuple(_word(key) for key in carried)
        return Carried((address.message(form, words=words),), carried)
    changes = [(key.key, _word(key)) for key in carried]
    messages = tuple(
        address.message(form, changes=tuple(changes[start : start + CHANGES_AT_ONCE]))
        for start in range(0, len(changes), CHANGES_AT_ONCE)
    )
    return Carried(messages, carried)


def _carry_offsets(tuning: Tuning, form: Form, kind: OffsetKind, address: Address) -> Carried:
    """Return a tuning as one message of twelve offsets."""
    wanted = [_hz_of_key(tuning, key) for key in range(KEYS)]
    steps = octave_steps([None if hz is None else height_of_hz(hz) for hz, _ in wanted], form)
    semitones = [kind.cents(each) / 100 for each in steps]
    keys = tuple(
        CarriedKey(key, hz, key + semitones[key % 12], why) for key, (hz, why) in enumerate(wanted)
    )
    return Carried((address.message(form, offsets=steps),), keys)


def _carry_key(tuning: Tuning, key: int) -> CarriedKey:
    """Return what becomes of a key as a frequency word."""
    hz, why = _hz_of_key(tuning, key)
    if hz is None:
        return CarriedKey(key, None, None, why)
    word = word_of_hz(hz)
    if word is not None:
        return CarriedKey(key, hz, height_of_word(word))
    side = f"below {LOWEST_HZ:.4f}" if hz < LOWEST_HZ else f"above {HIGHEST_HZ:.4f}"
    return CarriedKey(key, hz, None, f"{side} Hz, where words end")


def _word(carried: CarriedKey) -> Word:
    """Return the frequency word that was chosen for a key."""
    return None if carried.sent is None else word_of_height(carried.sent)


def _hz_of_key(tuning: Tuning, key: int) -> tuple[float | None, str]:
    """Return the frequency of a key in Hz, or None and why it has none."""
    if tuning.degree_of_key(key) is None:
        return None, "plays nothing"
    try:
        return tuning.hz_of_key(key), ""
    except InvalidValue as error:
        return None, f"plays what cannot sound ({error.allowed} only)"


def _checked(keys: Sequence[int] | None) -> Sequence[int]:
    """Return the keys to carry; refuse what is no MIDI key, a key twice, and no keys at all."""
    if keys is None:
        return range(KEYS)
    for key in keys:
        if type(key) is not int or not 0 <= key < KEYS:
            raise InvalidValue("keys", key, "keys from 0 to 127")
    if not keys or len(set(keys)) < len(keys):
        raise InvalidValue("keys", list(keys), "at least one key, and each key once")
    return keys
