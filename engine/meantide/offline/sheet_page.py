"""What a picture of a tuning shows: its notes, the just ratios beside them, and how they fit.

No drawing here: `plan` chooses the page's direction, how often the ruler is folded, the size of the
type and, where not all notes can be labelled, which are. Lengths are millimetres, type is points.
"""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from meantide.offline.tuning_sheet import note_text, own_ratio, tuner_reading
from meantide.pitch import Tuning
from meantide.pitch.nearness.numbers import largest_prime

POINT_MM = 25.4 / 72
LEAST_POINTS = 12.0
"""Of anything on the page. Capitals are 0.73 of that, 3.1 mm, or 5.3 minutes of arc at two metres;
normal sight reads letters of 5 (the 6/6 line of an eye chart; from memory)."""
SMALLER = 0.8  # the numbers' type, of that of the names
LEAST_NAME_POINTS = LEAST_POINTS / SMALLER
EASY_POINTS = 24.0  # for names; beyond it an uncut ruler is worth more than larger type
MOST_POINTS = 40.0
CELL_SPACE = 0.5  # between the cells of a label, in heights of the names' type
LINE = 1.25  # from one line to the next, in heights of type
A4_MM = (210.0, 297.0)
MARGIN_MM = 10.0
HEAD_MM, FOOT_MM = 36.0, 14.0  # above and below the rulers
GUTTER_MM = 7.0  # between rulers
LANE_MM, SCALE_MM = 4.5, 14.0  # where marks stand on either side, and the cents between them
LEADER_MM = 8.0  # from the marks to the labels
FOLDS = (1, 2, 3)
RATIO_LIMIT, RATIO_SIZE = 7, 240  # the largest prime, and numerator times denominator up to 16/15
RATIOS_APART = 1 / 66  # of the ruler, so that leaders can be told apart: 18 cents of an octave
MOST_RATIOS = 24

MOST_LABELS = 100  # more never fit
DECIMALS = ((1, 2), (1, 1), (0, 1), (0, 0))  # of the cents and the Hz, the best first

Width = Callable[[str, bool], float]
"""The width of a text, bold or not, in heights of its type."""


@dataclass(frozen=True, slots=True)
class Note:
    """One note: its height above the first in cents, and the words and numbers of its label."""

    degree: int
    cents: float
    cells: tuple[str, str, str]
    anchored: bool


@dataclass(frozen=True, slots=True)
class Ratio:
    """A just ratio beside the scale, by its height above the first note."""

    cents: float
    text: str
    weight: int
    """Numerator times denominator times the largest prime: 16/15 comes before 15/14."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page as planned; `labelled` and `ratios` rise, and `notes` are all there are."""

    landscape: bool
    folds: int
    points: float
    notes: tuple[Note, ...]
    labelled: tuple[Note, ...]
    ratios: tuple[Ratio, ...]
    headings: tuple[str, str, str]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Its width and height."""
        return (A4_MM[1], A4_MM[0]) if self.landscape else A4_MM

    @property
    def span_cents(self) -> float:
        """From the first note to the last; 100 at least, so that there is a ruler."""
        return max(100.0, self.notes[-1].cents)

    def fold_of(self, cents: float) -> int:
        """Return the ruler that a height falls on, the last one's upper end included."""
        return min(self.folds - 1, int(cents * self.folds / self.span_cents))


def plan(tuning: Tuning, degrees: Iterable[int], tuner_hz: float | None, width: Width) -> Page:
    """Return the page that shows `degrees` in the largest type.

    The numbers are cents above the first, or what a tuner shows if `tuner_hz` is given, and Hz;
    they get fewer decimals where that is what it takes to label every note. Where nothing does,
    the first, the last and the anchored note are labelled, and those nearest to the ratios.
    """
    rising = sorted(set(degrees))
    named = tuning.name_of_degree(rising[0]) is not None
    headings = ("note" if named else "degree", "cents" if tuner_hz is None else "tuner", "Hz")
    ratios = _ratios(tuning, rising)

    def largest(notes: tuple[Note, ...], labelled: tuple[Note, ...]) -> Page:
        pages = _pages(notes, labelled, ratios, headings, width)
        return max(
            pages, key=lambda page: (min(page.points, EASY_POINTS), -page.folds, page.points)
        )

    for decimals in DECIMALS if len(rising) <= MOST_LABELS else ():
        notes = _notes(tuning, rising, tuner_hz, decimals)
        page = largest(notes, notes)
        if page.points >= LEAST_NAME_POINTS:
            return page
    notes = _notes(tuning, rising, tuner_hz, DECIMALS[0])
    chosen = _by_weight(notes, ratios)
    while True:
        page = largest(notes, tuple(sorted(chosen, key=lambda note: note.cents)))
        if page.points >= LEAST_NAME_POINTS or len(chosen) == 1:
            return page
        chosen.pop()


def _notes(
    tuning: Tuning, rising: Sequence[int], tuner_hz: float | None, decimals: tuple[int, int]
) -> tuple[Note, ...]:
    """Return the notes with their labels, the numbers with so many decimals."""
    first = tuning.scale.interval(rising[0])
    notes = []
    for degree in rising:
        cents = (tuning.scale.interval(degree) - first).cents
        shown = f"{cents:.{decimals[0]}f}"
        if tuner_hz is not None:
            note, off = tuner_reading(tuning, tuning.interval_of_degree(degree), tuner_hz)
            signed = f"{round(off, decimals[0]) + 0.0:+.{decimals[0]}f}"
            shown = f"{note} {signed}".replace("-", "−")  # a hyphen is lost at two metres
        name = note_text(tuning, degree) or str(degree)
        hz = f"{tuning.hz_of_degree(degree):.{decimals[1]}f}"
        notes.append(Note(degree, cents, (name, shown, hz), degree == tuning.anchor_degree))
    return tuple(notes)


