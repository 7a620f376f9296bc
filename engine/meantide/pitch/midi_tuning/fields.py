"""The fields tuning messages are made of: each knows its bytes, what they may be and say."""

from collections.abc import Iterator
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.pitch.midi_tuning.field import (
    BadBytes,
    Piece,
    check_tuple,
    check_whole,
    check_word,
    chunks,
)
from meantide.pitch.midi_tuning.words import (
    OffsetKind,
    Word,
    from_seven_bits,
    height_of_word,
    hz_of_height,
    seven_bits,
    word_bytes,
    word_of_bytes,
)

KEYS = 128
PITCH_CLASSES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
MAX_CHANGES = 127  # in one message: their count is one data byte
NAME_SIZE = 16
CHANNELS = frozenset(range(1, 17))


@dataclass(frozen=True, slots=True)
class Number:
    """A number from 0 to 127."""

    name: str
    layout: str

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a whole number from 0 to 127."""
        check_whole(self.name, value, 0, 127)

    def size(self, _: bytes) -> int:
        """Return 1."""
        return 1

    def write(self, value: object) -> bytes:
        """Return its one byte."""
        assert isinstance(value, int)  # noqa: S101  checked
        return bytes([value])

    def read(self, data: bytes) -> int:
        """Return its one byte."""
        return data[0]

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Say which number it is."""
        yield Piece(data, f"{self.name} {data[0]}")


@dataclass(frozen=True, slots=True)
class Name:
    """Sixteen characters of ASCII, filled up with spaces."""

    name: str = "name"
    layout: str = f"[nm]x{NAME_SIZE}"

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a short text of ASCII that does not end in a space."""
        if not (
            isinstance(value, str)
            and value.isascii()
            and len(value) <= NAME_SIZE
            and not value.endswith(" ")
        ):
            allowed = f"up to {NAME_SIZE} characters of ASCII, no space at the end"
            raise InvalidValue(self.name, value, allowed)

    def size(self, _: bytes) -> int:
        """Return 16."""
        return NAME_SIZE

    def write(self, value: object) -> bytes:
        """Return the characters and the spaces after them."""
        assert isinstance(value, str)  # noqa: S101  checked
        return value.ljust(NAME_SIZE).encode("ascii")

    def read(self, data: bytes) -> str:
        """Return the characters without the spaces after them."""
        return data.decode("ascii").rstrip(" ")

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Show the text."""
        yield Piece(data, f"name {self.read(data)!r}")


@dataclass(frozen=True, slots=True)
class Words:
    """A frequency word for each of the 128 keys."""

    name: str = "words"
    layout: str = f"[xx yy zz]x{KEYS}"

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a tuple of 128 words."""
        for word in check_tuple(self.name, value, KEYS, KEYS):
            check_word(self.name, word)

    def size(self, _: bytes) -> int:
        """Return 384."""
        return 3 * KEYS

    def write(self, value: object) -> bytes:
        """Return three bytes a key."""
        assert isinstance(value, tuple)  # noqa: S101  checked
        return b"".join(map(word_bytes, value))

    def read(self, data: bytes) -> tuple[Word, ...]:
        """Return the word of each key."""
        return tuple(word_of_bytes(each) for each in chunks(data, 3))

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Say how many Hz each key has."""
        for key, each in enumerate(chunks(data, 3)):
            yield Piece(each, f"key {key}: {_explain_word(word_of_bytes(each))}")


