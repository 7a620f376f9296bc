"""How many FM notes of four operators pyo's own objects hold in real time.

    python tests/bench/pyo_fm_baseline.py FRAMES NOTES    seconds per block, as JSON

Four sines in a row, each in the phase of the next (`Sine(phase=)` is an audio input in cycles), the
gain of each on a linear ramp that moves through the whole measurement, as our operators' envelopes
do; the last is heard, sent straight to the left or to the right. As in `pyo_baseline.py` the
fastest of pyo's ways is taken: lists, the single-precision build, `SigTo`. Nothing is heard: the
manual server computes a block when asked to.
"""

import contextlib
import importlib
import io
import json
import math
import os
import sys
import time

RATE_HZ = 48_000
RAMP_S = 3_600.0  # longer than any measurement, so no ramp ever rests
WARM_BLOCKS = 16
BATCHES = 50  # the quickest of so many passes over what else the machine does
BATCH_S = 0.02
RATIOS = (3.0, 2.0, 1.0, 1.0)
"""Of the operators, from the one that nothing moves to the one that is heard."""
INDICES = (0.5, 1.0, 2.0)
"""Radians, by which each of the first three moves the next."""


def frequencies_hz(notes: int) -> list[float]:
    """Return semitone after semitone from 55 to 494 Hz, and round again."""
    return [55.0 * 2 ** (note % 39 / 12) for note in range(notes)]


def seconds_per_block(frames: int, notes: int) -> float:
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
    hz = frequencies_hz(notes)
    spread = [1.0 + note % 7 / 7.0 for note in range(notes)]
    ramps, sound = [], None
    for ratio, index in zip(RATIOS, (*INDICES, None), strict=True):
        goal = 0.5 / notes if index is None else index / (2.0 * math.pi)
        ramp = pyo.SigTo(value=[goal * share for share in spread], time=RAMP_S, init=0.0)
        own = [ratio * f for f in hz]
        sound = (
            pyo.Sine(freq=own, mul=ramp)
            if sound is None
            else pyo.Sine(freq=own, phase=sound, mul=ramp)
        )
        ramps.append((ramp, sound))
    heard = ramps[-1][1].out()

    def run(blocks: int) -> float:
        start_s = time.perf_counter()
        for _ in range(blocks):
            server.process()
        return (time.perf_counter() - start_s) / blocks

    blocks = max(1, round(BATCH_S / run(WARM_BLOCKS)))
    before = [level for ramp, _ in ramps for level in ramp.get(all=True)]
    block_s = min(run(blocks) for _ in range(BATCHES))
    after = [level for ramp, _ in ramps for level in ramp.get(all=True)]
    if not all(early < late for early, late in zip(before, after, strict=True)):
        raise RuntimeError("a ramp stood still: the patch was not what is to be measured")
    if len(heard) != notes or not any(heard.get(all=True)):
        raise RuntimeError("the notes are silent: the patch was not what is to be measured")
    server.stop()
    server.shutdown()
    return block_s


def main(arguments: list[str]) -> None:
    """Print one measurement as JSON."""
    if len(arguments) != 2 or not all(a.isdecimal() and int(a) > 0 for a in arguments):
        raise SystemExit("usage: pyo_fm_baseline.py FRAMES NOTES, each a whole number above 0")
    frames, notes = int(arguments[0]), int(arguments[1])
    block_s = seconds_per_block(frames, notes)
    load = block_s * RATE_HZ / frames
    answer = {
        "frames": frames,
        "rate_hz": RATE_HZ,
        "notes": notes,
        "seconds_per_block": block_s,
        "load": load,
        "notes_in_real_time": notes / load,
    }
    print(json.dumps(answer))


if __name__ == "__main__":
    main(sys.argv[1:])
