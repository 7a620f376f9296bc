"""What else sounds in a stretch, as the take's log tells it, and how far it can push a reading.

Every other partial adds A_j W(distance) to the transform of the one being measured. A steady one
reaches it only through the window's lobes; one that starts, moves or stops inside the stretch
also through the edge it cuts into the window, whose spectrum falls as 1/distance for a step and
1/distance^2 for a bend. Each is bounded by its envelope; nothing counts on a null of the window.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from meantide.offline.partials import TERMS, Reals, window_at
from meantide.offline.takelog import LoggedNote, LoggedPartial, TakeLog

_TABLE_BINS = 400
_TABLE_STEP = 16  # entries a bin
_DEATHS = (0.0, 2.0, 4.0, 7.0, 10.0, 14.0, 20.0, 28.0)  # nepers lost along the window
_LN_60_DB = 3.0 * np.log(10.0)  # nepers in 60 dB
_STEEPEST = 1.5 * _LN_60_DB  # a release may fall by 90 dB until the note is silent
_IMAGE_BINS = 60.0  # a line this far above 0 Hz is not reached by its own mirror image
_LEAST_DISTANCE = 0.25  # bins; nearer than this an edge is no longer told from the line


@dataclass(frozen=True, slots=True)
class Section:
    """Between the samples `first` and `last` a note's frequency stays in `low_hz`..`high_hz`."""

    first: int
    last: int
    low_hz: float
    high_hz: float

    @property
    def steady(self) -> bool:
        """Say whether the frequency stands still."""
        return self.low_hz == self.high_hz


def sections(note: LoggedNote) -> tuple[Section, ...]:
    """Cut a note's life, from start to end, where its frequency begins or ceases to move."""
    found: list[Section] = []
    now_hz = note.pitches[0].hz
    for place, pitch in enumerate(note.pitches):
        later = note.pitches[place + 1].sample if place + 1 < len(note.pitches) else note.end
        stop = min(later, note.end)
        glide_end = min(pitch.sample + pitch.glide_samples, stop)
        if glide_end > pitch.sample and pitch.hz != now_hz:
            reached = (glide_end - pitch.sample) / pitch.glide_samples
            next_hz = pitch.hz if reached == 1.0 else now_hz * (pitch.hz / now_hz) ** reached
            low, high = sorted((now_hz, next_hz))
            found.append(Section(pitch.sample, glide_end, low, high))
            now_hz = next_hz
        else:
            glide_end = pitch.sample
        if stop > glide_end:
            now_hz = pitch.hz
            before = found[-1] if found else None
            if before and before.steady and before.low_hz == now_hz and before.last == glide_end:
                found[-1] = Section(before.first, stop, now_hz, now_hz)
            else:
                found.append(Section(glide_end, stop, now_hz, now_hz))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Voice:
    """The partials of a voice as arrays: ratio, amplitude over the note's, nepers lost a second."""

    ratio: Reals
    gain: Reals
    loss: Reals

    @classmethod
    def of(cls, partials: tuple[LoggedPartial, ...]) -> "Voice":
        """Take the partials of a log."""
        return cls(
            np.array([each.ratio for each in partials], dtype=np.float64),
            10.0 ** (np.array([each.level_db for each in partials], dtype=np.float64) / 20.0),
            np.array(
                [_LN_60_DB / each.decay_s if each.decay_s else 0.0 for each in partials],
                dtype=np.float64,
            ),
        )


@dataclass(frozen=True, slots=True)
class Crowd:
    """All lines sounding in a stretch, one entry each; edges are in units of the window's length.

    `note` is the place of the note in the log, `partial` its partial, `amplitude` the greatest it
    has in the stretch. `step[k]` is the sum of the window's k-th derivative where the line begins,
    moves or ceases to move; `bend[k]` where it is let go, to fall silent within `fade`. `death`
    says by how many nepers a line dies along the window.
    """

    note: NDArray[np.int64]
    partial: NDArray[np.int64]
    low_hz: Reals
    high_hz: Reals
    amplitude: Reals
    step: tuple[Reals, Reals, Reals]
    bend: tuple[Reals, Reals, Reals]
    fade: Reals
    death: Reals


