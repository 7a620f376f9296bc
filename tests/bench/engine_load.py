"""What Meantide's own engine takes: partials held, music rendered, an idle engine, an event.

    python tests/bench/engine_load.py held KERNEL FRAMES              the partials held, as JSON
    python tests/bench/engine_load.py block KERNEL FRAMES PARTIALS    seconds per block, as JSON
    python tests/bench/engine_load.py idle KERNEL FRAMES              an engine that nobody plays
    python tests/bench/engine_load.py events KERNEL FRAMES CHORD PATCH    note ons and note offs
    python tests/bench/engine_load.py music KERNEL FILE               a MIDI file rendered
    python tests/bench/engine_load.py start KERNEL                    a kernel made ready
    python tests/bench/engine_load.py peak                            the machine's float32 product

The patch is that of `pyo_baseline.py`: the same frequencies, as notes of 32 harmonics, each partial
with a level and a decay of its own so that its amplitude moves through the whole measurement, the
notes panned from left to right. What is timed is `Performance.fill`, all of it: envelopes, mixing,
level, high-pass and limiter too, of which the baseline has none. Notes begin at any sample, not
together, as players have it. The quickest of many batches is told, as there.
"""

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported: one core

import engine_fm
import numpy as np
import pyo_baseline

from meantide.catalogue import Catalogue
from meantide.offline.midi_piece import read_midi_score
from meantide.offline.render import Settings, blocks_of, render
from meantide.offline.score import Overrides
from meantide.offline.timeline import lay_out
from meantide.perform.event import Event, Kind, Pitch, PitchKind
from meantide.perform.performance import MOST_NOTES, Performance
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.kernels import kernel_named

RATE_HZ = pyo_baseline.RATE_HZ
PARTIALS = pyo_baseline.PARTIALS_PER_NOTE
PARTS = 8  # places from left to right
ONSETS = 64  # samples over which the notes begin
QUIET_DB = -90.0  # so that thousands of notes together need no limiting
EVENT_ROUNDS = 200
NOBODY = 9_999  # an id that no note has
RENDERINGS = 10
SETTLE_S = 0.3  # by then a note's attack and decay are past


def measure(kernel: str, frames: int, partials: int) -> float:
    """Return the seconds that the engine takes for one block, in a process of its own."""
    return float(run("block", kernel, str(frames), str(partials))["seconds_per_block"])


def run(*arguments: str) -> dict[str, float]:
    """Return what this program says when it is run with `arguments`."""
    command = [sys.executable, __file__, *arguments]
    child = subprocess.run(command, check=True, capture_output=True, text=True)
    answer: dict[str, float] = json.loads(child.stdout)
    return answer


def bench_voice() -> AdditiveVoice:
    """Return 32 harmonics, each with its own level and a decay of its own, 200 to 600 s."""
    partials = (Partial(float(n), -3.0 * (n % 7), 600.0 / (1.0 + n / 16.0)) for n in range(1, 33))
    envelope = Envelope(attack_s=0.01, decay_s=0.1, sustain_db=-3.0, release_s=0.05)
    return AdditiveVoice("bench", tuple(partials), envelope)


def stage(kernel: str, frames: int, notes: int, patch: str = "additive") -> Performance:
    """Return a performance with room for `notes`, its parts panned from left to right.

    `patch`: "additive", or "fm" for that of `engine_fm.py`.
    """
    voice = engine_fm.voice(300.0) if patch == "fm" else bench_voice()
    performance = Performance(RATE_HZ, frames, notes, QUIET_DB, kernel=kernel_named(kernel, tell))
    for part in range(PARTS):
        performance.hand_over(part + 1, voice)
        performance.schedule(Event(Kind.VOICE, 0, part, value=part + 1))
        place = 2.0 * part / (PARTS - 1) - 1.0
        performance.schedule(Event(Kind.PAN, 0, part, amount=place))
    return performance


def note_on(number: int, sample: int) -> Event:
    """Return the beginning of note `number` of the baseline's patch."""
    first_hz = pyo_baseline.frequencies_hz((number % 39 + 1) * PARTIALS)[-PARTIALS]
    pitch = Pitch(PitchKind.HERTZ, first_hz)
    return Event(Kind.NOTE_ON, sample, number % PARTS, number, pitch, 0.7)


def fill_for(performance: Performance, out: np.ndarray, seconds: float) -> None:
    """Play on for so many seconds of music."""
    for _ in range(math.ceil(seconds * RATE_HZ / out.shape[1])):
        performance.fill(out)


def quickest(act: Callable[[], object]) -> float:
    """Return the seconds of one `act`: the mean of a batch, the quickest batch of many."""

    def batch(times: int) -> float:
        start_s = time.perf_counter()
        for _ in range(times):
            act()
        return (time.perf_counter() - start_s) / times

    times = max(1, round(pyo_baseline.BATCH_S / batch(pyo_baseline.WARM_BLOCKS)))
    return min(batch(times) for _ in range(pyo_baseline.BATCHES))


def block(kernel: str, frames: int, partials: int) -> dict[str, float]:
    """Time a block with `partials` sounding.

    As many whole notes play as come nearest, and no more than a performance has room for; the time
    is scaled by what is left over.
    """
    notes = max(1, min(MOST_NOTES, round(partials / PARTIALS)))
    performance, out = stage(kernel, frames, notes), np.zeros((2, frames), np.float32)
    for number in range(notes):
        performance.schedule(note_on(number, number * 37 % ONSETS))
    fill_for(performance, out, SETTLE_S)
    block_s = quickest(lambda: performance.fill(out)) * partials / (notes * PARTIALS)
    if len(performance.notes) != notes or not out.any(axis=1).all():
        raise RuntimeError("notes are silent: the patch was not what is to be measured")
    if performance.counts.refused or performance.line.most_taken_db:
        raise RuntimeError("something was limited: the patch was not what is to be measured")
    return {"seconds_per_block": block_s, "load": block_s * RATE_HZ / frames}


