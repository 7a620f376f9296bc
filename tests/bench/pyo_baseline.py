"""How many partials pyo's own sine objects hold in real time: the baseline of our benchmark.

    python tests/bench/pyo_baseline.py FRAMES PARTIALS    seconds per block, as JSON
    python tests/bench/pyo_baseline.py FRAMES             the partials held, as JSON

The patch is that of an additive voice: each partial a sine of its own frequency, its amplitude on
a linear ramp that moves through the whole measurement, its sound in the stereo output. Of the ways
to say this in pyo 1.1.0 the fastest found is taken, so that a ratio against it favours pyo: the
single-precision build; one `Sine` with lists; `SigTo` for the ramps (`Linseg` cost 6 % more); each
partial sent straight to the left or the right (`mix`, `Pan` and `SPan` cost 5 to 10 % more).
`FastSine` is not taken: it is a parabola, up to 0.0011 off, no match for the sine it stands for.

Nothing is heard: the manual server computes a block when asked to.
"""

import contextlib
import importlib
import io
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable

RATE_HZ = 48_000
RAMP_S = 3_600.0  # longer than any measurement, so no ramp ever rests
WARM_BLOCKS = 16
BATCHES = 21  # the median of so many passes over a stall of the machine
BATCH_S = 0.05


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

    The cost of a partial grows a little as the patch outgrows the caches, so each guess is the
    straight line through the last two measurements, until one lies within 2 % of the block.
    """
    block_s = frames / RATE_HZ
    few, few_s = 500, measured(frames, 500)
    many = max(few + 1, round(few * block_s / few_s))
    for _ in range(6):
        many_s = measured(frames, many)
        guess = max(1, round(many + (block_s - many_s) * (many - few) / (many_s - few_s)))
        if abs(many_s / block_s - 1) < 0.02 or guess == many:
            return guess
        few, few_s, many = many, many_s, guess
    raise RuntimeError(f"the measurements do not settle: {many} partials take {many_s} s")


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
    frequencies_hz = [55.0 + 20_000.0 * index / partials for index in range(partials)]
    levels = [(1 + index % 7) / (8 * partials) for index in range(partials)]
    ramps = pyo.SigTo(value=levels, time=RAMP_S, init=0.0)
    sines = pyo.Sine(freq=frequencies_hz, mul=ramps).out()

    def run(blocks: int) -> float:
        start_s = time.perf_counter()
        for _ in range(blocks):
            server.process()
        return (time.perf_counter() - start_s) / blocks

    blocks = max(1, round(BATCH_S / run(WARM_BLOCKS)))
    before = ramps.get(all=True)
    block_s = statistics.median(run(blocks) for _ in range(BATCHES))
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
