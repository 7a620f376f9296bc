"""Where to measure: the steady stretches of a note, and the windows worth trying in each."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from meantide.offline.assay_sections import Section
from meantide.offline.partials import fitting_size
from meantide.offline.takelog_note import LoggedNote

ONSET_S = 0.015  # left out after a note's start: its attack is a click to its own partials
LONGEST_WINDOW_S = 4.0  # a longer stretch is measured at its beginning, middle and end
SHORTEST_WINDOW = 256  # samples
SHORT_STRETCH_S = 0.5  # a shorter one may borrow from the note's release
_CROSSINGS = ((0, 2), (1, 1), (3, 1), (8, 1))  # events let in, and how many windows to try
_HALVINGS = 5


@dataclass(frozen=True, slots=True)
class Steady:
    """A stretch of a note at one frequency: from `first` to `last`, in samples.

    The note is held throughout; `tail` is how far the frequency still stands after its release.
    Its partials are those of `spectrum`, or of its voice. Where it is not `told` how the note moves
    nothing can be said of it.
    """

    first: int
    last: int
    tail: int
    hz: float
    spectrum: str | None = None
    told: bool = True


@dataclass(frozen=True, slots=True)
class Window:
    """Samples `first` up to `last`, a length that is fast to transform."""

    first: int
    last: int


def steady_stretches(
    note: LoggedNote, sections: tuple[Section, ...], rate: int
) -> tuple[Steady, ...]:
    """Return the stretches between a note's onset and its release in which it does not glide."""
    onset = note.start + min(round(ONSET_S * rate), (note.release - note.start) // 4)
    found = []
    for section in sections:
        first = max(section.first, onset)
        last = min(section.last, note.release)
        if not section.steady or last <= first:
            continue
        told = section.last if note.told_until is None else note.told_until
        whole = Steady(first, last, section.last, section.low_hz, section.spectra[0])
        if told > first:
            found.append(replace(whole, last=min(last, told), tail=min(section.last, told)))
        if told < last:
            found.append(replace(whole, first=max(first, told), told=False))
    return tuple(found)


def zones(stretch: Steady, rate: int) -> tuple[Steady, ...]:
    """Return the parts of a stretch to be measured apart, each as long as a window may be.

    That is the stretch itself, its beginning and end if the two cover it, or with its middle too.
    """
    size = round(LONGEST_WINDOW_S * rate)
    length = stretch.last - stretch.first
    if length <= size:
        return (stretch,)
    starts = [stretch.first, stretch.last - size]
    if length > 2 * size:
        starts.insert(1, stretch.first + (length - size) // 2)
    return tuple(
        replace(stretch, first=start, last=start + size, tail=start + size) for start in starts
    )


def candidates(
    zone: Steady, events: Iterable[int], rate: int, *, dying: bool
) -> tuple[Window, ...]:
    """Return windows worth trying in a zone, the longest first.

    `events` are the samples where any other note starts, moves or stops: for each of a few numbers
    of events let in, the longest windows that have no more. Of a `dying` note also the
    beginning, halved and halved again, as its energy is there.
    """
    longest = round(LONGEST_WINDOW_S * rate)
    ends = [zone.last]
    if zone.last - zone.first < SHORT_STRETCH_S * rate and zone.tail > zone.last:
        ends += [(zone.last + zone.tail) // 2, zone.tail]
    spans: list[tuple[int, int]] = []
    for end in ends:
        points = sorted({zone.first, end, *(each for each in events if zone.first < each < end)})
        for crossed, tries in _CROSSINGS:
            pairs = list(zip(points, points[crossed + 1 :], strict=False))
            spans += sorted(pairs, key=lambda pair: pair[0] - pair[1])[:tries]
        spans.append((zone.first, end))
        if dying:
            size = min(end - zone.first, longest)
            spans += [(zone.first, zone.first + (size >> halved)) for halved in range(_HALVINGS)]
    fitted = {
        (first, first + fitting_size(min(last - first, longest)))
        for first, last in spans
        if last - first >= SHORTEST_WINDOW
    }
    ranked = sorted(fitted, key=lambda span: (span[0] - span[1], span[0]))
    return tuple(Window(first, last) for first, last in ranked)
