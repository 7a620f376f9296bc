"""How many notes of a voice the engine holds on this machine, measured as a device would ask.

A number of notes is held if 99.9 of 100 blocks take less than half their length: `Engine.fill` is
called a block's length after the last call, by the machine's clock, a thousand times. (Called again
at once it finds its caches warm: blocks of 64 frames were measured at half the time they take in a
set.) First the number is sought by the medians of a few blocks; then it is tried, and lowered until
it holds. What the tries could not settle is said to be unsettled.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from meantide.live.engine import Engine
from meantide.perform.event import ALL_PARTS, Event, Kind, Pitch, PitchKind
from meantide.voice.kernel import F64, Kernel
from meantide.voice.voices import Voice

HALF = 0.5
"""What the 99.9th percentile of the blocks stays under, as a share of their length."""
PART = 0.999
BLOCKS = 1000
"""The fewest that have a 99.9th percentile: one of them may take longer."""
MOST = 1024
"""No more notes than that are asked for at once."""
LEVEL_DB = -60.0
LOWEST_HZ, OCTAVES = 65.4, 5.0
"""The notes lie from C2 to C7, spread evenly however many there are."""
GOLDEN = 0.618034
STRUCK_A_BLOCK = 4
SETTLE_S = 0.2
FEW_BLOCKS = 40
AIM = 0.36
"""The median that is aimed at, as a share: room for the slowest of a thousand."""
NEAR = (0.3, 0.42)
FIRST_NOTES = 16
STEPS = 6
LOWER = 0.7
LOWERINGS = 3
BY_MEDIANS = "estimated by medians only"
RAISINGS = 2
HIGHER, RESERVE = 1.1, 0.95
"""A tenth more is worth another try; it is made with a twentieth less than seems possible."""


@dataclass(frozen=True, slots=True)
class Held:
    """How many notes of a voice are held in blocks of one size; shares are of a block's length."""

    voice: str
    block: int
    notes: int
    settled: bool
    why: str
    """Why it is not settled, or nothing."""
    median: float
    high: float
    """The 99.9th percentile, if a whole try was measured; else 0."""
    blocks: int


