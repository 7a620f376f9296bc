"""The notes of a recording, several at a time, with no log to help.

In windows of 0.4 s, each half over the last, lines are gone through from the lowest: one that is no
whole multiple of a note already found is a note, and its multiples are its partials. Notes that
last from window to window are one. What hides in a lower note, an octave or a twelfth above it, is
not told apart from its partials: a scale repeats at such intervals, mostly, so little is lost.
Sounds whose partials are no whole multiples (bells, bars) make lone lines of their partials, which
are marked as doubtful beside a louder note.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meantide.errors import CheckFailed
from meantide.offline.listen_fundamental import Comb
from meantide.offline.listen_partials import measure_pitch
from meantide.offline.listen_peaks import Peaks, find_peaks
from meantide.offline.partials import Reals

WINDOW_S = 0.4
FEWEST_WINDOWS = 2
LOWEST_HZ, HIGHEST_HZ = 30.0, 5000.0
_FAINTEST_DB = -50.0  # lines, re the strongest of a window
_FAINTEST_NOTE_DB = -26.0  # notes, re the strongest line of a window
_SILENT_DB = -40.0  # windows, re the loudest
_MULTIPLE_CENTS = 14.0  # a partial may lie so far from its whole multiple, and a bin's share more
_SAME_CENTS = 20.0  # from window to window
_MOST_NOTES = 12
_LOUDER_DB = 3.0
_TELLING_PARTIALS = 4  # where lines are dense, some lie near higher multiples by chance
_MOST_PARTIALS = 64
_OF_SPACING = 0.3  # no line is a partial that lies further from it, of the way to the next
_ASTRAY = 3.5  # robust standard deviations
_MAD_OF_NORMAL = 1.4826
_LEAST_DOUBT_CENTS = 1e-4


@dataclass(frozen=True, slots=True)
class HeardNote:
    """A note heard from `start_s` to `end_s`; its uncertainty is a standard deviation.

    `level_db` is the first partial's, re a sine of amplitude 1; `windows` how many tell of it, and
    `partials` how many of its first four are lines of its own, in the middling one. `companion`
    says that a note 3 dB louder sounds where it begins: a lone line beside one may be a partial of
    a bell or a bar.
    """

    start_s: float
    end_s: float
    hz: float
    uncertainty_cents: float
    level_db: float
    windows: int
    partials: int
    companion: bool = False

    @property
    def doubtful(self) -> bool:
        """Tell whether it may be no note but a partial of another."""
        return self.companion and self.partials == 1


@dataclass(frozen=True, slots=True)
class _Glimpse:
    """A note in one window."""

    window: int
    hz: float
    doubt_cents: float
    amplitude: float
    partials: int


def heard_notes(samples: Reals, rate: int) -> tuple[HeardNote, ...]:
    """Return the notes in mono `samples` (frames,) float64, by their beginnings.

    Raises CheckFailed if there are none.
    """
    samples = samples - samples.mean() if len(samples) else samples
    size = round(WINDOW_S * rate)
    hop = size // 2
    starts = range(0, max(len(samples) - size, -1) + 1, hop)
    power = [float(np.mean(samples[at : at + size] ** 2)) for at in starts]
    loudest = max(power, default=0.0)
    if loudest <= 0.0:
        raise CheckFailed(f"there is only silence, or nothing as long as {WINDOW_S:g} s")
    open_notes: list[list[_Glimpse]] = []
    ended: list[list[_Glimpse]] = []
    for window, at in enumerate(starts):
        loud = power[window] > loudest * 10.0 ** (_SILENT_DB / 10.0)
        found = _glimpses(samples[at : at + size], rate, window) if loud else []
        ended += [note for note in open_notes if note[-1].window < window - 1]
        open_notes = [note for note in open_notes if note[-1].window >= window - 1]
        for glimpse in found:
            _join(open_notes, glimpse)
    notes = [
        _note(each, hop / rate) for each in [*ended, *open_notes] if len(each) >= FEWEST_WINDOWS
    ]
    if not notes:
        raise CheckFailed("no note is to be found that lasts: only noise, or it is too unsteady")
    marked = [replace(note, companion=_has_companion(note, notes)) for note in notes]
    return tuple(sorted(marked, key=lambda note: (note.start_s, note.hz)))


def _join(notes: list[list[_Glimpse]], glimpse: _Glimpse) -> None:
    """Add a glimpse to the note that it goes on with, or begin a new one."""
    near = [
        (abs(1200.0 * math.log2(glimpse.hz / note[-1].hz)), place)
        for place, note in enumerate(notes)
        if note[-1].window < glimpse.window
    ]
    apart, place = min(near, default=(math.inf, 0))
    if apart <= _SAME_CENTS:
        notes[place].append(glimpse)
    else:
        notes.append([glimpse])


def _glimpses(samples: Reals, rate: int, window: int) -> list[_Glimpse]:
    """Return the notes of one window."""
    peaks = find_peaks(samples, rate, _FAINTEST_DB)
    if not len(peaks):
        return []
    least = float(peaks.amplitude.max()) * 10.0 ** (_FAINTEST_NOTE_DB / 20.0)
    free = np.ones(len(peaks), dtype=np.bool_)
    found: list[_Glimpse] = []
    for line in range(len(peaks)):
        hz = float(peaks.hz[line])
        loud = peaks.amplitude[line] >= least
        if not (free[line] and loud and LOWEST_HZ <= hz <= HIGHEST_HZ):
            continue
        comb = _comb(peaks, line)
        others = np.ones(len(peaks), dtype=np.bool_)
        others[comb.lines] = False
        own = int(np.sum(free[comb.lines] & (comb.numbers <= _TELLING_PARTIALS)))
        free[comb.lines] = False
        pitch = measure_pitch(samples, rate, comb, peaks, peaks.only(others), dying=False)
        if pitch is not None:
            amplitude = float(peaks.amplitude[line])
            found.append(_Glimpse(window, pitch.hz, pitch.uncertainty_cents, amplitude, own))
        if len(found) == _MOST_NOTES:
            break
    return found


def _comb(peaks: Peaks, line: int) -> Comb:
    """Return the line and all that lie near its whole multiples."""
    hz = float(peaks.hz[line])
    number = np.rint(peaks.hz / hz)
    with np.errstate(divide="ignore"):
        off = np.abs(1200.0 * np.log2(peaks.hz / np.maximum(hz * number, 1e-9)))
    bin_cents = 1731.0 * 0.3 * peaks.bin_hz / peaks.hz
    spacing_cents = 1731.0 / np.maximum(number, 1.0)
    limit = np.minimum(_MULTIPLE_CENTS + bin_cents, _OF_SPACING * spacing_cents)
    near = (number >= 2) & (number <= _MOST_PARTIALS) & (off <= limit)
    chosen = {1: line}
    for place in np.flatnonzero(near).tolist():
        each = int(number[place])
        if each not in chosen or off[place] < off[chosen[each]]:
            chosen[each] = place
    numbers = np.array(sorted(chosen), dtype=np.int64)
    lines = np.array([chosen[int(each)] for each in numbers], dtype=np.int64)
    return Comb(hz, 0.0, numbers, lines, 1.0)


def _note(glimpses: Sequence[_Glimpse], hop_s: float) -> HeardNote:
    """Return one note of many glimpses: their weighted mean, those astray left out.

    Its doubt is that of the mean of windows that share half their samples, or what they scatter
    by, whichever is more.
    """
    reference = glimpses[0].hz
    cents = np.array([1200.0 * math.log2(each.hz / reference) for each in glimpses])
    doubt = np.array([max(each.doubt_cents, _LEAST_DOUBT_CENTS) for each in glimpses])
    middle = float(np.median(cents))
    spread = _MAD_OF_NORMAL * float(np.median(np.abs(cents - middle)))
    kept = np.abs(cents - middle) <= _ASTRAY * np.hypot(spread, doubt)
    if not kept.any():
        kept[:] = True
    weight = 1.0 / doubt[kept] ** 2
    mean = float(np.sum(weight * cents[kept]) / weight.sum())
    count = int(kept.sum())
    told = math.sqrt(2.0 / float(weight.sum()))
    scattered = 0.0
    if count > 1:
        variance = float(np.sum(weight * (cents[kept] - mean) ** 2) / weight.sum())
        scattered = math.sqrt(2.0 * variance / (count - 1))
    loudest = max(each.amplitude for each in glimpses)
    return HeardNote(
        glimpses[0].window * hop_s,
        (glimpses[-1].window + 2) * hop_s,
        reference * 2.0 ** (mean / 1200.0),
        max(told, scattered),
        20.0 * math.log10(loudest),
        len(glimpses),
        int(np.median([each.partials for each in glimpses])),
    )


def _has_companion(note: HeardNote, notes: Sequence[HeardNote]) -> bool:
    """Tell whether a louder note sounds where `note` begins."""
    return any(
        other.level_db >= note.level_db + _LOUDER_DB
        and other.start_s <= note.start_s + WINDOW_S
        and other.end_s > note.start_s
        for other in notes
    )