def held(kernel: str, frames: int) -> dict[str, float]:
    """Find how many partials take exactly as long as a block lasts."""
    return {"partials_held": pyo_baseline.held(frames, partial(measure, kernel))}


def idle(kernel: str, frames: int) -> dict[str, float]:
    """Time a block of an engine in which no note sounds, made ready to play."""
    performance, out = stage(kernel, frames, 64), np.zeros((2, frames), np.float32)
    fill_for(performance, out, SETTLE_S)
    block_s = quickest(lambda: performance.fill(out))
    return {"seconds_per_block": block_s, "share": block_s * RATE_HZ / frames}


def events(kernel: str, frames: int, chord: int, patch: str) -> dict[str, float]:
    """Time a chord's note ons and note offs, in microseconds a note, and what splits a block.

    A note's is what a block in which they happen takes more than one that is split at the same
    place by an event that does nothing; that of the split, in microseconds, what such a block takes
    more than a whole one. Scheduling the events counts. The quickest of many blocks of each kind
    is taken.
    """
    performance, out = stage(kernel, frames, 64, patch), np.zeros((2, frames), np.float32)
    fill_for(performance, out, SETTLE_S)
    took: dict[str, list[float]] = {"on": [], "held": [], "split": [], "off": []}

    def timed(kind: str, happening: list[Event]) -> None:
        start_s = time.perf_counter()
        for event in happening:
            performance.schedule(event)
        performance.fill(out)
        took[kind].append(time.perf_counter() - start_s)

    for turn in range(EVENT_ROUNDS):
        now = performance.sample + 17 * turn % frames  # wherever in a block
        timed("on", [note_on(number, now) for number in range(chord)])
        fill_for(performance, out, 0.02)
        timed("held", [])
        nobody = performance.sample + 17 * turn % frames
        timed("split", [Event(Kind.NOTE_OFF, nobody, note=NOBODY)])
        now = performance.sample + 17 * turn % frames
        timed("off", [Event(Kind.NOTE_OFF, now, note=number) for number in range(chord)])
        while len(performance.notes):
            performance.fill(out)
    best = {kind: min(times) for kind, times in took.items()}
    return {
        "note_on_us": (best["on"] - best["split"]) / chord * 1e6,
        "note_off_us": (best["off"] - best["split"]) / chord * 1e6,
        "split_us": (best["split"] - best["held"]) * 1e6,
    }


def music(kernel: str, file: Path) -> dict[str, float]:
    """Render `file` as `meantide render` does, without and with writing the take and its log."""
    timeline = lay_out(read_midi_score(file, Catalogue(), Overrides()), RATE_HZ)
    settings, ready = Settings(), kernel_named(kernel, tell)
    length_s = 0.0

    def sound_only() -> None:
        nonlocal length_s
        performance = Performance(
            RATE_HZ, settings.block, settings.notes, settings.level_db, kernel=ready
        )
        timeline.hand_over_to(performance)
        for _ in blocks_of(performance, timeline.events, settings.block):
            pass
        length_s = performance.sample / RATE_HZ

    def best_s(act: Callable[[], object]) -> float:
        took = []
        for _ in range(RENDERINGS):
            start_s = time.perf_counter()
            act()
            took.append(time.perf_counter() - start_s)
        return min(took)

    sound_s = best_s(sound_only)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "take.wav"
        whole_s = best_s(lambda: render(timeline, out, settings, file.name, ready))
    return {
        "music_s": length_s,
        "notes": len(timeline.notes),
        "seconds_per_second": length_s / sound_s,
        "seconds_per_second_written": length_s / whole_s,
    }


def start(kernel: str) -> dict[str, float]:
    """Time how long a kernel takes to be ready in a new process, its libraries included."""
    start_s = time.perf_counter()
    kernel_named(kernel, tell)
    return {"seconds": time.perf_counter() - start_s}


def peak() -> dict[str, float]:
    """Measure the float32 additions and multiplications a second of one core's matrix product."""
    size = 512
    a, b = np.ones((2, size, size), np.float32)
    out = np.empty_like(a)
    return {"flops": 2.0 * size**3 / quickest(lambda: np.matmul(a, b, out=out))}


def tell(said: str) -> None:
    """Say what takes so long."""
    print(said, file=sys.stderr)


MEASUREMENTS: dict[str, tuple[Callable[..., dict[str, float]], tuple[type, ...]]] = {
    "held": (held, (str, int)),
    "block": (block, (str, int, int)),
    "idle": (idle, (str, int)),
    "events": (events, (str, int, int, str)),
    "music": (music, (str, Path)),
    "start": (start, (str,)),
    "peak": (peak, ()),
}


def main(arguments: list[str]) -> None:
    """Print one measurement as JSON."""
    act, kinds = MEASUREMENTS.get(arguments[0] if arguments else "", (None, ()))
    if act is None or len(arguments) != len(kinds) + 1:
        raise SystemExit(__doc__)
    given = [kind(text) for kind, text in zip(kinds, arguments[1:], strict=True)]
    print(json.dumps(act(*given)))


if __name__ == "__main__":
    main(sys.argv[1:])
