"""Takes for the tests of the assay: a log and, from `tones`, the audio that it tells of (or not).

Every note is invented for the trio of the Saltmarsh Quay festival (invented too).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile

import tones
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_note import LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import LoggedPartial, LoggedVoice

RATE = 48_000
Partials = tuple[tuple[float, float, float | None], ...]

REED: Partials = tuple((float(n), -4.0 * (n - 1) ** 0.7, None) for n in range(1, 17))
PURE: Partials = ((1.0, 0.0, None),)
# Stretched as a stiff string's, f_n = n f0 sqrt(1 + B n^2), and dying, the high ones first.
STRUCK: Partials = tuple(
    (n * float(np.sqrt(1.0 + 4e-4 * n * n)), -3.0 * (n - 1) ** 0.6, 6.0 / n) for n in range(1, 13)
)
TAP: Partials = ((1.0, 0.0, 0.3),)
CHIFF: Partials = ((1.0, 0.0, None), (2.0, -6.0, 0.002))  # the second gone before one can look
VOICES = {"reed": REED, "pure": PURE, "struck": STRUCK, "tap": TAP, "chiff": CHIFF}


@dataclass(frozen=True)
class Asked:
    """A note as the log has it; and how the audio departs from it: cents, and partials left out."""

    hz: float
    start_s: float = 0.0
    for_s: float = 1.0
    voice: str = "reed"
    level_db: float = -20.0
    release_s: float = 0.1
    moves: Sequence[tuple[float, float, float]] = ()  # (seconds after start, glide seconds, Hz)
    off_cents: float = 0.0
    without: Sequence[int] = ()  # partials, from 1
    silent: bool = False
    moved_partial: Mapping[int, float] = field(default_factory=dict)  # partial: cents

    @property
    def start(self) -> int:
        """Sample of the onset."""
        return round(self.start_s * RATE)

    @property
    def release(self) -> int:
        """Sample at which the note is let go."""
        return self.start + round(self.for_s * RATE)

    @property
    def end(self) -> int:
        """Sample from which it is silent."""
        return self.release + round(self.release_s * RATE)


def make_log(notes: Sequence[Asked], frames: int, channels: int = 1) -> TakeLog:
    """Return the log of `notes`, numbered from 1."""
    logged = []
    for number, note in enumerate(notes, start=1):
        pitches = [LoggedPitch(note.start, 0, note.hz)]
        for after_s, glide_s, hz in note.moves:
            sample = note.start + round(after_s * RATE)
            pitches.append(LoggedPitch(sample, round(glide_s * RATE), hz))
        logged.append(
            LoggedNote(
                number,
                "reed",
                note.voice,
                {"hz": note.hz},
                0.7,
                note.level_db,
                note.start,
                note.release,
                note.end,
                tuple(pitches),
            )
        )
    return TakeLog(
        meantide="0.1.0",
        kernel="numpy",
        wav="take.wav",
        rate=RATE,
        frames=frames,
        channels=channels,
        format="float32",
        title="Slack water",
        score="slack-water.yaml",
        level_db=0.0,
        limited_db=0.0,
        loudness_lufs=-24.0,
        true_peak_dbtp=-12.0,
        tunings=(),
        voices={
            name: LoggedVoice(tuple(LoggedPartial(*partial) for partial in partials))
            for name, partials in VOICES.items()
        },
        notes=tuple(logged),
    )


def make_audio(notes: Sequence[Asked], frames: int, seed: int = 0) -> tones.Samples:
    """Return the sum of `notes` with their departures, each partial starting at a random phase."""
    total = np.zeros(frames)
    random = np.random.default_rng(seed)
    for note in notes:
        if note.silent:
            continue
        off = 2.0 ** (note.off_cents / 1200.0)
        pitches = [(0, 0, note.hz * off)] + [
            (round(after_s * RATE), round(glide_s * RATE), hz * off)
            for after_s, glide_s, hz in note.moves
        ]
        partials = [
            (ratio * 2.0 ** (note.moved_partial.get(number, 0.0) / 1200.0), level_db, decay_s)
            for number, (ratio, level_db, decay_s) in enumerate(VOICES[note.voice], start=1)
            if number not in note.without
        ]
        length = note.end - note.start
        total[note.start : note.end] += tones.note(
            RATE,
            length,
            pitches,
            partials,
            level_db=note.level_db,
            release=note.release - note.start,
            end=length,
            phases=random.random(len(partials)).tolist(),
        )
    return total


def make_take(
    notes: Sequence[Asked], noise_db: float | None = None, seed: int = 0
) -> tuple[TakeLog, tones.Samples]:
    """Return the log of `notes` and their audio, with white noise of that RMS if any."""
    frames = max(note.end for note in notes) + RATE // 20
    audio = make_audio(notes, frames, seed)
    if noise_db is not None:
        audio += tones.noise(seed, frames, noise_db)
    return make_log(notes, frames), audio


def write_take(folder: Path, log: TakeLog, audio: tones.Samples, subtype: str = "FLOAT") -> Path:
    """Write take.wav and take.json into `folder`; return the WAV file's path."""
    path = folder / "take.wav"
    soundfile.write(path, audio, RATE, subtype=subtype)
    path.with_suffix(".json").write_text(log.to_json(), encoding="utf-8")
    return path


@dataclass(frozen=True)
class InMemory:
    """Mono samples as the assay reads them."""

    samples: tones.Samples

    def read(self, first: int, last: int) -> tones.Samples:
        """Return the samples from `first` up to `last`."""
        return self.samples[first:last]
