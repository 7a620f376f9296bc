"""What OSC messages carry: the arguments of each type tag, messages, and groups of them."""

from dataclasses import dataclass
from typing import TypeAlias

from meantide.errors import MeantideError


class Symbol(str):
    """Text tagged `S`: "for systems that differentiate symbols from strings"; here it is text."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Character:
    """One ASCII character, tagged `c`."""

    text: str


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour tagged `r`: red, green, blue and alpha, 0 to 255 each."""

    red: int
    green: int
    blue: int
    alpha: int


@dataclass(frozen=True, slots=True)
class MidiMessage:
    """A MIDI message tagged `m`: port, status and two data bytes, 0 to 255 each."""

    port: int
    status: int
    data_1: int
    data_2: int


@dataclass(frozen=True, slots=True)
class Timetag:
    """A time tagged `t`: NTP, 64 bits; see `Message.timetag`."""

    ntp: int


@dataclass(frozen=True, slots=True)
class Infinitum:
    """The value tagged `I`; it has no bytes, and there is only one."""


INFINITUM = Infinitum()

Special: TypeAlias = Character | Colour | MidiMessage | Timetag | Infinitum
Argument: TypeAlias = int | float | str | bytes | bool | Special | tuple["Argument", ...] | None
"""An argument; a tuple is an array. Whoever wants a number or a text refuses the others."""


@dataclass(frozen=True, slots=True)
class Message:
    """One OSC message: its address, its arguments, and the timetag of the bundle it came in.

    `timetag` is NTP, 64 bits: seconds since 1900 in the upper 32, their fraction in the lower. None
    means at once. Numbers are finite; strings may hold any character but zero, so whoever shows one
    must guard the terminal. The address may be a pattern.
    """

    address: str
    arguments: tuple[Argument, ...] = ()
    timetag: int | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """The messages of one bundle, which act at one time, or a message that came alone.

    Bundles inside a bundle are groups of their own. `timetag_ntp` is that of each message.
    """

    timetag_ntp: int | None
    messages: tuple[Message, ...]


class WireError(MeantideError):
    """A packet that is refused.

    `reason` says what is wrong, `offset` is the byte of the packet where it was seen, and `address`
    is the message's address, or "" where it is not known.
    """

    def __init__(self, reason: str, offset: int, address: str = "") -> None:
        self.reason = reason
        self.offset = offset
        self.address = address
        super().__init__(reason, offset, address)

    def __str__(self) -> str:
        return f"{clip(self.address) or 'packet'}: {self.reason} (byte {self.offset})"


def clip(text: str) -> str:
    """Return a text that is short enough for a message."""
    return text if len(text) <= 80 else text[:77] + "..."


NTP_TO_UNIX_S = 2_208_988_800
"""Seconds from 1900 (NTP) to 1970 (Unix): RFC 868, RFC 5905."""


def unix_s(timetag_ntp: int | None) -> float | None:
    """Return an OSC timetag (NTP, 64 bits) as seconds since 1970; None for at once."""
    return None if timetag_ntp is None else timetag_ntp / 2**32 - NTP_TO_UNIX_S


def ntp(unix_s: float) -> int:
    """Return seconds since 1970 as an OSC timetag, to the nearest of its steps of 0.23 ns."""
    return round((unix_s + NTP_TO_UNIX_S) * 2**32)
