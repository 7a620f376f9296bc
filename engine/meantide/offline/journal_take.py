"""A live set rendered again from its journal: same events, same blocks, same samples."""

import math
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meantide import __version__
from meantide.errors import InvalidValue
from meantide.journal import Journal
from meantide.offline.logged_voice import (
    Moved,
    Regrid,
    Spectra,
    follows_scale,
    logged_voice,
    with_movement,
)
from meantide.offline.render import TakeHead, describe_tuning, write_take
from meantide.offline.take_blocks import Measured, Measuring, undelayed
from meantide.offline.takelog import LoggedTuning, TakeLog
from meantide.offline.takelog_note import LoggedNote
from meantide.offline.takelog_voice import LoggedVoice
from meantide.offline.timeline import history_of, voice_labels
from meantide.perform.event import Event, Held, Kind, Outcome, OutcomeKind, Pitch, PitchKind
from meantide.perform.master import QUIETEST_DB
from meantide.perform.performance import Performance
from meantide.perform.sounding_pitch import pitch_hz
from meantide.pitch import NoteName, Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.kernel import F32, Kernel
from meantide.voice.voices import Voice

SILENT_DB = -120.0


def render_journal(
    journal: Journal, out: Path, sample_format: str, name: str, kernel: Kernel
) -> TakeLog:
    """Render `journal` to the WAV file `out`, at its own rate and block; return the log.

    By the kernel that it was played with it sounds again bit for bit, on the same machine.
    Raises InvalidValue if the journal holds no tuning, or the files cannot be written.
    """
    head = journal.head
    performance = Performance(head.rate, head.block, head.notes, QUIETEST_DB, [], kernel)
    tunings = _logged_tunings(journal)
    if not tunings:
        raise InvalidValue("journal", "no tuning", "a set in which something was tuned", name)
    first = next(value for value in journal.values.values() if isinstance(value, Tuning))

    def log(measured: Measured) -> TakeLog:
        spectra = Spectra()
        notes = _Notes(journal, performance.outcomes, measured.frames, spectra)
        return TakeLog(
            meantide=__version__,
            wav=out.name,
            kernel=kernel.name,
            rate=head.rate,
            frames=measured.frames,
            channels=2,
            format=sample_format,
            title=name,
            score=name,
            level_db=_loudest_level(journal),
            limited_db=performance.line.most_taken_db,
            loudness_lufs=measured.loudness_lufs,
            true_peak_dbtp=measured.true_peak_dbtp,
            tunings=tunings,
            voices=notes.voices(),
            notes=notes.logged(),
            spectra=spectra.logged,
        )

    take = TakeHead(name, describe_tuning(first), head.rate)
    measuring = Measuring(head.rate, head.block, kernel.name)
    blocks = undelayed(performance, _blocks(journal, performance))
    return write_take(out, take, sample_format, measuring, blocks, log)


def _blocks(journal: Journal, performance: Performance) -> Iterator[F32]:
    """Schedule each event at the block it was heard at, and make the blocks.

    A value is handed over with its event: a long set may hold more than there is room for.
    """
    out = np.zeros((2, journal.head.block), np.float32)
    upcoming = iter(zip(journal.heard, journal.events, strict=True))
    next_one = next(upcoming, None)
    while performance.sample < journal.ended or next_one is not None:
        while next_one is not None and next_one[0] <= performance.sample:
            event = next_one[1]
            if event.value in journal.values:
                performance.hand_over(event.value, journal.values[event.value])
            performance.schedule(event)
            next_one = next(upcoming, None)
        performance.fill(out)
        yield out


def _logged_tunings(journal: Journal) -> tuple[LoggedTuning, ...]:
    logged = []
    for event in journal.events:
        value = journal.values.get(event.value)
        if event.kind == Kind.TUNING and isinstance(value, Tuning):
            logged.append(
                LoggedTuning(
                    event.sample,
                    value.scale.to_mapping(),
                    value.anchor.to_mapping(),
                    value.layout.to_mapping(),
                    event.samples,
                    "stay" if event.held == Held.STAY else "follow",
                )
            )
    return tuple(logged)


def _loudest_level(journal: Journal) -> float:
    levels = [event.amount for event in journal.events if event.kind == Kind.LEVEL]
    return max(levels, default=SILENT_DB)


@dataclass(frozen=True, slots=True)
class _Struck:
    """A note on, with the voice and the level (dB) that there were when it acted."""

    event: Event
    voice: Voice
    level_db: float


