"""A live set rendered again from its journal: same events, same blocks, same samples."""

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from meantide import __version__
from meantide.errors import InvalidValue
from meantide.journal import Journal
from meantide.offline.logged_voice import Moved, Regrid, Spectra, logged_voice, with_movement
from meantide.offline.render import TakeHead, describe_tuning, write_take
from meantide.offline.takelog import LoggedTuning, TakeLog
from meantide.offline.takelog_note import LoggedNote
from meantide.offline.takelog_voice import LoggedVoice
from meantide.offline.timeline import history_of, seeds_of
from meantide.perform.event import Event, Held, Kind, Outcome, OutcomeKind, Pitch, PitchKind
from meantide.perform.master import QUIETEST_DB
from meantide.perform.performance import Performance, pitch_hz
from meantide.pitch import NoteName, Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice
from meantide.voice.kernel import F32, Kernel

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
    for number, value in journal.values.items():
        performance.hand_over(number, value)
    tunings = _logged_tunings(journal)
    if not tunings:
        raise InvalidValue("journal", "no tuning", "a set in which something was tuned", name)
    first = next(value for value in journal.values.values() if isinstance(value, Tuning))

    def log() -> TakeLog:
        spectra = Spectra()
        return TakeLog(
            meantide=__version__,
            wav=out.name,
            kernel=kernel.name,
            rate=head.rate,
            frames=performance.sample,
            channels=2,
            format=sample_format,
            title=name,
            score=name,
            level_db=_loudest_level(journal),
            ceiling_samples=performance.counts.softened_samples,
            tunings=tunings,
            voices=_logged_voices(journal),
            notes=_Notes(journal, performance, spectra).logged(),
            spectra=spectra.logged,
        )

    take = TakeHead(name, describe_tuning(first), head.rate)
    return write_take(out, take, sample_format, _blocks(journal, performance), log)


def _blocks(journal: Journal, performance: Performance) -> Iterator[F32]:
    """Schedule each event at the block it was heard at, and make the blocks."""
    out = np.zeros((2, journal.head.block), np.float32)
    upcoming = iter(zip(journal.heard, journal.events, strict=True))
    next_one = next(upcoming, None)
    while performance.sample < journal.ended or next_one is not None:
        while next_one is not None and next_one[0] <= performance.sample:
            performance.schedule(next_one[1])
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


def _logged_voices(journal: Journal) -> dict[str, LoggedVoice]:
    return {
        voice.name: logged_voice(voice)
        for voice in journal.values.values()
        if isinstance(voice, AdditiveVoice)
    }


def _loudest_level(journal: Journal) -> float:
    levels = [event.amount for event in journal.events if event.kind == Kind.LEVEL]
    return max(levels, default=SILENT_DB)


class _Notes:
    """Puts the events of notes and what was reported of them together."""

    def __init__(self, journal: Journal, performance: Performance, spectra: Spectra) -> None:
        self._journal = journal
        self._spectra = spectra
        self._frames = performance.sample
        self._outcomes = performance.outcomes

    def logged(self) -> tuple[LoggedNote, ...]:
        """Return the notes in order; ids are counted anew, since players use theirs again."""
        spans: list[tuple[Event, list[Outcome]]] = []
        sounding: dict[int, list[Outcome]] = {}
        begun = iter(self._begun())
        for outcome in self._outcomes:
            if outcome.kind == OutcomeKind.BEGAN:
                sounding[outcome.note] = []
                spans.append((next(begun), sounding[outcome.note]))
            if outcome.note in sounding:
                sounding[outcome.note].append(outcome)
        voices, levels = self._by_sample(Kind.VOICE), self._by_sample(Kind.LEVEL)
        logged = []
        for number, (event, told) in enumerate(spans, start=1):
            voice = self._journal.values[_latest(voices, told[0].sample).value]
            level = _latest(levels, told[0].sample).amount
            if isinstance(voice, AdditiveVoice):
                logged.append(self._note(number, event, told, voice, level))
        return tuple(logged)

    def _begun(self) -> list[Event]:
        """Return the note ons that began, in the order in which they did."""
        refused = {(o.note, o.sample) for o in self._outcomes if o.kind == OutcomeKind.REFUSED}
        ons = [e for e in self._journal.events if e.kind == Kind.NOTE_ON]
        ons.sort(key=lambda event: event.sample)  # stable: arrival decides among equals
        return [event for event in ons if (event.note, event.sample) not in refused]

    def _by_sample(self, kind: Kind) -> list[Event]:
        return sorted(
            (event for event in self._journal.events if event.kind == kind),
            key=lambda event: event.sample,
        )

    def _note(
        self, number: int, event: Event, told: list[Outcome], voice: AdditiveVoice, level: float
    ) -> LoggedNote:
        gone_samples = math.ceil(voice.envelope.gone_s * self._journal.head.rate)
        history = history_of(told, gone_samples, self._frames)
        gain = voice.velocity_gain(event.amount) * math.sqrt(0.5)
        note = LoggedNote(
            number,
            "main",
            voice.name,
            asked_mapping(event.pitch),
            event.amount,
            level + 20.0 * math.log10(gain),
            history.start,
            history.release,
            history.end,
            history.pitches,
        )
        seed = seeds_of(self._outcomes)[told[0].note, told[0].sample]
        note = with_movement(note, Moved(voice, seed))
        return self._spectra.drawn(note, voice, self._regrids(event, note, voice))

    def _regrids(self, event: Event, note: LoggedNote, voice: AdditiveVoice) -> list[Regrid]:
        """Return where a note's partials are drawn to: at first, and as the tuning changes."""
        found: list[Regrid] = []
        if not voice.drawn:
            return found
        tunings = self._by_sample(Kind.TUNING)
        first = _latest(tunings, note.start)
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


def asked_mapping(pitch: Pitch) -> dict[str, object]:
    """Return a pitch as the mapping that names it in a log."""
    if pitch.kind == PitchKind.NAME:
        return {"note": str(NoteName.from_chain(int(pitch.value), pitch.octave))}
    if pitch.kind == PitchKind.INTERVAL:
        return {"octaves": pitch.value}
    if pitch.kind == PitchKind.HERTZ:
        return {"hz": pitch.value}
    return {pitch.kind.name.lower(): int(pitch.value)}


def _latest(events: list[Event], sample: int) -> Event:
    """Return the last of `events`, which are in order, that acted by `sample`."""
    found = events[0]
    for event in events:
        if event.sample > sample:
            break
        found = event
    return found