@dataclass(frozen=True, slots=True)
class Changes:
    """A count, and so many keys with their frequency words."""

    name: str = "changes"
    layout: str = "ll [kk xx yy zz]xll"

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a tuple of up to 127 pairs of key and word."""
        for change in check_tuple(self.name, value, 0, MAX_CHANGES):
            key, word = check_tuple(self.name, change, 2, 2)
            check_whole("key", key, 0, KEYS - 1)
            check_word(self.name, word)

    def size(self, data: bytes) -> int:
        """Return what the count says; 1 where it is cut off."""
        return 1 + 4 * data[0] if data else 1

    def write(self, value: object) -> bytes:
        """Return the count, then four bytes a change."""
        assert isinstance(value, tuple)  # noqa: S101  checked
        body = b"".join(bytes([key]) + word_bytes(word) for key, word in value)
        return bytes([len(value)]) + body

    def read(self, data: bytes) -> tuple[tuple[int, Word], ...]:
        """Return the keys with their words."""
        return tuple((each[0], word_of_bytes(each[1:])) for each in chunks(data[1:], 4))

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Say how many Hz each key takes."""
        yield Piece(data[:1], f"keys to change: {data[0]}")
        for each in chunks(data[1:], 4):
            yield Piece(each, f"key {each[0]}: {_explain_word(word_of_bytes(each[1:]))}")


@dataclass(frozen=True, slots=True)
class Channels:
    """A set of channels 1 to 16: ff holds 16 and 15, gg 14 to 8, hh 7 to 1."""

    name: str = "channels"
    layout: str = "ff gg hh"

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a frozen set of channel numbers."""
        if not isinstance(value, frozenset) or not all(
            type(channel) is int and channel in CHANNELS for channel in value
        ):
            raise InvalidValue(self.name, value, "a frozenset of channels 1 to 16")

    def size(self, _: bytes) -> int:
        """Return 3."""
        return 3

    def write(self, value: object) -> bytes:
        """Return the mask."""
        assert isinstance(value, frozenset)  # noqa: S101  checked
        return seven_bits(sum(1 << (channel - 1) for channel in value), 3)

    def read(self, data: bytes) -> frozenset[int]:
        """Return the channels of the mask."""
        if data[0] > 0x03:
            raise BadBytes(0, f"{data[0]:02X}", "00 to 03, bits 2 to 6 being reserved")
        mask = from_seven_bits(data)
        return frozenset(channel for channel in CHANNELS if mask >> (channel - 1) & 1)

    def explain(self, data: bytes) -> Iterator[Piece]:
        """List the channels."""
        yield Piece(data, f"channels {channels_text(self.read(data))}")


@dataclass(frozen=True, slots=True)
class Offsets:
    """An offset from twelve equal notes for each of C to B, in every octave."""

    kind: OffsetKind
    name: str = "offsets"

    @property
    def layout(self) -> str:
        """One byte or two for each of twelve."""
        return f"[{'ss' if self.kind.size == 1 else 'ss tt'}]x12"

    def check(self, value: object) -> None:
        """Raise InvalidValue unless it is a tuple of twelve offsets in steps."""
        for steps in check_tuple(self.name, value, 12, 12):
            check_whole(self.name, steps, self.kind.lowest, self.kind.highest)

    def size(self, _: bytes) -> int:
        """Return 12 or 24."""
        return 12 * self.kind.size

    def write(self, value: object) -> bytes:
        """Return the offsets, each counted from the lowest."""
        assert isinstance(value, tuple)  # noqa: S101  checked
        return b"".join(seven_bits(steps - self.kind.lowest, self.kind.size) for steps in value)

    def read(self, data: bytes) -> tuple[int, ...]:
        """Return the offsets in steps from the middle."""
        return tuple(self._steps(each) for each in chunks(data, self.kind.size))

    def explain(self, data: bytes) -> Iterator[Piece]:
        """Say how many cents each pitch class is off."""
        for name, each in zip(PITCH_CLASSES, chunks(data, self.kind.size), strict=True):
            cents = float(self.kind.cents(self._steps(each)))
            yield Piece(each, f"{name}: {cents:+.4f} cents")

    def _steps(self, data: bytes) -> int:
        """Return one offset in steps from the middle."""
        return from_seven_bits(data) + self.kind.lowest


def channels_text(channels: frozenset[int]) -> str:
    """Return a set of channels in words: 1-16, or 1 2 7, or none."""
    if channels == CHANNELS:
        return "1-16"
    return " ".join(map(str, sorted(channels))) or "none"


def _explain_word(word: Word) -> str:
    """Return a word in Hz."""
    return "no change" if word is None else f"{hz_of_height(height_of_word(word)):.4f} Hz"
