"""A comparison: takes of one piece, what changes from the first to each other, and their turns."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from meantide.offline.matched_takes import MatchedTake
from meantide.offline.take_moves import TakeMoves, moves_between
from meantide.offline.turns import Turn

Kind = Literal["same", "anchor", "scale", "scale and anchor"]


@dataclass(frozen=True, slots=True)
class TakeChange:
    """From the first take to another: what its tuning changes, and what moves for it."""

    kind: Kind
    moves: TakeMoves


@dataclass(frozen=True, slots=True)
class Comparison:
    """Takes, the changes from the first to each of the rest, and the file of turns.

    `seed` is that of the shuffle, or None.
    """

    title: str
    takes: tuple[MatchedTake, ...]
    changes: tuple[TakeChange, ...]
    turns: tuple[Turn, ...]
    seed: int | None


def compared(takes: Sequence[MatchedTake], turns: Sequence[Turn], seed: int | None) -> Comparison:
    """Set takes side by side; the first is what the others are compared with."""
    first = takes[0]
    changes = tuple(
        TakeChange(_kind(first, take), moves_between(first.log, take.log)) for take in takes[1:]
    )
    return Comparison(first.log.title, tuple(takes), changes, tuple(turns), seed)


def label(take: MatchedTake) -> str:
    """Return a take's tuning in a few words."""
    anchor = take.tuning.anchor
    place = anchor.degree if anchor.note is None else anchor.note
    return f"{take.tuning.scale.label}, {place}={anchor.hz:.6g} Hz"


def _kind(first: MatchedTake, other: MatchedTake) -> Kind:
    scale = first.tuning.scale != other.tuning.scale
    a, b = first.tuning.anchor, other.tuning.anchor
    anchor = (a.hz, a.note, a.degree) != (b.hz, b.note, b.degree)
    if scale:
        return "scale and anchor" if anchor else "scale"
    return "anchor" if anchor else "same"
