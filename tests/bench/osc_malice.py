"""A million mutated packets through the real receiver: `python tests/bench/osc_malice.py [many]`.

Prints how many were refused, the longest that one took, and memory before and after.
"""

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from malice import mutants
from meantide.live.limits import Limits
from meantide.live.reception import Reception
from stage import Stage


def main(many: int) -> None:
    stage = Stage()
    reception = Reception(stage.control, Limits(1e12, 1e12))
    worst_s, faults, refused, begun_s = 0.0, 0, 0, time.perf_counter()
    for number, packet in enumerate(mutants(many, 1_000_000)):
        start_s = time.perf_counter()
        replies = reception.answer(packet, ("127.0.0.1", number % 100))
        worst_s = max(worst_s, time.perf_counter() - start_s)
        refused += any(address == "/error" for address, _ in replies)
        faults += any("fault in Meantide" in str(arguments) for _, arguments in replies)
        if number % 256 == 0:
            stage.play(0.006)
            stage.engine.dated_events()
        if number == many // 10:
            before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    after_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    stage.ask("/sound/off")
    stage.play(0.2)
    print(f"{many} packets in {time.perf_counter() - begun_s:.0f} s: {refused} refused")
    print(f"the longest took {1000 * worst_s:.1f} ms; faults of ours: {faults}")
    print(f"blocks that failed: {stage.engine.health.errors}; notes left: {stage.engine.sounding}")
    print(f"memory at a tenth: {before_mb:.0f} MB; at the end: {after_mb:.0f} MB at most")
    stage.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
