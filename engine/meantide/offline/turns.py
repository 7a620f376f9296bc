"""One file that plays several takes in turn, phrase by phrase, for a listening test."""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from meantide.offline.takelog import TakeLog
from meantide.whole_file import whole_file

SHORTEST_S, LONGEST_S = 3.0, 10.0
"""Of a phrase: nothing shorter, if it can be helped, and nothing longer."""
BETWEEN_TAKES_S, BETWEEN_PHRASES_S = 0.5, 1.2
_FADE_IN_S, _FADE_OUT_S = 0.005, 0.06


@dataclass(frozen=True, slots=True)
class Turn:
    """One take's turn at a phrase: where it lies in the file, and in the take, in s."""

    phrase: int
    take: int
    start_s: float
    end_s: float
    from_s: float


def phrases_of(log: TakeLog) -> list[tuple[int, int]]:
    """Return the samples (first, last) of phrases, 3 to 10 s long if the piece allows.

    A phrase begins where a note does: if there is one when none of the earlier ones is held, at
    the first such; else at the one over which the fewest are held, the latest of equals.
    """
    least, most = round(SHORTEST_S * log.rate), round(LONGEST_S * log.rate)
    onsets = sorted({note.start for note in log.notes})
    cuts = [onsets[0]]
    end = max(note.release for note in log.notes)
    while end - cuts[-1] > most:
        near = [at for at in onsets if cuts[-1] + least <= at <= cuts[-1] + most]
        if not near:
            later = [at for at in onsets if at > cuts[-1] + most]
            if not later:
                break
            cuts.append(later[0])
            continue
        held = {at: sum(note.start < at < note.release for note in log.notes) for at in near}
        clean = [at for at in near if not held[at]]
        cuts.append(clean[0] if clean else min(near, key=lambda at: (held[at], -at)))
    return list(zip(cuts, [*cuts[1:], log.frames], strict=True))


def order_of(takes: int, phrases: int, seed: int | None) -> list[list[int]]:
    """Return which take plays when, phrase by phrase; with a seed each phrase's are shuffled."""
    orders = [list(range(takes)) for _ in range(phrases)]
    if seed is not None:
        chance = random.Random(seed)  # noqa: S311  a test of ears, not of secrets
        for order in orders:
            chance.shuffle(order)
    return orders


def write_turns(
    out: Path, takes: Sequence[tuple[Path, TakeLog]], seed: int | None
) -> tuple[Turn, ...]:
    """Write the takes in turn to a 24-bit WAV file `out`; return the turns, in order.

    All takes are of one score at one rate, so a phrase is at the same samples in each. What rings
    on after a phrase is faded out within 60 ms.
    """
    rate = takes[0][1].rate
    phrases = phrases_of(takes[0][1])
    turns: list[Turn] = []
    written = 0
    with whole_file(out) as partial, soundfile.SoundFile(
        partial, "w", rate, 2, "PCM_24", format="WAV"
    ) as file:  # fmt: skip
        for phrase, order in enumerate(order_of(len(takes), len(phrases), seed)):
            for place, take in enumerate(order):
                piece = _piece(takes[take][0], *phrases[phrase], rate)
                gap_s = BETWEEN_TAKES_S if place + 1 < len(order) else BETWEEN_PHRASES_S
                file.write(piece)
                file.write(np.zeros((round(gap_s * rate), 2), np.float32))
                start_s, from_s = written / rate, phrases[phrase][0] / rate
                turns.append(Turn(phrase, take, start_s, start_s + len(piece) / rate, from_s))
                written += len(piece) + round(gap_s * rate)
    return tuple(turns)


def _piece(wav: Path, first: int, last: int, rate: int) -> np.ndarray:
    """Return samples (frames, 2) of a take, faded in and out."""
    with soundfile.SoundFile(wav) as file:
        file.seek(min(first, file.frames))
        piece: np.ndarray = file.read(last - first, dtype="float32", always_2d=True)
    rise, fall = (min(round(each * rate), len(piece)) for each in (_FADE_IN_S, _FADE_OUT_S))
    if first:
        piece[:rise] *= np.linspace(0.0, 1.0, rise, dtype=np.float32)[:, None]
    if fall:
        piece[-fall:] *= np.linspace(1.0, 0.0, fall, dtype=np.float32)[:, None]
    return piece
