"""The lines of a tone, the lines that are not its, and what else sounds by them."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meantide.offline.listen_fundamental import Comb, find_comb
from meantide.offline.listen_peaks import Peaks, find_peaks
from meantide.offline.listen_track import Vibrato
from meantide.offline.partials import MAIN_LOBE_BINS, Reals

SWINGING_CENTS = 2.0  # a vibrato from which partials are no lines to be measured in one piece
_RIVAL_DB = -30.0  # over the strongest partial; what is fainter is no second tone
_SWING_HZ = 15.0  # vibrato and tremolo put side lines so near to a partial
_SIDES = 3.5  # swings a second: how far about a partial its side lines count
_MIRRORED = 4.0  # one side line over the other, in amplitude


@dataclass(frozen=True, slots=True)
class ToneLines:
    """The lines of a stretch, the comb of a tone among them, and the lines that are not its."""

    peaks: Peaks
    comb: Comb
    others: Peaks

    @property
    def own(self) -> Peaks:
        """The lines of the tone."""
        return self.peaks.only(self.comb.lines)


@dataclass(frozen=True, slots=True)
class RivalLines:
    """A second comb, of lines of the first one's `others`, and its level in dB over the first."""

    comb: Comb
    level_db: float


def lines_in_full(zone: Reals, rate: int, comb: Comb, peaks: Peaks) -> ToneLines:
    """Return the lines of the whole zone, the comb among them, and the lines that are not its."""
    full = find_peaks(zone, rate)
    numbers, lines = [], []
    for number, line in zip(comb.numbers, comb.lines, strict=True):
        expected = peaks.hz[line]
        near = np.abs(full.hz - expected) <= max(2.0 * peaks.bin_hz, 0.003 * expected)
        near &= np.abs(full.hz - expected) < 0.4 * comb.hz
        if near.any():
            places = np.flatnonzero(near)
            numbers.append(int(number))
            lines.append(int(places[np.argmax(full.amplitude[places])]))
    own = np.zeros(len(full), dtype=np.bool_)
    own[lines] = True
    if not numbers:
        return ToneLines(peaks, comb, peaks.only(np.zeros(len(peaks), dtype=np.bool_)))
    found = Comb(comb.hz, comb.stiffness, np.array(numbers), np.array(lines), comb.score)
    return ToneLines(full, found, full.only(~own))


def find_rival(lines: ToneLines) -> RivalLines | None:
    """Return a second tone among the lines that are not the first's."""
    own_hz, own = lines.own.hz, lines.own.amplitude
    others = lines.others
    loud = others.amplitude > own.max() * 10.0 ** (_RIVAL_DB / 20.0)
    loud &= ~_side_lines(own_hz, others)
    second = find_comb(others.only(loud))
    if second is None:
        return None
    second = replace(second, lines=np.flatnonzero(loud)[second.lines])
    power = float(np.sum(others.amplitude[second.lines] ** 2) / np.sum(own**2))
    return RivalLines(second, 10.0 * float(np.log10(power)))


def with_hidden(lines: ToneLines, rival: RivalLines | None) -> Peaks:
    """Return the lines that are not the tone's, and those of a rival that its own lines hide.

    A partial of the rival within the main lobe of one of the tone's makes no peak of its own, but
    pushes that one all the same. It is taken to be as strong, over the tone's, as the strongest
    that does show.
    """
    others, own = lines.others, lines.own
    if rival is None:
        return others
    highest = np.floor(own.hz[-1] / rival.comb.hz) + 1.0
    hz = rival.comb.partial_hz(np.arange(1.0, highest + 1.0))
    distance = np.abs(hz[:, None] - own.hz[None, :])
    nearest = np.argmin(distance, axis=1)
    shown = np.abs(hz[:, None] - others.hz[None, :]).min(axis=1) <= 0.5 * others.bin_hz
    hidden = (distance.min(axis=1) < MAIN_LOBE_BINS * others.bin_hz) & ~shown
    theirs = others.only(rival.comb.lines)
    beside = np.argmin(np.abs(theirs.hz[:, None] - own.hz[None, :]), axis=1)
    share = min(float(np.max(theirs.amplitude / own.amplitude[beside])), 1.0)
    return Peaks(
        np.concatenate([others.hz, hz[hidden]]),
        np.concatenate([others.amplitude, share * own.amplitude[nearest[hidden]]]),
        others.bin_hz,
    )


def is_beating(lines: ToneLines, rival: RivalLines | None, vibrato: Vibrato) -> bool:
    """Say whether a swing of the pitch is the beating of another tone near by.

    Two tones are two lines; a vibrato is at least three, of which the second and third are alike.
    """
    if rival is None:
        return False
    if vibrato.width_cents <= SWINGING_CENTS:
        return True
    peaks, own = lines.peaks, lines.own
    strongest = own.hz[np.argmax(own.amplitude)]
    near = np.abs(peaks.hz - strongest) <= _SIDES * vibrato.rate_hz
    ranked = np.sort(peaks.amplitude[near])[::-1]
    return len(ranked) == 2 or (len(ranked) > 2 and bool(ranked[2] * _MIRRORED < ranked[1]))


def _side_lines(own_hz: Reals, others: Peaks) -> NDArray[np.bool_]:
    """Say which lines are one of a pair about a partial, as vibrato and tremolo make them."""
    offset = others.hz[:, None] - own_hz[None, :]
    nearest = offset[np.arange(len(others)), np.argmin(np.abs(offset), axis=1)]
    side = np.zeros(len(others), dtype=np.bool_)
    for place, off in enumerate(nearest):
        if abs(off) > _SWING_HZ:
            continue
        mirror = np.abs(others.hz - (others.hz[place] - 2.0 * off)) <= 2.0 * others.bin_hz
        ratio = others.amplitude[mirror] / others.amplitude[place]
        side[place] = bool(np.any((ratio > 1.0 / _MIRRORED) & (ratio < _MIRRORED)))
    return side
