"""How many partials pyo's own sine objects hold in real time: the baseline of our benchmark.

    python tests/bench/pyo_baseline.py FRAMES PARTIALS    seconds per block, as JSON
    python tests/bench/pyo_baseline.py FRAMES             the partials held, as JSON

The patch is that of an additive voice: each partial a sine of its own frequency, its amplitude on
a linear ramp that moves through the whole measurement, its sound in the stereo output. Of the ways
to say this in pyo 1.1.0 the fastest found is taken, so that a ratio against it favours pyo: the
single-precision build (the double cost 5 % more); one `Sine` with lists; `SigTo` for the ramps
(`Linseg` cost 4 % more at 256 frames, 16 % at 64); each partial sent straight to the left or to the
right (`mix(2)` cost 7 and 34 % more, `Pan` and `SPan` on notes of 32 partials 4 to 6 % at 256).
`FastSine` is not taken: it is a parabola with a third harmonic at -59 dB, where `Sine` has nothing
over -109 dB (1 kHz, Hann window). A high `Sine` costs more than a low one, so the frequencies are
those of notes, and are here for the other side of the comparison to use too.

Nothing is heard: the manual server computes a block when asked to.
"""

import contextlib
import importlib
import io
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable

RATE_HZ = 48_000
RAMP_S = 3_600.0  # longer than any measurement, so no ramp ever rests
WARM_BLOCKS = 16
BATCHES = 50  # the quickest of so many passes over what else the machine does
BATCH_S = 0.02
PARTIALS_PER_NOTE = 32


def frequencies_hz(partials: int) -> list[float]:
    """Return harmonics 1 to 32 of semitone after semitone from 55 to 494 Hz, and round again."""
    return [
        55.0 * 2 ** (index // PARTIALS_PER_NOTE % 39 / 12) * (index % PARTIALS_PER_NOTE + 1)
        for index in range(partials)
    ]


def measure(frames: int, partials: int) -> float:
    """Return the seconds that pyo takes for one block, in a process of its own.

    `frames` is the length of a block in samples, `partials` the number of sines in the patch.
    """
    command = [sys.executable, __file__, str(frames), str(partials)]
    child = subprocess.run(command, check=True, capture_output=True, text=True)
    seconds: float = json.loads(child.stdout)["seconds_per_block"]
    return seconds


def held(frames: int, measured: Callable[[int, int], float] = measure) -> int:
    """Return how many partials take exactly as long as a block lasts.

    A partial costs nearly the same in a small patch and a large one, so each guess scales the last
    by the time it took, until one is within 5 % of the block and the line to it is short.
    """
    block_s = frames / RATE_HZ
    partials = 1_000
    for _ in range(12):
        load = measured(frames, partials) / block_s
        guess = max(1, round(partials / load))
        if abs(load - 1) < 0.05:
            return guess
        partials = guess
    raise RuntimeError(f"the measurements do not settle: {partials} partials, load {load:.2f}")


def seconds_per_block(frames: int, partials: int) -> float:
    """Build the patch in this process and time it; pyo allows one server to a process."""
    os.environ["PYO_GUI_WX"] = "0"
    with contextlib.redirect_stdout(io.StringIO()):  # it may speak of widgets
        pyo = importlib.import_module("pyo")
    server = pyo.Server(
        sr=RATE_HZ, nchnls=2, buffersize=frames, duplex=0, audio="manual", verbosity=1
    )
    server.deactivateMidi()
    server.boot()
    server.start()
    levels = [(1 + index % 7) / (8 * partials) for index in range(partials)]
    ramps = pyo.SigTo(value=levels, time=RAMP_S, init=0.0)
    sines = pyo.Sine(freq=frequencies_hz(partials), mul=ramps).out()

    def run(blocks: int) -> float:
        start_s = time.perf_counter()
        for _ in range(blocks):
            server.process()
        return (time.perf_counter() - start_s) / blocks

    blocks = max(1, round(BATCH_S / run(WARM_BLOCKS)))
    before = ramps.get(all=True)
    block_s = min(run(blocks) for _ in range(BATCHES))
    after = ramps.get(all=True)
    if not all(early < late for early, late in zip(before, after, strict=True)):
        raise RuntimeError("a ramp stood still: the patch was not what is to be measured")
    if len(sines) != partials or not any(sines.get(all=True)):
        raise RuntimeError("the sines are silent: the patch was not what is to be measured")
    server.stop()
    server.shutdown()
    return block_s


def main(arguments: list[str]) -> None:
    """Print one measurement, or the number of partials held, as JSON."""
    if len(arguments) not in (1, 2) or not all(a.isdecimal() and int(a) > 0 for a in arguments):
        raise SystemExit("usage: pyo_baseline.py FRAMES [PARTIALS], each a whole number above 0")
    frames = int(arguments[0])
    answer: dict[str, float] = {"frames": frames, "rate_hz": RATE_HZ}
    if len(arguments) == 1:
        answer["partials_held"] = held(frames)
    else:
        partials = int(arguments[1])
        answer["partials"] = partials
        answer["seconds_per_block"] = block_s = seconds_per_block(frames, partials)
        answer["load"] = block_s * RATE_HZ / frames
    print(json.dumps(answer))


if __name__ == "__main__":
    main(sys.argv[1:])