class _Notes:
    """Puts the events of notes and what was reported of them together."""

    def __init__(
        self, journal: Journal, outcomes: Iterable[Outcome], frames: int, spectra: Spectra
    ) -> None:
        self._journal = journal
        self._spectra = spectra
        self._rate = journal.head.rate
        self._frames = frames
        self._told: list[tuple[_Struck, int, list[Outcome]]] = []
        """The notes that began, in order, and their seeds; ids are counted anew, since players use
        theirs again."""
        seed = 0
        struck = _struck_in(journal)
        sounding: dict[int, list[Outcome]] = {}
        for outcome in outcomes:
            if outcome.kind in (OutcomeKind.BEGAN, OutcomeKind.REFUSED):
                waiting = struck.get((outcome.note, outcome.sample))
                first = waiting.popleft() if waiting else None
                if outcome.kind == OutcomeKind.REFUSED:
                    continue
                sounding[outcome.note] = []
                if first is not None:
                    self._told.append((first, seed, sounding[outcome.note]))
                seed += 1
            if outcome.note in sounding:
                sounding[outcome.note].append(outcome)
        self._labels = voice_labels(first.voice for first, _, _ in self._told)

    def voices(self) -> dict[str, LoggedVoice]:
        """Return the voices that notes began with, each version of one by a name of its own."""
        return {label: logged_voice(voice) for voice, label in self._labels.items()}

    def logged(self) -> tuple[LoggedNote, ...]:
        """Return the notes in the order in which they began."""
        return tuple(
            self._note(number, first, seed, told)
            for number, (first, seed, told) in enumerate(self._told, start=1)
        )

    def _note(self, number: int, first: _Struck, seed: int, told: list[Outcome]) -> LoggedNote:
        voice, event = first.voice, first.event
        history = history_of(told, math.ceil(voice.gone_s * self._rate), self._frames)
        gain = voice.note_gain(event.amount, history.pitches[0].hz) * math.sqrt(0.5)
        note = LoggedNote(
            number,
            "main",
            self._labels[voice],
            asked_mapping(event.pitch),
            event.amount,
            first.level_db + 20.0 * math.log10(gain),
            history.start,
            history.release,
            history.end,
            history.pitches,
        )
        note = with_movement(note, Moved(voice, seed, history.touched, history.revoiced))
        return self._spectra.drawn(note, voice, self._regrids(event, note, voice))

    def _regrids(self, event: Event, note: LoggedNote, voice: Voice) -> list[Regrid]:
        """Return where a note's partials are drawn to: at first, and as the tuning changes."""
        found: list[Regrid] = []
        if not follows_scale(voice):
            return found
        tunings = sorted(
            (each for each in self._journal.events if each.kind == Kind.TUNING),
            key=lambda each: each.sample,
        )
        first = [each for each in tunings if each.sample <= note.start][-1]
        later = [
            each
            for each in tunings
            if note.start < each.sample < note.end and each.held == Held.FOLLOW
        ]
        for each in (first, *later):
            tuning = self._journal.values[each.value]
            if not isinstance(tuning, Tuning):
                continue
            hz = pitch_hz(tuning, event.pitch, self._journal.head.rate)
            if hz is not None:
                sample, glide = (note.start, 0) if each is first else (each.sample, each.samples)
                found.append(Regrid(sample, glide, hz, DegreeGrid.of(tuning)))
        return found


def _struck_in(journal: Journal) -> dict[tuple[int, int], deque[_Struck]]:
    """Return the note ons by id and sample, each in order of arrival."""
    struck: dict[tuple[int, int], deque[_Struck]] = {}
    voices: dict[int, Voice] = {}
    level_db = SILENT_DB
    for event in sorted(journal.events, key=lambda event: event.sample):  # stable: by arrival then
        value = journal.values.get(event.value)
        if event.kind == Kind.LEVEL:
            level_db = event.amount
        elif event.kind == Kind.NOTE_ON and event.part in voices:
            first = _Struck(event, voices[event.part], level_db)
            struck.setdefault((event.note, event.sample), deque()).append(first)
        elif value is None or isinstance(value, Tuning):
            continue
        elif event.kind == Kind.VOICE or (event.kind == Kind.REVOICE and event.part in voices):
            voices[event.part] = value
    return struck


def asked_mapping(pitch: Pitch) -> dict[str, object]:
    """Return a pitch as the mapping that names it in a log."""
    if pitch.kind == PitchKind.NAME:
        return {"note": str(NoteName.from_chain(int(pitch.value), pitch.octave))}
    if pitch.kind == PitchKind.INTERVAL:
        return {"octaves": pitch.value}
    if pitch.kind == PitchKind.HERTZ:
        return {"hz": pitch.value}
    return {pitch.kind.name.lower(): int(pitch.value)}