def _ratios(tuning: Tuning, rising: Sequence[int]) -> tuple[Ratio, ...]:
    """Return the ratios that stand beside the notes: the scale's own first, then the simplest."""
    first = tuning.scale.interval(rising[0])
    heights = [tuning.scale.interval(degree) - first for degree in rising]
    own = [_ratio(height.cents, *found) for height in heights if (found := own_ratio(height))]
    simple = [
        _ratio(1200 * math.log2(above / below), above, below)
        for below in range(1, math.isqrt(RATIO_SIZE) + 1)
        for above in range(below, RATIO_SIZE // below + 1)
        if math.gcd(above, below) == 1 and largest_prime(above, below) <= RATIO_LIMIT
    ]
    span = heights[-1].cents
    chosen: list[Ratio] = []
    for ratio in sorted(own, key=_weight) + sorted(simple, key=_weight):
        apart = all(abs(ratio.cents - other.cents) >= span * RATIOS_APART for other in chosen)
        if apart and ratio.cents <= span + 1e-6 and len(chosen) < MOST_RATIOS:
            chosen.append(ratio)
    return tuple(sorted(chosen, key=lambda ratio: ratio.cents))


def _weight(ratio: Ratio) -> int:
    """Return what simple ratios have least of."""
    return ratio.weight


def _ratio(cents: float, above: int, below: int) -> Ratio:
    """Return a ratio in lowest terms."""
    weight = above * below * largest_prime(above, below)
    return Ratio(cents, f"{above}/{below}", weight)


def _pages(
    notes: tuple[Note, ...],
    labelled: tuple[Note, ...],
    ratios: tuple[Ratio, ...],
    headings: tuple[str, str, str],
    width: Width,
) -> list[Page]:
    """Return each way to fold and turn the page, with the largest type that it allows."""
    pages = []
    for folds in FOLDS:
        for landscape in (False, True):
            page = Page(landscape, folds, MOST_POINTS, notes, labelled, ratios, headings)
            points = min(MOST_POINTS, _by_width(page, width), _by_height(page))
            pages.append(replace(page, points=points))
    return pages


def _by_width(page: Page, width: Width) -> float:
    """Return the type with which ratios, ruler and labels stand side by side."""
    em = sum(cell_widths(page, width)) + SMALLER * ratio_width(page, width)
    return (fold_width_mm(page) - 2 * LANE_MM - SCALE_MM - 2 * LEADER_MM) / (em * POINT_MM)


def _by_height(page: Page) -> float:
    """Return the type with which the fullest ruler's labels and ratios stand on one another."""
    most = max(
        count * size
        for things, size in ((page.labelled, 1.0), (page.ratios, SMALLER))
        for count in _counts(page, things)
    )
    return ruler_mm(page) / (max(most, 1.0) * LINE * POINT_MM)


def _counts(page: Page, things: Sequence[Note] | Sequence[Ratio]) -> list[int]:
    """Return how many things each ruler bears."""
    folds = [page.fold_of(thing.cents) for thing in things]
    return [folds.count(fold) for fold in range(page.folds)]


def fold_width_mm(page: Page) -> float:
    """Return the width that one ruler with its labels may take."""
    return (page.size_mm[0] - 2 * MARGIN_MM - (page.folds - 1) * GUTTER_MM) / page.folds


def ruler_mm(page: Page) -> float:
    """Return the height of the rulers."""
    return page.size_mm[1] - 2 * MARGIN_MM - HEAD_MM - FOOT_MM


def cell_widths(page: Page, width: Width) -> tuple[float, float, float]:
    """Return the widths of a label's cells with the spaces between, in heights of names' type.

    The headings above them are at least as small against the names as the numbers are.
    """
    name, *numbers = (
        max(width(note.cells[cell], cell == 0) for note in page.labelled) for cell in range(3)
    )
    over = [SMALLER * width(heading, False) for heading in page.headings]
    return (
        max(name, over[0]) + CELL_SPACE,
        max(SMALLER * numbers[0], over[1]) + CELL_SPACE,
        max(SMALLER * numbers[1], over[2]),
    )


def ratio_width(page: Page, width: Width) -> float:
    """Return the width of the widest ratio, in heights of its type."""
    return max(width(ratio.text, False) for ratio in page.ratios)


def _by_weight(notes: Sequence[Note], ratios: Iterable[Ratio]) -> list[Note]:
    """Return notes worth a label: first, last, anchored, then those nearest to simple ratios."""
    heights = [note.cents for note in notes]
    worthy = [notes[0], notes[-1], *(note for note in notes if note.anchored)]
    for ratio in sorted(ratios, key=_weight):
        place = bisect_left(heights, ratio.cents)
        beside = notes[max(place - 1, 0) : place + 1]
        worthy.append(min(beside, key=lambda note: abs(note.cents - ratio.cents)))
    return list(dict.fromkeys(worthy))