@dataclass(frozen=True, slots=True)
class Pressure:
    """What the crowd does to a set of lines: arrays (lines, crowd).

    `leak` is the amplitude it may add at each; `push` that amplitude as it moves the frequency, in
    amplitude times bins: over the line's own amplitude it is the error's bound in bins.
    """

    leak: Reals
    push: Reals

    @property
    def all_leak(self) -> Reals:
        """Return what all lines may add together, in whatever phase: the plain sum."""
        total: Reals = self.leak.sum(axis=1)
        return total

    @property
    def all_push(self) -> Reals:
        """Return the push of all together: the root of the sum of squares.

        Each term is a bound, reached in one phase only, so this exceeds the standard deviation
        over random phases by the square root of two or more.
        """
        total: Reals = np.sqrt((self.push**2).sum(axis=1))
        return total


class Sounding:
    """The log of a take, arranged to be asked what sounds when."""

    def __init__(self, log: TakeLog) -> None:
        self.rate = log.rate
        self.notes = log.notes
        self.voices = {name: Voice.of(partials) for name, partials in log.voices.items()}
        self.sections = tuple(sections(note) for note in log.notes)
        self._start = np.array([note.start for note in log.notes], dtype=np.int64)
        self._end = np.array([note.end for note in log.notes], dtype=np.int64)

    def overlapping(self, first: int, last: int) -> list[int]:
        """Return the places of the notes that sound between two samples."""
        here = (self._start < last) & (self._end > first)
        return [int(place) for place in np.flatnonzero(here)]

    def events(self, place: int, first: int, last: int) -> list[int]:
        """Return the samples between two where any note but that at `place` starts, moves, stops.

        The note's own release is one too.
        """
        found = {self.notes[place].release}
        for other in self.overlapping(first, last):
            if other != place:
                note = self.notes[other]
                found |= {note.start, note.release, note.end}
                found |= {edge for part in self.sections[other] for edge in (part.first, part.last)}
        return sorted(each for each in found if first < each < last)

    def amplitudes(self, place: int, first: int, last: int) -> Reals:
        """Return what the window over first..last should see of each partial of a note.

        That is its amplitude weighted by the window, its decay and its release included.
        """
        note = self.notes[place]
        voice = self.voices[note.voice]
        at: Reals = (np.arange(64, dtype=np.float64) + 0.5) / 64.0
        weight = window_at(at)[0]
        sample = first + at * (last - first)
        fallen = np.maximum(sample - note.release, 0.0) / max(note.end - note.release, 1)
        lost = np.multiply.outer(voice.loss, (sample - note.start) / self.rate)
        shape = np.exp(-lost - _STEEPEST * fallen) @ (weight / weight.sum())
        amplitude: Reals = 10.0 ** (note.level_db / 20.0) * voice.gain * shape
        return amplitude

    def crowd(self, first: int, last: int) -> Crowd:
        """Return all lines that sound between two samples, mirror images near 0 Hz among them."""
        parts = [
            self._part(place, section, first, last)
            for place in self.overlapping(first, last)
            for section in self.sections[place]
            if section.first < last and section.last > first
        ]
        joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
        low, high = joined[2], joined[3]
        heard = low < self.rate / 2.0
        image = heard & (low * (last - first) / self.rate < _IMAGE_BINS)
        mirrored = [column[image] for column in joined]
        mirrored[2], mirrored[3] = -high[image], -low[image]
        both = [
            np.concatenate([column[heard], mirror])
            for column, mirror in zip(joined, mirrored, strict=True)
        ]
        note, partial, low, high, amplitude, death, fade, *edges = both
        step = (edges[0], edges[1], edges[2])
        bend = (edges[3], edges[4], edges[5])
        return Crowd(
            note.astype(np.int64),
            partial.astype(np.int64),
            low,
            high,
            amplitude,
            step,
            bend,
            fade,
            death,
        )

    def _part(self, place: int, section: Section, first: int, last: int) -> list[Reals]:
        note = self.notes[place]
        voice = self.voices[note.voice]
        size = last - first
        start = max(section.first, first)
        fade = (note.end - note.release) / size
        dying = fade > 0.0 and start >= note.release
        faded = _LN_60_DB * (start - note.release) / size / fade if dying else 0.0
        lost = voice.loss * ((start - note.start) / self.rate) + faded
        amplitude = 10.0 ** (note.level_db / 20.0) * voice.gain * np.exp(-lost)
        death = voice.loss * (size / self.rate) + (_LN_60_DB / fade if dying else 0.0)
        if start > first:  # what starts inside the window has no less of it for dying on
            death = np.zeros_like(death)
        moves = [each for each in (section.first, section.last) if each != note.end]
        edges = _edges(moves, first, last)
        edges += _edges([note.release] if section.first <= note.release else [], first, last)
        count = len(voice.ratio)
        return [
            np.full(count, float(place)),
            np.arange(count, dtype=np.float64),
            voice.ratio * section.low_hz,
            voice.ratio * section.high_hz,
            amplitude,
            death,
            *(np.full(count, value) for value in (fade, *edges)),
        ]