class Trial:
    """One engine with so many notes of a voice sounding, asked for blocks at their own pace."""

    def __init__(self, voice: Voice, notes: int, rate: int, block: int, kernel: Kernel) -> None:
        self._engine = Engine(rate, block, notes, kernel, thins=False)
        self._notes = notes
        self._block_s = block / rate
        self._out = np.zeros((2, block), np.float32)
        self._numbers = count()
        start = [
            Event(Kind.VOICE, value=self._engine.hand_over(voice)),
            Event(Kind.LEVEL, part=ALL_PARTS, amount=LEVEL_DB),
        ]
        self._engine.send(start)
        for _ in range(-(-notes // STRUCK_A_BLOCK) + round(SETTLE_S / self._block_s)):
            self._strike_missing()
            self._engine.fill(self._out)

    def run(self, blocks: int, most_over: int) -> tuple[F64, int]:
        """Return what blocks took of their length, shape (blocks,), and how many notes sounded.

        It ends early when more than `most_over` took half of it or more. Raises RuntimeError if
        the engine failed.
        """
        shares = np.zeros(blocks)
        sounding: NDArray[np.int64] = np.zeros(blocks, np.int64)
        over, due_s = 0, time.perf_counter()
        for turn in range(blocks):
            self._strike_missing()
            due_s = max(due_s + self._block_s, time.perf_counter())
            time.sleep(max(due_s - time.perf_counter(), 0.0))
            began_s = time.perf_counter()
            self._engine.fill(self._out)
            shares[turn] = (time.perf_counter() - began_s) / self._block_s
            sounding[turn] = self._engine.sounding
            over += shares[turn] >= HALF
            if over > most_over:
                blocks = turn + 1
                break
        if self._engine.health.errors:
            raise RuntimeError(self._engine.health.last_error)
        return shares[:blocks], int(np.median(sounding[:blocks]))

    def _strike_missing(self) -> None:
        """Strike notes anew in place of those that died away, a few a block as players do."""
        missing = min(self._notes - self._engine.sounding, STRUCK_A_BLOCK)
        self._engine.send([_note_on(next(self._numbers)) for _ in range(missing)])


def _note_on(number: int) -> Event:
    hz = LOWEST_HZ * 2.0 ** (OCTAVES * (number * GOLDEN % 1.0))
    return Event(Kind.NOTE_ON, note=number, pitch=Pitch(PitchKind.HERTZ, hz), amount=0.7)


Try = Callable[[int, int, int], tuple[F64, int]]
"""(notes, blocks, most over) -> what blocks took of their length, and how many notes sounded."""


def trier(voice: Voice, rate: int, block: int, kernel: Kernel) -> Try:
    """Return what tries numbers of notes of `voice` in an engine of this machine."""

    def attempt(notes: int, blocks: int, most_over: int) -> tuple[F64, int]:
        return Trial(voice, notes, rate, block, kernel).run(blocks, most_over)

    return attempt


def estimate(attempt: Try) -> tuple[int, float]:
    """Return the notes at which the median block comes nearest to `AIM`, and that median.

    What notes take is not quite in proportion to their number, so a straight line through the last
    two tries is followed, a few times.
    """
    before, before_share = 0, 0.0
    notes = FIRST_NOTES
    for _ in range(STEPS):
        share = float(np.median(attempt(notes, FEW_BLOCKS, FEW_BLOCKS)[0]))
        if NEAR[0] <= share <= NEAR[1] or (notes == MOST and share < AIM):
            break
        if notes == 1 and share > AIM:
            break
        slope = (share - before_share) / (notes - before) if notes != before else 0.0
        if slope <= 0.0:  # the machine was busier in the try with fewer
            slope = share / notes
        onward = notes + (AIM - share) / slope
        before, before_share = notes, share
        notes = int(min(max(onward, notes / 8, 1), notes * 8, MOST))
        if notes == before:
            break
    return notes, share


def settle(attempt: Try, voice: str, block: int, notes: int, median: float) -> Held:
    """Try `notes`, fewer until they are held, and then perhaps more; return what was found."""
    if notes == 1 and median >= HALF:  # not even one
        return Held(voice, block, 0, True, "", median, 0.0, FEW_BLOCKS)
    allowed = round(BLOCKS * (1.0 - PART))
    found = _held(attempt, voice, block, notes, allowed)
    asked = notes
    for _ in range(LOWERINGS):
        if found.settled or asked == 1:
            break
        asked = max(int(asked * LOWER), 1)
        found = _held(attempt, voice, block, asked, allowed)
    if not found.settled:
        why = "in every try more than one block in a thousand took over half its length"
        return Held(voice, block, notes, False, why, median, 0.0, 0)
    for _ in range(RAISINGS):
        more = min(int(asked * HALF / found.high * RESERVE), MOST)
        if more < HIGHER * asked:
            break
        higher = _held(attempt, voice, block, more, allowed)
        if not higher.settled:
            break
        found, asked = higher, more
    return found


def unsettled(voice: str, block: int, notes: int, median: float) -> Held:
    """Return an estimate by medians as what it is."""
    return Held(voice, block, notes, False, BY_MEDIANS, median, 0.0, 0)


def _held(attempt: Try, voice: str, block: int, notes: int, allowed: int) -> Held:
    shares, sounded = attempt(notes, BLOCKS, allowed)
    settled = len(shares) == BLOCKS and int(np.sum(shares >= HALF)) <= allowed
    high = float(np.sort(shares)[-1 - allowed]) if settled else 0.0
    return Held(
        voice, block, min(notes, sounded), settled, "", float(np.median(shares)), high, len(shares)
    )


@dataclass(frozen=True, slots=True)
class Choice:
    """A block size, and how many notes every voice of those measured holds in it."""

    block: int
    notes: int
    enough: bool
    """Whether that is as many as were wanted."""


def choose(found: Sequence[Held], wanted: int) -> Choice | None:
    """Return the smallest block in which every voice holds `wanted` notes, by settled figures.

    A voice that was only estimated counts where it is above one that was settled. If there is no
    such block, that in which the voice that holds the fewest holds the most; None if no block
    size is settled for every voice.
    """
    fewest: dict[int, int] = {}
    for block in sorted({each.block for each in found}):
        rows = [each for each in found if each.block == block]
        least = min((each.notes for each in rows if each.settled), default=MOST)
        if all(each.settled or (each.why == BY_MEDIANS and each.notes > least) for each in rows):
            fewest[block] = least
    if not any(fewest.values()):
        return None
    enough = [block for block, notes in fewest.items() if notes >= wanted]
    block = enough[0] if enough else max(fewest, key=lambda each: fewest[each])
    return Choice(block, fewest[block], bool(enough))
