"""A live set rendered again from its journal: same events, same blocks, same samples."""

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meantide import __version__
from meantide.errors import InvalidValue
from meantide.journal import Journal, Run
from meantide.offline.logged_balance import LoggedBalance
from meantide.offline.logged_story import Played, told_in_full
from meantide.offline.logged_voice import Spectra, logged_voice
from meantide.offline.render import TakeHead, describe_tuning, write_take
from meantide.offline.stories import Story, TuningStep, stories_of
from meantide.offline.take_blocks import Measured, Measuring, undelayed
from meantide.offline.takelog import LoggedTuning, TakeLog
from meantide.offline.takelog_note import LoggedNote
from meantide.offline.takelog_voice import LoggedVoice
from meantide.offline.timeline import history_of, voice_labels
from meantide.perform.event import (
    ALL_PARTS,
    MAIN_PART,
    Event,
    Held,
    Kind,
    Outcome,
    OutcomeKind,
    Pitch,
    PitchKind,
)
from meantide.perform.master import QUIETEST_DB
from meantide.perform.performance import Performance
from meantide.pitch import NoteName, Tuning
from meantide.voice.kernel import F32, Kernel
from meantide.voice.voices import Voice

SILENT_DB = -120.0
MAIN = "main"


def render_journal(
    journal: Journal, out: Path, sample_format: str, name: str, kernel: Kernel
) -> TakeLog:
    """Render `journal` to the WAV file `out`, at its own rate and block; return the log.

    By the kernel that it was played with it sounds again bit for bit, on the same machine.
    Raises InvalidValue if the journal holds no tuning, or the files cannot be written.
    """
    head = journal.head
    tunings = _logged_tunings(journal)
    if not tunings:
        raise InvalidValue("journal", "no tuning", "a set in which something was tuned", name)
    first = next(value for value in journal.values.values() if isinstance(value, Tuning))
    runs = [_Sounded(journal, run, kernel) for run in journal.runs]

    def log(measured: Measured) -> TakeLog:
        spectra = Spectra()
        notes = _Notes(journal, [run.told() for run in runs], measured.frames, spectra)
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
            limited_db=max(run.performance.line.most_taken_db for run in runs),
            loudness_lufs=measured.loudness_lufs,
            true_peak_dbtp=measured.true_peak_dbtp,
            tunings=tunings,
            voices=notes.voices(),
            notes=notes.logged(),
            spectra=spectra.logged,
        )

    take = TakeHead(name, describe_tuning(first), head.rate)
    longest = max(run.head.block for run in journal.runs)
    measuring = Measuring(head.rate, longest, kernel.name)
    return write_take(out, take, sample_format, measuring, _joined(runs), log)


class _Sounded:
    """One engine of a set again: its performance, and the blocks it makes."""

    def __init__(self, journal: Journal, run: Run, kernel: Kernel) -> None:
        head = run.head
        self._journal, self._run = journal, run
        self.start, self.block = head.sample, head.block
        self.performance = Performance(
            head.rate, head.block, head.notes, QUIETEST_DB, [], kernel, head.sample
        )

    def told(self) -> list[Outcome]:
        """Return what became of its notes; those that sounded when it was gone ended then."""
        told = list(self.performance.outcomes)
        ended = self.performance.sample
        told += [Outcome(OutcomeKind.ENDED, ended, note.id) for note in self.performance.notes]
        return told

    def blocks(self) -> Iterator[F32]:
        """Yield what it made, each sample at its own place in time."""
        return undelayed(self.performance, self._as_heard())

    def _as_heard(self) -> Iterator[F32]:
        """Schedule each event at the block it was heard at, and make the blocks.

        A value is handed over with its event: a long set may hold more than there is room for.
        """
        performance, values = self.performance, self._journal.values
        out = np.zeros((2, self.block), np.float32)
        upcoming = iter(zip(self._run.heard, self._run.events, strict=True))
        next_one = next(upcoming, None)
        while performance.sample < self._run.ended or next_one is not None:
            while next_one is not None and next_one[0] <= performance.sample:
                event = next_one[1]
                if event.value in values:
                    performance.hand_over(event.value, values[event.value])
                performance.schedule(event)
                next_one = next(upcoming, None)
            performance.fill(out)
            yield out


