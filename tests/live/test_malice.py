"""Mutated packets through the real receiver and a sounding engine: nothing hangs or sticks."""

import gc
import tracemalloc
from collections import Counter

from malice import SEEDS, mutants
from meantide.live.limits import Limits
from meantide.live.reception import Reception
from meantide.live.state import MOST_PARTS
from meantide.live.watchers import MOST_LEASES
from meantide.osc.reading import decode
from meantide.osc.writing import encode
from stage import Stage


def feed(stage: Stage, many: int, seed: int) -> Counter[str]:
    """Put packets through a reception that limits nobody; return how many replies of each kind."""
    reception = Reception(stage.control, Limits(1e12, 1e12))
    said: Counter[str] = Counter()
    for number, packet in enumerate(mutants(many, seed)):
        for address, arguments in reception.answer(packet, ("127.0.0.1", number % 100)):
            encode(address, *arguments)  # every reply can be sent
            said[address] += 1
            if address == "/error" and "fault in Meantide" in str(arguments[1]):
                raise AssertionError(f"{packet!r}: {arguments}")
        said["packets"] += 1
        if number % 64 == 0:
            stage.play(0.006)
        assert len(reception.watchers) <= MOST_LEASES
    assert len(stage.control.state.parts) <= MOST_PARTS
    return said


def test_the_seeds_are_traffic() -> None:
    for seed in SEEDS:
        assert decode(seed)


def test_twenty_thousand_mutants_do_no_harm() -> None:
    stage = Stage()
    try:
        said = feed(stage, 20_000, 40440)
        assert said["/error"] > 5_000  # else too tame
        assert said["/pong"] > 100  # or too wild to reach inside
        assert stage.engine.health.errors == 0
        assert stage.ask("/sustain", 0) == []
        assert stage.ask("/sound/off") == []
        stage.play(0.2)
        assert stage.engine.sounding == 0
        # held ones end by themselves: nothing waits for ever within the horizon
        assert stage.ask("/note/on", 60, 0.5, 1) == []
        assert stage.play(0.1).any()
    finally:
        stage.close()


def test_memory_stays_flat() -> None:
    stage = Stage()
    try:
        feed(stage, 2_000, 1)
        gc.collect()
        tracemalloc.start()
        feed(stage, 2_000, 2)
        gc.collect()
        first = tracemalloc.get_traced_memory()[0]
        feed(stage, 4_000, 3)
        gc.collect()
        grown = tracemalloc.get_traced_memory()[0] - first
        tracemalloc.stop()
    finally:
        stage.close()
    # the outcomes and dated events that nobody takes away are bounded, at a few hundred bytes each
    assert grown < 4_000 * 600
