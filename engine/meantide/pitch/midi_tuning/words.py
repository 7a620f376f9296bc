"""The numbers inside tuning messages: frequency words of three bytes, offsets of one or two.

Heights are counted in semitones of twelve equal notes at A4 = 440 Hz, on the numbers of the keys:
69 is 440 Hz, 69.5 a quarter tone above. Every number a message can hold is exactly such a
fraction, so nothing rounds before Hz. Source: MIDI Tuning Messages (CA-020), Scale/Octave
Extensions (CA-021).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

A4_KEY = 69
A4_HZ = 440.0
STEPS = 2**14  # in a semitone: two data bytes of seven bits
NO_CHANGE = 2**21 - 1  # 7F 7F 7F is reserved: the key keeps what it had
HIGHEST_WORD = NO_CHANGE - 1

Word = int | None
"""The three bytes of a frequency word as one number of 21 bits; None is "no change"."""


def hz_of_height(height: Fraction | float) -> float:
    """Return the frequency in Hz of a height in semitones (69 is 440 Hz)."""
    return A4_HZ * math.exp2((float(height) - A4_KEY) / 12)


def height_of_hz(hz: float) -> float:
    """Return the height in semitones of a frequency above 0 Hz."""
    return A4_KEY + 12 * math.log2(hz / A4_HZ)


LOWEST_HZ = hz_of_height(0)
HIGHEST_HZ = hz_of_height(Fraction(HIGHEST_WORD, STEPS))


def word_of_hz(hz: float) -> Word:
    """Return the word nearest to a frequency above 0 Hz, or None if none lies within half a step.

    Words reach from 8.1758 Hz (00 00 00) to 13,289.66 Hz (7F 7F 7E), 0.0061 cent apart.
    """
    return word_of_height(height_of_hz(hz))


def word_of_height(height: Fraction | float) -> Word:
    """Return the word nearest to a height in semitones, or None if none lies within half a step."""
    word = round(height * STEPS)
    return word if 0 <= word <= HIGHEST_WORD else None


def height_of_word(word: int) -> Fraction:
    """Return the exact height in semitones that a word stands for."""
    return Fraction(word, STEPS)


def word_bytes(word: Word) -> bytes:
    """Return a word's three bytes: the semitone, then 14 bits of its fraction."""
    return seven_bits(NO_CHANGE if word is None else word, 3)


def word_of_bytes(data: bytes) -> Word:
    """Return the word that three bytes below 80 hold."""
    word = from_seven_bits(data)
    return None if word == NO_CHANGE else word


@dataclass(frozen=True, slots=True)
class OffsetKind:
    """Offsets from twelve equal notes of so many bytes; 0 steps stand in the middle."""

    size: int
    step_cents: Fraction

    @property
    def lowest(self) -> int:
        """The lowest offset in steps: bytes of nothing but 0."""
        return -(1 << (7 * self.size - 1))

    @property
    def highest(self) -> int:
        """The highest offset in steps: bytes of nothing but 7F."""
        return -self.lowest - 1

    def cents(self, steps: int) -> Fraction:
        """Return the exact cents of so many steps."""
        return steps * self.step_cents

    def steps_of_cents(self, cents: float) -> int | None:
        """Return the nearest steps, or None if none lie within half a step of `cents`."""
        steps = round(cents / float(self.step_cents))
        return steps if self.lowest <= steps <= self.highest else None


# 00 to 7F are -64 to +63 cents.
ONE_BYTE = OffsetKind(1, Fraction(1))
# 00 00 is -100 cents. The standard calls 7F 7F +100, but 8191 steps are 99.9878.
TWO_BYTES = OffsetKind(2, Fraction(200, STEPS))


def seven_bits(number: int, size: int) -> bytes:
    """Return a number as `size` bytes of seven bits, the highest first."""
    return bytes(number >> 7 * place & 0x7F for place in reversed(range(size)))


def from_seven_bits(data: bytes) -> int:
    """Return the number that bytes below 80 hold, seven bits each, the highest first."""
    number = 0
    for byte in data:
        number = number << 7 | byte
    return number
