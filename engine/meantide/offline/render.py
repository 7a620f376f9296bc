"""Rendering: a timeline through a performance into a WAV file and the take's log beside it."""

import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meantide import __version__
from meantide.errors import InvalidValue
from meantide.offline.logged_voice import Spectra
from meantide.offline.take_blocks import Measured, Measuring, undelayed
from meantide.offline.takelog import TakeLog
from meantide.offline.timeline import (
    Timeline,
    logged_notes,
    logged_tunings,
    logged_voices,
)
from meantide.offline.wav import WavWriter
from meantide.perform.event import Event
from meantide.perform.performance import Performance
from meantide.pitch import Tuning
from meantide.voice.kernel import F32, Kernel
from meantide.whole_file import whole_file

DEFAULT_RATE, DEFAULT_BLOCK, DEFAULT_NOTES, DEFAULT_LEVEL_DB = 48_000, 4096, 128, -18.0
TAIL_S = 0.05
"""Silence kept after the last note is gone."""
LONGEST_RELEASE_S = 300.0
"""Rendering goes on for at most so long after the last event."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How to render: sample rate, block in frames, notes at once, level in dB, sample format."""

    rate: int = DEFAULT_RATE
    block: int = DEFAULT_BLOCK
    notes: int = DEFAULT_NOTES
    level_db: float = DEFAULT_LEVEL_DB
    sample_format: str = "float32"


Progress = Callable[[int, int], None]
"""Called with the samples done and the samples there are about to be."""


def no_progress(done: int, total: int) -> None:
    """Show nothing."""
    del done, total


def blocks_of(performance: Performance, events: Iterable[Event], block: int) -> Iterator[F32]:
    """Yield what `performance` makes of `events` (in order of sample), block by block.

    Each sound is at its event's sample: the latency of the line is left out. Ends when all events
    are past and all notes are over. Each array is overwritten by the next.
    """
    return undelayed(performance, _made(performance, performance.fill, events, block))


def dry_blocks_of(performance: Performance, events: Iterable[Event], block: int) -> Iterator[F32]:
    """Yield the same as it is before the end of the line: neither high-passed nor limited."""
    return _made(performance, performance.make, events, block)


def _made(
    performance: Performance, make: Callable[[F32], None], events: Iterable[Event], block: int
) -> Iterator[F32]:
    out = np.zeros((2, block), np.float32)
    pending = iter(events)
    event = next(pending, None)
    last = 0
    while event is not None or performance.waiting or len(performance.notes):
        end = performance.sample + block
        while event is not None and event.sample < end:
            performance.schedule(event)
            last = event.sample
            event = next(pending, None)
        if event is None and performance.sample > last + LONGEST_RELEASE_S * performance.rate:
            break
        make(out)
        yield out
    for _ in range(-(-round(TAIL_S * performance.rate) // block)):
        make(out)
        yield out


def render(
    timeline: Timeline,
    out: Path,
    settings: Settings,
    score_name: str,
    kernel: Kernel,
    progress: Progress = no_progress,
) -> TakeLog:
    """Render `timeline` by `kernel` to the WAV file `out`, its log beside it; return the log.

    Raises as `write_take`.
    """
    performance = Performance(
        timeline.rate, settings.block, settings.notes, settings.level_db, [], kernel
    )
    timeline.hand_over_to(performance)
    score = timeline.score
    total = timeline.events[-1].sample

    def blocks() -> Iterator[F32]:
        for block in blocks_of(performance, timeline.events, settings.block):
            yield block
            progress(performance.sample, max(total, performance.sample))

    def log(measured: Measured) -> TakeLog:
        spectra = Spectra()
        frames = measured.frames
        return TakeLog(
            meantide=__version__,
            wav=out.name,
            kernel=kernel.name,
            rate=settings.rate,
            frames=frames,
            channels=2,
            format=settings.sample_format,
            title=score.title,
            score=score_name,
            level_db=settings.level_db,
            limited_db=performance.line.most_taken_db,
            loudness_lufs=measured.loudness_lufs,
            true_peak_dbtp=measured.true_peak_dbtp,
            tunings=logged_tunings(score, settings.rate),
            voices=logged_voices(score),
            notes=logged_notes(timeline, performance.outcomes, settings.level_db, frames, spectra),
            spectra=spectra.logged,
        )

    _check_room(out, total, settings)
    head = TakeHead(score.title, describe_tuning(score.tuning), settings.rate)
    measuring = Measuring(settings.rate, settings.block, kernel.name)
    return write_take(out, head, settings.sample_format, measuring, blocks(), log)


@dataclass(frozen=True, slots=True)
class TakeHead:
    """What a take's WAV file says of itself."""

    title: str
    comment: str
    rate: int


def write_take(
    out: Path,
    head: TakeHead,
    sample_format: str,
    measuring: Measuring,
    blocks: Iterable[F32],
    make_log: Callable[[Measured], TakeLog],
) -> TakeLog:
    """Write `blocks` (2, samples) to the WAV file `out`, and then its log beside it.

    Both files are written whole or not at all. Raises InvalidValue where they cannot be written.
    """
    with whole_file(log_path(out)) as log_file, whole_file(out) as wav_file:
        software = f"meantide {__version__}"
        with WavWriter(
            wav_file, head.rate, sample_format, head.title, head.comment, software
        ) as writer:
            for block in measuring.over(blocks):
                writer.write(block)
        log = make_log(measuring.told())
        log_file.write_text(log.to_json(), encoding="utf-8")
    return log


def log_path(wav: Path) -> Path:
    """Return where the log of the take `wav` lies: beside it, ending in .json."""
    return wav.with_suffix(".json")


def describe_tuning(tuning: Tuning) -> str:
    """Return a tuning in one line for a file's comment."""
    scale = tuning.scale
    return (
        f"scale={scale.label}; degrees={scale.size}; period={scale.period}; "
        f"anchor={tuning.anchor.label}"
    )


def _check_room(out: Path, samples: int, settings: Settings) -> None:
    need = samples * 8
    try:
        free = shutil.disk_usage(out.parent).free
    except OSError as error:
        raise InvalidValue("out", str(out), f"a folder that is there ({error.strerror})") from error
    if need > free:
        raise InvalidValue("out", f"{need} bytes to write", f"{free} bytes free on that disk")
    if settings.sample_format == "float32" and need > 2**32:
        raise InvalidValue("length", f"{samples} samples", "a WAV file of under 4 GiB")
