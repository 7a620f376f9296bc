"""What an engine needs beside arithmetic: memory while it plays, and time until it sounds.

    python tests/bench/engine_upkeep.py memory KERNEL      bytes that a million samples leave behind
    python tests/bench/engine_upkeep.py import             seconds to import the package
    python tests/bench/engine_upkeep.py first KERNEL       seconds from nothing to the first sound

Each is measured in processes of its own; times are those of the whole process, the quickest of
several.
"""

import gc
import json
import os
import subprocess
import sys
import time
import tracemalloc

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported: one core

SAMPLES = 1_000_000
FRAMES = 256
ROUNDS = 5
FIRST_SOUND = """
import sys
import numpy as np
from meantide.catalogue import Catalogue
from meantide.live.control import Control
from meantide.live.engine import Engine
from meantide.live.state import MAIN, State
from meantide.perform.event import Pitch, PitchKind
from meantide.pitch import Tuning
from meantide.voice.kernels import kernel_named
catalogue = Catalogue()
kernel = kernel_named(sys.argv[1], print)
tuning = Tuning(catalogue.scale("31-equal"), catalogue.anchor("a440"), catalogue.layout("linear"))
engine = Engine(48_000, 256, 64, kernel)
state = State.opening(tuning, catalogue.voice("plain-reed"), -18.0)
control = Control(engine, catalogue, state)
control.start(0.0)
control.part(MAIN).note_on(Pitch(PitchKind.KEY, 69.0), 0.7, 1)
control.commit()
out = np.zeros((2, 256), np.float32)
while not out.any():
    engine.fill(out)
"""


def run(*arguments: str) -> dict[str, float]:
    """Return what this program says when it is run with `arguments`."""
    command = [sys.executable, __file__, *arguments]
    child = subprocess.run(command, check=True, capture_output=True, text=True)
    answer: dict[str, float] = json.loads(child.stdout)
    return answer


def memory(kernel: str) -> dict[str, float]:
    """Play a million samples of notes that come, move and go; tell what more memory is in use.

    A first half million warms everything up; what is in use is compared over the second and
    third.
    """
    import engine_load  # loads the engine, which the other measurements time
    import numpy as np

    from meantide.perform.event import Event, Kind

    performance = engine_load.stage(kernel, FRAMES, 64)
    out = np.zeros((2, FRAMES), np.float32)
    number = 0

    def play(samples: int) -> None:
        nonlocal number
        goal = performance.sample + samples
        while performance.sample < goal:
            now = performance.sample
            performance.schedule(engine_load.note_on(number, now + 17))
            if number >= 80:  # more than there is room for, so some are taken
                performance.schedule(Event(Kind.NOTE_OFF, now + 90, note=number - 80))
            number += 1
            for _ in range(4):
                performance.fill(out)
            performance.outcomes.clear()

    tracemalloc.start()
    in_use = []
    for _ in range(3):
        play(SAMPLES // 2)
        gc.collect()
        in_use.append(tracemalloc.get_traced_memory()[0])
    return {
        "first_bytes": in_use[0],
        "grown_bytes": in_use[2] - in_use[0],
        "notes": float(number),
        "peak_bytes": tracemalloc.get_traced_memory()[1],
    }


def quickest_run(*arguments: str) -> float:
    """Return the seconds of the quickest of several runs of Python with `arguments`."""
    took = []
    for _ in range(ROUNDS):
        start_s = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        took.append(time.perf_counter() - start_s)
    return min(took)


def importing() -> dict[str, float]:
    """Time the import of the package and of its command, less Python's own start."""
    bare_s = quickest_run("-c", "pass")
    return {
        "package_s": quickest_run("-c", "import meantide") - bare_s,
        "command_s": quickest_run("-c", "import meantide.command") - bare_s,
    }


def first(kernel: str) -> dict[str, float]:
    """Time a whole process from its start until a block of an engine in it sounds."""
    return {"seconds": quickest_run("-c", FIRST_SOUND, kernel)}


def main(arguments: list[str]) -> None:
    """Print one measurement as JSON."""
    if arguments[:1] == ["memory"] and len(arguments) == 2:
        answer = memory(arguments[1])
    elif arguments == ["import"]:
        answer = importing()
    elif arguments[:1] == ["first"] and len(arguments) == 2:
        answer = first(arguments[1])
    else:
        raise SystemExit(__doc__)
    print(json.dumps(answer))


if __name__ == "__main__":
    main(sys.argv[1:])
