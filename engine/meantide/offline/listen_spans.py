"""Where in a recording tones sound, and where in a tone its pitch can be measured."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import Reals

QUIETEST_DB = -90.0  # RMS re full scale; under this a recording is silence

_HOP_S = 0.01
_FRAME_HOPS = 5  # 50 ms: one period of 20 Hz
_GATE_DB = 40.0  # under the loudest frame a recording is silent
_OVER_BACKGROUND_DB = 6.0
_STANDS_OUT_DB = 12.0  # loudest over quietest frames, from which the quiet ones are background
_SHORTEST_GAP_S = 0.1
_SHORTEST_TONE_S = 0.1
_ARRIVED_DB = 3.0  # under the middling level of a tone, where its attack is over
_LEFT_DB = 6.0  # the same, where its release has begun
_DYING_DB = 10.0  # a tone that loses more than this dies away
_DEAD_DB = 40.0
_MARGIN_S = 0.03
_MARGIN_SHARE = 8  # no margin takes more than this part of a tone


@dataclass(frozen=True, slots=True)
class Span:
    """Samples `first` up to `last`."""

    first: int
    last: int

    @property
    def size(self) -> int:
        """Its length in samples."""
        return self.last - self.first


@dataclass(frozen=True, slots=True)
class SteadyPart:
    """The samples of a tone without its attack and release; `dying` if its level falls away.

    `strong_last` is where a dying tone has lost 15 dB, for what needs its level.
    """

    span: Span
    strong_last: int
    dying: bool

    def from_sample(self, first: int) -> "SteadyPart":
        """Return the part from a later sample on."""
        return SteadyPart(Span(first, self.span.last), self.strong_last, self.dying)


def find_spans(samples: Reals, rate: int) -> tuple[Span, ...]:
    """Return where tones sound, cut at silences of 0.1 s or more; shorter tones are left out.

    Silent is what lies 40 dB under the loudest place, or within 6 dB of the background if there
    is one to be told from the tones.
    """
    level = _level_db(samples, rate)
    loudest = float(np.quantile(level, 0.98)) if len(level) else -np.inf
    if loudest < QUIETEST_DB:
        return ()
    background = float(np.quantile(level, 0.05))
    gate = max(level.max() - _GATE_DB, QUIETEST_DB)
    if loudest - background > _STANDS_OUT_DB:
        gate = max(gate, background + _OVER_BACKGROUND_DB)
    hop = round(_HOP_S * rate)
    found: list[Span] = []
    for first, last in _runs(level > gate):
        start, stop = first * hop, min(last * hop, len(samples))
        if found and start - found[-1].last < _SHORTEST_GAP_S * rate:
            found[-1] = Span(found[-1].first, stop)
        else:
            found.append(Span(start, stop))
    return tuple(span for span in found if span.size >= _SHORTEST_TONE_S * rate)


def steady_part(samples: Reals, rate: int, span: Span) -> SteadyPart:
    """Return the part of a tone, which sounds in `span`, in which its pitch can be measured."""
    level = _level_db(samples[span.first : span.last], rate)
    hop = round(_HOP_S * rate)
    margin = min(round(_MARGIN_S * rate), span.size // _MARGIN_SHARE)
    if len(level) < _FRAME_HOPS:
        whole = Span(span.first + margin, span.last - margin)
        return SteadyPart(whole, whole.last, dying=False)
    middling = float(np.median(level))
    arrived = int(np.argmax(level >= middling - _ARRIVED_DB))
    place = np.arange(len(level) - arrived)
    slope = np.polyfit(place, level[arrived:], 1)[0] if len(place) > 1 else 0.0
    dying = bool(slope * len(place) < -_DYING_DB)
    peak = float(level[arrived:].max())
    alive = level >= (peak - _DEAD_DB if dying else middling - _LEFT_DB)
    left = len(level) - int(np.argmax(alive[::-1]))
    first = span.first + arrived * hop + margin
    last = min(span.first + left * hop, span.last) - margin
    strong = last
    if dying:
        strong_hops = len(level) - int(np.argmax((level >= peak - 15.0)[::-1]))
        strong = min(span.first + strong_hops * hop, last)
    return SteadyPart(Span(first, max(last, first)), max(strong, first), dying)


def _level_db(samples: Reals, rate: int) -> Reals:
    """Return the RMS level about each hop of 10 ms, in dB, over 50 ms."""
    hop = round(_HOP_S * rate)
    count = len(samples) // hop
    power = np.mean(samples[: count * hop].reshape(count, hop) ** 2, axis=1)
    if count >= _FRAME_HOPS:
        padded = np.pad(power, _FRAME_HOPS // 2, mode="edge")
        power = np.convolve(padded, np.full(_FRAME_HOPS, 1.0 / _FRAME_HOPS), mode="valid")
    level: Reals = 10.0 * np.log10(np.maximum(power, 1e-30))
    return level


def _runs(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (first, last) of each run of marked places, `last` not included."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], marked, [False]]).astype(np.int8)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]
