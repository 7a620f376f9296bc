"""Takes of one piece in several tunings: rendered side by side, proved, and made equally loud."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile

from meantide.offline.assay import Assay, assay_file
from meantide.offline.render import (
    Settings,
    TakeHead,
    describe_tuning,
    log_path,
    render,
    write_take,
)
from meantide.offline.score import Score
from meantide.offline.take_blocks import Measured, Measuring
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog import read as read_log
from meantide.offline.timeline import lay_out
from meantide.perform.true_peak import LOWEST_DB
from meantide.pitch import Tuning
from meantide.voice.kernels import kernel_named

TOLERANCE_CENTS = 0.1
_BLOCK = 4096


@dataclass(frozen=True, slots=True)
class TakeJob:
    """A take to be made: its score in one tuning, how to render it, and where it goes."""

    score: Score
    score_name: str
    settings: Settings
    kernel: str
    out: Path


@dataclass(frozen=True, slots=True)
class MatchedTake:
    """A take as it was written: its tuning, its log, what brought it to the common loudness."""

    tuning: Tuning
    wav: Path
    log: TakeLog
    gain_db: float
    proof: Assay
    notices: tuple[str, ...]


def make_takes(jobs: Sequence[TakeJob], workers: int | None = None) -> list[MatchedTake]:
    """Make all takes, each core one at a time, and bring them to the loudness of the quietest.

    Raises what rendering raises, InvalidValue mostly.
    """
    # They make processes ready as they are imported, so only who wants some imports them.
    import multiprocessing  # noqa: PLC0415
    from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415

    count = min(workers or os.cpu_count() or 1, len(jobs))
    notices: list[tuple[str, ...]]
    if count == 1:
        notices = [_render_one(job) for job in jobs]
        gains = _gains(jobs)
        return [_match_one(*each) for each in zip(jobs, gains, notices, strict=True)]
    spawn = multiprocessing.get_context("spawn")  # threads of this process stay its own
    with ProcessPoolExecutor(count, mp_context=spawn) as pool:
        notices = list(pool.map(_render_one, jobs))
        return list(pool.map(_match_one, jobs, _gains(jobs), notices))


def _gains(jobs: Sequence[TakeJob]) -> list[float]:
    return matching_gains([read_log(log_path(job.out)).loudness_lufs for job in jobs])


def matching_gains(loudness_lufs: Sequence[float]) -> list[float]:
    """Return the dB, none above 0, that bring each to the quietest that has a loudness.

    Takes only become quieter, so no peak rises. One too short to have a loudness is left alone.
    """
    heard = [each for each in loudness_lufs if each > LOWEST_DB]
    goal = min(heard, default=0.0)
    return [goal - each if each > LOWEST_DB else 0.0 for each in loudness_lufs]


def _render_one(job: TakeJob) -> tuple[str, ...]:
    """Render a take in a process of its own; return what is to be said of it."""
    timeline = lay_out(job.score, job.settings.rate)
    render(timeline, job.out, job.settings, job.score_name, kernel_named(job.kernel, _quietly))
    return timeline.score.notices


def _quietly(said: str) -> None:
    """Keep to itself what the kernel says of its compiling, once for each process."""
    del said


def _match_one(job: TakeJob, gain_db: float, notices: tuple[str, ...]) -> MatchedTake:
    log = read_log(log_path(job.out))
    if gain_db:
        log = quieter(job, log, gain_db)
    proof = assay_file(job.out, log, TOLERANCE_CENTS)
    return MatchedTake(job.score.tuning, job.out, log, gain_db, proof, notices)


def quieter(job: TakeJob, log: TakeLog, gain_db: float) -> TakeLog:
    """Write a take anew, `gain_db` (below 0) louder, and its log; return the log."""
    gain = np.float32(10.0 ** (gain_db / 20.0))
    samples, _ = soundfile.read(job.out, dtype="float32", always_2d=True)
    samples = np.ascontiguousarray(samples.T * gain)
    blocks = (samples[:, at : at + _BLOCK] for at in range(0, samples.shape[1], _BLOCK))

    def turned_down(measured: Measured) -> TakeLog:
        return replace(
            log,
            level_db=log.level_db + gain_db,
            loudness_lufs=measured.loudness_lufs,
            true_peak_dbtp=measured.true_peak_dbtp,
            notes=tuple(replace(note, level_db=note.level_db + gain_db) for note in log.notes),
        )

    head = TakeHead(log.title, describe_tuning(job.score.tuning), log.rate)
    measuring = Measuring(log.rate, _BLOCK, log.kernel)
    return write_take(job.out, head, log.format, measuring, blocks, turned_down)