def _joined(runs: Sequence[_Sounded]) -> Iterator[F32]:
    """Yield the blocks of all, with silence for as long as there was no engine."""
    at = runs[0].start
    for run, following in zip(runs, [*runs[1:], None], strict=True):
        silence = np.zeros((2, run.block), np.float32)
        while at < run.start:
            piece = silence[:, : min(run.start - at, run.block)]
            at += piece.shape[1]
            yield piece
        for block in run.blocks():
            room = block.shape[1] if following is None else following.start - at
            piece = block[:, : max(room, 0)]
            at += piece.shape[1]
            if piece.size:
                yield piece


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
        self, journal: Journal, told: Sequence[list[Outcome]], frames: int, spectra: Spectra
    ) -> None:
        self._journal = journal
        self._spectra = spectra
        self._rate = journal.head.rate
        self._frames = frames
        self._balances: dict[int, LoggedBalance] = {}
        self._steps: dict[int, list[TuningStep]] = {}
        stories = iter([story for run in told for story in stories_of(run)])
        self._told: list[tuple[_Struck, Story]] = []
        """The notes that began, in order; ids are counted anew, since players use theirs again."""
        self._asked: dict[tuple[int, int], Pitch] = {}
        """What the key was struck for that a note went on for, by id and sample."""
        struck = _struck_in(journal)
        pitches: dict[int, Pitch] = {}
        for outcome in (each for run in told for each in run):
            kinds = (OutcomeKind.BEGAN, OutcomeKind.PASSED, OutcomeKind.REFUSED)
            if outcome.kind not in kinds:
                continue
            waiting = struck.get((outcome.note, outcome.sample))
            first = waiting.popleft() if waiting else None
            if outcome.kind == OutcomeKind.REFUSED:
                continue
            if first is not None:
                pitches[outcome.note] = first.event.pitch
            if outcome.kind == OutcomeKind.PASSED:
                self._asked[outcome.note, outcome.sample] = pitches[outcome.note]
                continue
            story = next(stories)
            if first is not None:
                self._told.append((first, story))
        self._labels = voice_labels(first.voice for first, _ in self._told)

    def voices(self) -> dict[str, LoggedVoice]:
        """Return the voices that notes began with, each version of one by a name of its own."""
        return {label: logged_voice(voice) for voice, label in self._labels.items()}

    def logged(self) -> tuple[LoggedNote, ...]:
        """Return the notes in the order in which they began."""
        return tuple(
            self._note(number, first, story)
            for number, (first, story) in enumerate(self._told, start=1)
        )

    def _note(self, number: int, first: _Struck, story: Story) -> LoggedNote:
        voice, event = first.voice, first.event
        history = history_of(story.told, math.ceil(voice.gone_s * self._rate), self._frames)
        note = LoggedNote(
            number,
            {MAIN_PART: MAIN, **self._journal.parts}.get(event.part, str(event.part)),
            self._labels[voice],
            asked_mapping(event.pitch),
            event.amount,
            first.level_db
            + 20.0 * math.log10(voice.note_gain(event.amount, history.pitches[0].hz)),
            history.start,
            history.release,
            history.end,
            history.pitches,
        )
        turned_to = [self._asked[each.note, each.sample] for each in story.turns]
        played = Played(
            story,
            voice,
            event.pitch,
            [(pitch, asked_mapping(pitch)) for pitch in turned_to],
            self._steps_of(event.part),
            self._balance_of(event.part),
        )
        return told_in_full(note, played, self._rate, self._spectra)

    def _balance_of(self, part: int) -> LoggedBalance:
        if part not in self._balances:
            events = (each for each in self._journal.events if each.part in (part, ALL_PARTS))
            self._balances[part] = LoggedBalance(events)
        return self._balances[part]

    def _steps_of(self, part: int) -> list[TuningStep]:
        """Return the tunings of a part: everyone's, and from its first own one on only those."""
        if part not in self._steps:
            steps: list[TuningStep] = []
            own = False
            for event in sorted(self._journal.events, key=lambda event: event.sample):
                laid = event.kind == Kind.LAYOUT and event.part == part
                if not laid and (own or event.kind != Kind.TUNING):
                    continue
                tuning = self._journal.values.get(event.value)
                if isinstance(tuning, Tuning):
                    own = own or laid
                    steps.append(TuningStep(event.sample, tuning, event.samples, event.held))
            self._steps[part] = steps
        return self._steps[part]


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
