"""Assay a take: measure every note from its samples alone and say whether it is in tune."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import soundfile

from meantide.errors import InvalidValue
from meantide.offline.assay_masking import Sounding
from meantide.offline.assay_reading import Audio, Fate, PartialReading, read_zone
from meantide.offline.assay_wander import Wander
from meantide.offline.assay_windows import ONSET_S, SHORTEST_WINDOW, Steady, steady_stretches, zones
from meantide.offline.partials import Reals
from meantide.offline.takelog import TakeLog

_CHECK_FRAMES = 1 << 18
_SURE = 2.0  # uncertainties; a note has many partials, and one in twenty errs by more than this
UNTOLD = "moves by touch"
UNLISTED = "its lines are not listed"
MEAN_ONLY = "in the mean of its movement"
_CONTRADICTION = 3.0  # scatter over what the uncertainties allow


class Verdict(StrEnum):
    """What the assay says of a note."""

    IN_TUNE = "in tune"
    OUT = "out"
    MISSING = "missing"
    UNRESOLVED = "unresolved"


@dataclass(frozen=True, slots=True)
class Row:
    """One steady stretch of a note: asked for, measured, judged.

    `measured_hz`, `cents` and `uncertainty_cents` are of the note as a whole, from the `used`
    resolved partials weighted by their certainty; None when there are none. `why` gives the
    partial that is out or missing, or the reason why nothing was resolved.
    """

    note: int
    part: str
    pitch: dict[str, object]
    start_s: float
    end_s: float
    expected_hz: float
    measured_hz: float | None
    cents: float | None
    uncertainty_cents: float | None
    used: int
    verdict: Verdict
    why: str
    partials: tuple[PartialReading, ...]


@dataclass(frozen=True, slots=True)
class Assay:
    """The rows of a take, in the order of its log, and the tolerance they were judged by."""

    tolerance_cents: float
    rows: tuple[Row, ...]

    def count(self, verdict: Verdict) -> int:
        """Return how many rows have a verdict."""
        return sum(row.verdict is verdict for row in self.rows)

    @property
    def passed(self) -> bool:
        """Say whether something was in tune and nothing out or missing."""
        failed = self.count(Verdict.OUT) + self.count(Verdict.MISSING)
        return failed == 0 and self.count(Verdict.IN_TUNE) > 0

    @property
    def worst_cents(self) -> float | None:
        """Return the deviation farthest from 0, or None if nothing was measured."""
        measured = [row.cents for row in self.rows if row.cents is not None]
        return max(measured, key=abs, default=None)

    @property
    def median_uncertainty_cents(self) -> float | None:
        """Return the median of the rows' uncertainties, or None if nothing was measured."""
        known = [row.uncertainty_cents for row in self.rows if row.uncertainty_cents is not None]
        return float(np.median(known)) if known else None


class WaveFile:
    """A sound file read in pieces as mono: the mean of its channels.

    Open it in a `with`. InvalidValue if it is no sound file, or does not match the log, or holds
    a sample that is not a number.
    """

    def __init__(self, path: Path, log: TakeLog) -> None:
        try:
            self._file = soundfile.SoundFile(path)
        except (OSError, soundfile.LibsndfileError) as error:
            raise InvalidValue("take", str(path), f"a readable sound file ({error})") from error
        self._where = str(path)
        try:
            self._match("rate", self._file.samplerate, log.rate)
            self._match("frames", self._file.frames, log.frames)
            self._match("channels", self._file.channels, log.channels)
            self._check_samples()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def read(self, first: int, last: int) -> Reals:
        """Return the samples from `first` up to `last`."""
        self._file.seek(first)
        frames: Reals = self._file.read(last - first, dtype="float64", always_2d=True)
        mono: Reals = frames.mean(axis=1)
        return mono

    def _match(self, field: str, got: int, logged: int) -> None:
        if got != logged:
            raise InvalidValue(field, got, f"{logged}, as the log says", self._where)

    def _check_samples(self) -> None:
        done = 0
        for block in self._file.blocks(_CHECK_FRAMES, dtype="float32", always_2d=True):
            bad = np.flatnonzero(~np.isfinite(block).all(axis=1))
            if len(bad):
                place = done + int(bad[0])
                raise InvalidValue(
                    f"sample {place}", str(block[bad[0]]), "finite numbers", self._where
                )
            done += len(block)


