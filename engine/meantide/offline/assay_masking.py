"""What else sounds in a stretch, as the take's log tells it, and how far it can push a reading.

Every other partial adds A_j W(distance) to the transform of the one being measured. A steady one
reaches it only through the window's lobes; one that starts, moves or stops inside the stretch
also through the edge it cuts into the window, whose spectrum falls as 1/distance for a step and
1/distance^2 for a bend. Each is bounded by its envelope; nothing counts on a null of the window.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from meantide.offline.assay_law import Law
from meantide.offline.assay_sections import LN_60_DB, Section, Spectrum, sections
from meantide.offline.partials import TERMS, Reals, window_at
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_voice import LoggedVoice

_TABLE_BINS = 400
_TABLE_STEP = 16  # entries a bin
_DEATHS = (0.0, 2.0, 4.0, 7.0, 10.0, 14.0, 20.0, 28.0)  # nepers lost along the window
_STEEPEST = 1.5 * LN_60_DB  # a release may fall by 90 dB until the note is silent
_IMAGE_BINS = 60.0  # a line this far above 0 Hz is not reached by its own mirror image
_LEAST_DISTANCE = 0.25  # bins; nearer than this an edge is no longer told from the line


@dataclass(frozen=True, slots=True)
class Crowd:
    """All lines sounding in a stretch, one entry each; edges are in units of the window's length.

    `note` is the place of the note in the log, `partial` its partial, `amplitude` the greatest it
    has in the stretch. It stays in `low_hz`..`high_hz`, both (crowd,) or (lines, crowd) where it
    depends on the line looked at; `swing_hz` and `drift_hz` are how much of that, either way, is
    the spread by its vibrato and by its drift. Those of one `kin`, unless -1, share a vibrato.
    `step[k]` is the sum of the window's k-th derivative where the line begins,
    moves or ceases to move; `bend[k]` where it is let go, to fall silent within `fade`. `death`
    says by how many nepers a line dies along the window.
    """

    note: NDArray[np.int64]
    partial: NDArray[np.int64]
    low_hz: Reals
    high_hz: Reals
    swing_hz: Reals
    drift_hz: Reals
    kin: NDArray[np.int64]
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
        self.voices = log.voices
        self.laws = tuple(Law.of(note, log.voices[note.voice], log.rate) for note in log.notes)
        self.kin = _kin(self.laws)
        self._own = {name: Spectrum.of(voice.partials) for name, voice in log.voices.items()}
        self._named = {name: Spectrum.of(partials) for name, partials in log.spectra.items()}
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

    def voice(self, place: int) -> LoggedVoice:
        """Return the voice of the note at `place`."""
        return self.voices[self.notes[place].voice]

    def sidebands(self, places: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Say which of the notes at `places` are FM: no log tells how the levels of theirs move."""
        fm = np.array([self.voices[note.voice].sidebands for note in self.notes], dtype=np.bool_)
        return fm[places]

    def spectrum(self, place: int, name: str | None) -> Spectrum:
        """Return the spectrum of that name, or if None that of the voice of the note at `place`."""
        return self._own[self.notes[place].voice] if name is None else self._named[name]

    def amplitudes(self, place: int, name: str | None, first: int, last: int) -> Reals:
        """Return what the window over first..last should see of each partial of a note.

        That is the most of its amplitude in the spectrum `name` weighted by the window, its decay,
        its attack and its release included.
        """
        note = self.notes[place]
        spectrum = self.spectrum(place, name)
        at: Reals = (np.arange(64, dtype=np.float64) + 0.5) / 64.0
        weight = window_at(at)[0]
        sample = first + at * (last - first)
        fallen = np.maximum(sample - note.release, 0.0) / max(note.end - note.release, 1)
        shapes = spectrum.shapes((sample - note.start) / self.rate) * np.exp(-_STEEPEST * fallen)
        shape = shapes @ (weight / weight.sum())
        amplitude: Reals = 10.0 ** (note.level_db / 20.0) * spectrum.gain * shape
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
        mirrored[6] = np.full(int(image.sum()), -1.0)  # it swings the other way
        both = [
            np.concatenate([column[heard], mirror])
            for column, mirror in zip(joined, mirrored, strict=True)
        ]
        note, partial, low, high, swing, drift, kin, amplitude, death, fade, *edges = both
        step = (edges[0], edges[1], edges[2])
        bend = (edges[3], edges[4], edges[5])
        return Crowd(
            note.astype(np.int64),
            partial.astype(np.int64),
            low,
            high,
            swing,
            drift,
            kin.astype(np.int64),
            amplitude,
            step,
            bend,
            fade,
            death,
        )

    def _part(self, place: int, section: Section, first: int, last: int) -> list[Reals]:
        note, law = self.notes[place], self.laws[place]
        passed = [self.spectrum(place, name) for name in section.spectra]
        loss = np.min([each.loss for each in passed], axis=0)
        gain = np.max([each.gain for each in passed], axis=0)
        low = np.min([each.hz(section.low_hz) for each in passed], axis=0)
        high = np.max([each.hz(section.high_hz) for each in passed], axis=0)
        swing = law.vibrato_reach(np.abs(high) * law.vibrato_share(first, last))
        drift = law.drift_reach(high)
        size = last - first
        start = max(section.first, first)
        fade = (note.end - note.release) / size
        dying = fade > 0.0 and start >= note.release
        faded = LN_60_DB * (start - note.release) / size / fade if dying else 0.0
        lost = loss * ((start - note.start) / self.rate) + faded
        amplitude = 10.0 ** (note.level_db / 20.0) * gain * np.exp(-lost)
        death = loss * (size / self.rate) + (LN_60_DB / fade if dying else 0.0)
        if start > first:  # what starts inside the window has no less of it for dying on
            death = np.zeros_like(death)
        moves = [each for each in (section.first, section.last) if each != note.end]
        edges = _edges(moves, first, last)
        edges += _edges([note.release] if section.first <= note.release else [], first, last)
        count = len(gain)
        return [
            np.full(count, float(place)),
            np.arange(count, dtype=np.float64),
            low - swing - drift,
            high + swing + drift,
            swing,
            drift,
            np.full(count, float(self.kin[place])),
            amplitude,
            death,
            *(np.full(count, value) for value in (fade, *edges)),
        ]


def stilled(crowd: Crowd, law: Law, kin: int, share: float, hz: Reals) -> Crowd:
    """Return `crowd` as it spreads where each of the lines at `hz` is made to stand still.

    What moves with a line stands still with it, but for the difference in Hz; all else takes on
    its movement, backwards. `share` is how far the law's vibrato moves a frequency in the stretch.
    """
    at = hz[:, None]
    low = crowd.low_hz + crowd.swing_hz + crowd.drift_hz
    high = crowd.high_hz - crowd.swing_hz - crowd.drift_hz
    apart = np.maximum(np.abs(low - at), np.abs(high - at))
    akin = (crowd.kin == kin) & (kin >= 0)
    together = law.vibrato_reach(share * apart)
    swing = np.where(akin, together, crowd.swing_hz + law.vibrato_reach(share * at))
    drift = crowd.drift_hz + (law.drift_reach(at) if law.drift_is_told else 0.0)
    return replace(crowd, low_hz=low - swing - drift, high_hz=high + swing + drift)


def _kin(laws: tuple[Law, ...]) -> tuple[int, ...]:
    """Return a number for each law, the same for those that share a vibrato; -1 without one."""
    numbers: dict[object, int] = {None: -1}
    for law in laws:
        numbers.setdefault(law.together, len(numbers) - 1)
    return tuple(numbers[law.together] for law in laws)


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
