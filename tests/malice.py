"""Packets made to do harm: recorded traffic cut, spliced, flipped and nested; patterns; sizes."""

import random
import struct
from collections.abc import Iterator

from meantide.osc.values import INFINITUM, Colour, Symbol, Timetag
from meantide.osc.writing import encode, encode_bundle

TRAFFIC = (
    encode("/note/on", "C#5", 0.7, 12),
    encode("/note/on", 60, 0.5, 2**40),
    encode("/note/off", 12),
    encode("/hertz/on", 441.5, 0.5, 3),
    encode("/note/bend", 12, -30.0, 0.5),
    encode("/sustain", 1),
    encode("/part/reed/pan", -0.5, 1.0),
    encode("/part/reed/note/on", "A4", 0.3, 7),
    encode("/part/*/width", 0.25, pattern=True),
    encode("/part/{reed,bass}/[!a-c]*?", 0.5, pattern=True),
    encode("/" + "*a" * 100 + "b", pattern=True),
    encode("/anchor", 432.0, "A4", 0.5),
    encode("/scale/equal", 19, 0.5),
    encode("/level", -12.0, 0.1),
    encode("/ask/pitch", "E5"),
    encode("/watch", "state", 10),
    encode("/ping", (1, ("A4", Symbol("b")), 2.0), Colour(1, 2, 3, 4), Timetag(5), INFINITUM, b""),
)
SEEDS = (
    *TRAFFIC,
    encode_bundle(None, *TRAFFIC[:4]),
    encode_bundle(2**40, TRAFFIC[0], encode_bundle(2**41, *TRAFFIC[2:9])),
    encode_bundle(2**63, *TRAFFIC[4:6]),
)
SIZES = (-(2**31), -4, -1, 0, 1, 4, 8, 20, 2**16, 2**31 - 1)
TELLING = bytes([0x00, 0x01, 0x04, 0x23, 0x2A, 0x2C, 0x2F, 0x5B, 0x7B, 0x7F, 0x80, 0xFC, 0xFF])


def mutants(many: int, seed: int) -> Iterator[bytes]:
    """Yield packets, each damaged in up to four places."""
    chance = random.Random(seed)  # noqa: S311  a repeatable sequence is what is wanted
    for _ in range(many):
        data = bytearray(chance.choice(SEEDS))
        for _ in range(chance.randint(0, 4)):
            if not data:
                break
            _damage(data, chance)
        yield bytes(data)


def _damage(data: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(data))
    word = at // 4 * 4
    match chance.randrange(8):
        case 0:
            data[at] = chance.randrange(256)
        case 1:
            data[at] = chance.choice(TELLING)
        case 2:
            data[at] ^= 1 << chance.randrange(8)
        case 3:
            del data[word : word + chance.choice((1, 4, 8, 100))]
        case 4:
            other = chance.choice(SEEDS)
            data[word:word] = other[: chance.randrange(len(other) // 4 + 1) * 4]
        case 5:
            data[word : word + 4] = struct.pack(">i", chance.choice(SIZES))
        case 6:
            data[:] = encode_bundle(None, bytes(data), chance.choice(TRAFFIC))
        case 7:
            del data[word + 4 :]