def assay(log: TakeLog, audio: Audio, tolerance_cents: float = 0.1) -> Assay:
    """Measure every steady stretch of every note of `log` in `audio` and judge it."""
    sounding = Sounding(log)
    rows = [
        row
        for place in range(len(log.notes))
        for row in _note_rows(sounding, place, audio, tolerance_cents)
    ]
    return Assay(tolerance_cents, tuple(rows))


def assay_file(path: Path, log: TakeLog, tolerance_cents: float = 0.1) -> Assay:
    """Assay the sound file at `path`, which is read piece by piece."""
    with WaveFile(path, log) as audio:
        return assay(log, audio, tolerance_cents)


def _note_rows(
    sounding: Sounding, place: int, audio: Audio, tolerance_cents: float
) -> Iterable[Row]:
    note = sounding.notes[place]
    stretches = steady_stretches(note, sounding.sections[place], sounding.rate)
    for stretch in stretches:
        parts = zones(stretch, sounding.rate) if stretch.told else (stretch,)
        found = [_row(sounding, place, zone, audio, tolerance_cents) for zone in parts]
        attack = stretch.first <= note.start + round(ONSET_S * sounding.rate)
        first = note.start if attack else stretch.first
        yield replace(
            max(found, key=_badness),
            start_s=first / sounding.rate,
            end_s=stretch.last / sounding.rate,
        )
    if not stretches:
        whole = Steady(note.start, note.release, note.release, note.pitches[0].hz)
        yield replace(_unjudged(sounding, place, whole, (), tolerance_cents), why="never steady")


def _badness(row: Row) -> tuple[int, float]:
    """Order the rows of one long stretch: the worst of what is known of it comes last.

    Where a part of it is masked the rest speaks for it, but not where a part wanders.
    """
    order = (Verdict.UNRESOLVED, Verdict.IN_TUNE, Verdict.OUT, Verdict.MISSING)
    rank = 2 * order.index(row.verdict)
    if row.verdict is Verdict.UNRESOLVED and row.why == Fate.UNSTEADY:
        rank = 2 * order.index(Verdict.IN_TUNE) + 1
    return rank, abs(row.cents or 0.0)


def _row(sounding: Sounding, place: int, zone: Steady, audio: Audio, tolerance_cents: float) -> Row:
    if not zone.told:
        return replace(_unjudged(sounding, place, zone, (), tolerance_cents), why=UNTOLD)
    if not sounding.voice(place).partials:
        return replace(_unjudged(sounding, place, zone, (), tolerance_cents), why=UNLISTED)
    readings, wandering = read_zone(sounding, place, zone, audio, tolerance_cents)
    row = _unjudged(sounding, place, zone, readings, tolerance_cents)
    if not readings:
        short = zone.last - zone.first < SHORTEST_WINDOW
        return replace(row, why="too short" if short else "no partial well below half the rate")
    drift_cents = sounding.laws[place].untold_drift_cents
    verdict, why = _verdict(readings, row.cents, tolerance_cents + drift_cents)
    if verdict is Verdict.IN_TUNE and drift_cents:
        why = f"within its drift of {drift_cents:g} cents"
    elif verdict is Verdict.IN_TUNE and wandering is not None:
        verdict, why = _moving_verdict(readings, wandering, sounding.rate)
    return replace(row, verdict=verdict, why=why)