def _edges(samples: list[int], first: int, last: int) -> list[float]:
    """Return the sums of the window and of its first two derivatives at samples inside it."""
    inside = [(each - first) / (last - first) for each in samples if first < each < last]
    if not inside:
        return [0.0, 0.0, 0.0]
    return [float(total) for total in np.abs(window_at(np.array(inside))).sum(axis=1)]


def pressure(crowd: Crowd, hz: Reals, own: NDArray[np.bool_], bin_hz: float) -> Pressure:
    """Bound what `crowd` does to lines at `hz`; `own` (lines, crowd) marks a line as itself."""
    below = crowd.low_hz - hz[:, None]
    above = hz[:, None] - crowd.high_hz
    distance = np.maximum(np.maximum(below, above), 0.0) / bin_hz
    entry = np.minimum(distance * _TABLE_STEP, _TABLE_BINS * _TABLE_STEP - 1).astype(np.int64)
    entry += (np.searchsorted(_DEATHS, crowd.death, side="right") - 1) * _TABLE_BINS * _TABLE_STEP
    leak, push = _hull(0)[entry], _hull(1)[entry]
    cut = np.flatnonzero(crowd.step[0] + crowd.step[1] + crowd.bend[0] + crowd.bend[1])
    if len(cut):
        turn = 2.0 * np.pi * np.maximum(distance[:, cut], _LEAST_DISTANCE)
        softened = np.minimum(1.0, _STEEPEST / (turn * np.maximum(crowd.fade[cut], 1e-9)))
        edge = [
            step[cut] + bend[cut] * softened
            for step, bend in zip(crowd.step, crowd.bend, strict=True)
        ]
        edge_leak = (edge[0] + edge[1] / turn) / turn
        edge_push = (edge[1] + edge[2] / turn) / turn
        leak[:, cut] += np.minimum(edge_leak / TERMS[0], 1.0)
        push[:, cut] += np.minimum(edge_push / TERMS[0] / (2.0 * np.pi), 1.0)
    amplitude = np.where(own, 0.0, crowd.amplitude)
    return Pressure(leak * amplitude, push * amplitude)


@lru_cache(maxsize=2)
def _hull(power: int) -> Reals:
    """Return the most a line adds at so many bins or more, over the window's sum.

    One table after the other for each of `_DEATHS`, up to the next; entries are sixteenths of a
    bin. With power 1 it is the push on the frequency, in bins. A dying line has less of the main
    lobe and more of the others.
    """
    place: Reals = (np.arange(4096, dtype=np.float64) + 0.5) / 4096.0
    weight = window_at(place)[0]
    distance = np.arange(_TABLE_BINS * _TABLE_STEP) / _TABLE_STEP

    def response(death: float) -> Reals:
        # A transform sixteen windows long has its bins at every sixteenth.
        bins = np.fft.fft(weight * np.exp(-death * place), 4096 * _TABLE_STEP)
        magnitude = np.abs(bins[: len(distance)]) / weight.sum() * distance**power
        falling: Reals = np.maximum.accumulate(magnitude[::-1])[::-1]
        return falling

    tables = []
    for least, most in zip(_DEATHS, (*_DEATHS[1:], 2.0 * _DEATHS[-1]), strict=True):
        tables.append(np.maximum(response(least), response(most)))
    hull = np.concatenate(tables)
    hull.flags.writeable = False
    return hull