def _verdict(
    readings: tuple[PartialReading, ...], cents: float | None, tolerance_cents: float
) -> tuple[Verdict, str]:
    resolved = [each for each in readings if each.fate is Fate.RESOLVED]
    astray = [
        each
        for each in resolved
        if abs(each.cents or 0.0) > tolerance_cents + _SURE * (each.uncertainty_cents or 0.0)
    ]
    missing = [each for each in readings if each.fate is Fate.MISSING]
    if cents is not None and abs(cents) > tolerance_cents:
        return Verdict.OUT, ""
    if astray:
        worst = max(astray, key=lambda each: abs(each.cents or 0.0))
        return Verdict.OUT, f"partial {worst.name} by {worst.cents:+.3f} cents"
    if missing and not any(each.measured_hz for each in readings):
        return Verdict.MISSING, "no partial of it is there"
    if missing:
        names = ", ".join(each.name for each in missing[:6])
        more = ", ..." if len(missing) > 6 else ""
        return Verdict.MISSING, f"partial {names}{more}"
    if not resolved:
        return Verdict.UNRESOLVED, _reason(readings)
    return Verdict.IN_TUNE, ""


def _moving_verdict(
    readings: tuple[PartialReading, ...], wandering: Wander, rate: int
) -> tuple[Verdict, str]:
    """Return the verdict on a note that is in tune in the mean of its movement."""
    if wandering.partial is None:
        return Verdict.IN_TUNE, "" if wandering.seen else MEAN_ONLY
    name = readings[wandering.partial].name
    where = f"{wandering.cents:+.3f} cents at {wandering.sample / rate:.3f} s"
    return Verdict.OUT, f"partial {name} strays by {where}"


def _reason(readings: tuple[PartialReading, ...]) -> str:
    """Return what stood in the way of the partial that came nearest to being resolved."""

    def doubt(each: PartialReading) -> float:
        return np.inf if each.uncertainty_cents is None else each.uncertainty_cents

    nearest = min(readings, key=doubt)
    return nearest.fate.value if nearest.by is None else f"masked by note {nearest.by}"


def _combined(
    readings: tuple[PartialReading, ...], tolerance_cents: float
) -> tuple[float, float] | None:
    """Return the deviation of the note in cents, by its resolved partials, and its uncertainty.

    It is their weighted mean. Where they scatter more than their uncertainties allow, so does the
    mean (the ratio of Birge, Physical Review 40, 1932, from memory); where they contradict each
    other, and by more than the tolerance, the note has no one frequency and the middle one is told.
    """
    resolved = [each for each in readings if each.fate is Fate.RESOLVED]
    if not resolved:
        return None
    cents = np.array([each.cents for each in resolved], dtype=np.float64)
    doubt = np.array([each.uncertainty_cents for each in resolved], dtype=np.float64)
    weight = 1.0 / np.maximum(doubt, 1e-12) ** 2
    mean = float(np.sum(weight * cents) / weight.sum())
    if len(resolved) == 1:
        return mean, float(doubt[0])
    scatter = float(np.sqrt(np.sum(weight * (cents - mean) ** 2) / (len(resolved) - 1)))
    middle = float(np.median(cents))
    spread = np.abs(cents - middle)
    if scatter > _CONTRADICTION and spread.max() > tolerance_cents:
        # 1.4826 makes a standard deviation of the median of the spread, 1.2533 that of a median.
        return middle, float(1.2533 * 1.4826 * np.median(spread) / np.sqrt(len(resolved)))
    return mean, max(1.0, scatter) / float(np.sqrt(weight.sum()))


def _unjudged(
    sounding: Sounding,
    place: int,
    zone: Steady,
    readings: tuple[PartialReading, ...],
    tolerance_cents: float,
) -> Row:
    note = sounding.notes[place]
    cents, doubt = _combined(readings, tolerance_cents) or (None, None)
    return Row(
        note.id,
        note.part,
        dict(note.pitch),
        zone.first / sounding.rate,
        zone.last / sounding.rate,
        zone.hz,
        None if cents is None else zone.hz * 2.0 ** (cents / 1200.0),
        cents,
        doubt,
        sum(each.fate is Fate.RESOLVED for each in readings),
        Verdict.UNRESOLVED,
        "",
        readings,
    )
