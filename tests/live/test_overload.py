"""Overload by a clock of our own: what is thinned and when, recovery, journals, figures told."""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from live.conftest import wait_for
from meantide.catalogue import Catalogue
from meantide.journal import JournalHead, read_journal
from meantide.live.block_times import BlockTimes, LostBlocks
from meantide.live.clock_host import ClockHost
from meantide.live.control import Control
from meantide.live.engine import Engine
from meantide.live.journal_file import JournalFile
from meantide.live.overload import FEWEST_LEFT, RISE_BELOW, THIN_ABOVE, Overload
from meantide.live.overload_words import AGAIN_AFTER, OverloadWords
from meantide.live.state import State
from meantide.offline.journal_take import render_journal
from meantide.perform.event import ALL_PARTS, Event, Kind, OutcomeKind, Pitch, PitchKind
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.envelope import Envelope
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.voices import Voice
from playing import RATE, SINE, hertz, saw
from stage import Stage

BLOCK = 256
BLOCK_S = BLOCK / RATE


class Clock:
    """A clock that stands still, but while a block is made: for as long as `takes_s` says."""

    def __init__(self, takes_s: Callable[[], float]) -> None:
        self.now_s, self.takes_s, self._making = 100.0, takes_s, False

    def __call__(self) -> float:
        if self._making:
            self.now_s += self.takes_s()
        self._making = not self._making
        return self.now_s


class Set:
    """An engine of 64 notes in which each costs so much of a block, and its journal."""

    def __init__(self, share_a_note: float, folder: Path | None = None) -> None:
        self.share_a_note = share_a_note
        self.clock = Clock(lambda: self.engine.sounding * self.share_a_note * BLOCK_S)
        kernel = NumpyKernel()
        self.engine = Engine(RATE, BLOCK, 64, kernel, self.clock)
        self.journal = None
        if folder is not None:
            head = JournalHead(RATE, BLOCK, 64, kernel.name)
            self.journal = JournalFile(folder / "set.jsonl", head)
        state = State.opening(Tuning(Scale.equal(12), Anchor.parse("A4=440")), SINE, -30.0)
        self.control = Control(self.engine, Catalogue(), state, self if self.journal else None)
        self.control.start(0.02)
        self.made: list[np.ndarray] = []

    def value_handed_over(self, number: int, value: Tuning | Voice) -> None:
        if self.journal is not None:
            self.journal.value(number, value)

    def part_made(self, number: int, name: str) -> None:
        if self.journal is not None:
            self.journal.part(number, name)

    def strike(self, first: int, count: int, velocity: float = 0.5) -> None:
        self.control.begin(None)
        for number in range(first, first + count):
            self.control.part("main").note_on(hertz(200.0 + 7.0 * number), velocity, number)
        self.control.commit()

    def play(self, blocks: int) -> None:
        for _ in range(blocks):
            out = np.zeros((2, BLOCK), np.float32)
            self.engine.fill(out)
            self.made.append(out)

    @property
    def thinned(self) -> int:
        return self.engine.counts.thinned


def test_as_many_as_hold_are_left_alone() -> None:
    live = Set(0.74 / 50)
    live.strike(0, 50)
    live.play(500)
    assert live.thinned == 0
    assert live.engine.load.limit == 64
    assert live.engine.load.now == pytest.approx(0.74)


def test_too_many_are_thinned_a_few_a_block_to_as_many_as_hold() -> None:
    live = Set(1 / 40)  # 40 take exactly as long as they last
    live.strike(0, 60)
    sounding = [60]
    live.play(2)
    assert live.thinned == 0  # two long blocks are a stall
    for _ in range(30):
        live.play(1)
        sounding.append(live.engine.sounding)
    assert max(a - b for a, b in pairwise(sounding)) <= 4
    assert sounding[-1] == live.engine.load.limit
    assert 20 <= sounding[-1] <= 24  # three fifths of 40
    assert live.engine.load.now < RISE_BELOW + 0.01
    outcomes = [o for o in live.engine.outcomes if o.kind == OutcomeKind.THINNED]
    assert len(outcomes) == live.thinned == 60 - sounding[-1]


def test_the_quietest_that_were_let_go_are_the_first() -> None:
    live = Set(1 / 40)
    live.control.part("main").change_voice(saw(1, Envelope(0.005, 0.01, 0.0, 20.0)))
    live.control.commit()
    live.strike(0, 20, 0.9)
    live.strike(20, 20, 0.4)
    live.strike(40, 20, 0.6)
    live.play(1)
    live.control.begin(None)
    for number in range(50, 60):
        live.control.part("main").note_off(Pitch(PitchKind.KEY, float(number)))
    live.control.commit()
    live.play(40)
    gone = [o.note for o in live.engine.outcomes if o.kind == OutcomeKind.THINNED]
    assert set(gone[:10]) == set(range(50, 60))  # let go, though louder than those held
    assert set(gone[10:30]) == set(range(20, 40))  # then the quietest of those held
    assert not set(gone) & set(range(20))


@pytest.mark.parametrize("long_blocks", [1, 2])
def test_a_stall_of_the_machine_thins_nothing(long_blocks: int) -> None:
    live = Set(0.4 / 60)
    live.strike(0, 60)
    live.play(50)
    quick = live.clock.takes_s
    live.clock.takes_s = lambda: 0.040
    live.play(long_blocks)
    live.clock.takes_s = quick
    live.play(100)
    assert live.thinned == 0
    assert live.engine.load.worst == pytest.approx(0.040 / BLOCK_S)
    assert live.engine.load.long == long_blocks


def test_what_takes_long_without_notes_takes_no_notes() -> None:
    live = Set(0.0)
    live.strike(0, FEWEST_LEFT)
    live.clock.takes_s = lambda: 2.0 * BLOCK_S
    live.play(100)
    assert live.thinned == 0
    assert live.engine.load.long == 100


def test_the_limit_keeps_new_notes_to_what_holds_and_rises_again_when_there_is_time() -> None:
    live = Set(1 / 40)
    live.strike(0, 60)
    live.play(40)
    limit = live.engine.load.limit
    live.strike(100, 20, 0.9)  # louder: some of those before make room
    live.play(20)
    assert live.engine.sounding <= live.engine.load.limit + 1
    assert live.engine.load.limit <= limit + 1
    live.share_a_note = 0.1 / 40
    rises = []
    for _ in range(400):
        live.play(10)
        rises.append(live.engine.load.limit)
    assert rises[-1] == 64
    assert rises == sorted(rises)
    seconds = (rises.index(64) + 1) * 10 * BLOCK_S
    assert 3.0 < seconds < 12.0  # from 22 or so by a sixteenth, at least one, each 0.25 s
    before = live.thinned
    live.strike(200, 64)
    live.play(50)
    assert live.thinned == before
    assert live.engine.sounding == 64


def test_a_thinned_set_is_rendered_from_its_journal_bit_for_bit(tmp_path: Path) -> None:
    live = Set(1 / 40, tmp_path)
    live.strike(0, 60)
    live.play(100)
    live.strike(70, 30, 0.8)
    live.play(100)
    assert live.thinned > 40
    assert live.journal is not None
    live.journal.close(live.engine)
    journal = read_journal(tmp_path / "set.jsonl")
    assert sum(event.kind == Kind.THIN for event in journal.events) >= 10
    take = tmp_path / "take.wav"
    log = render_journal(journal, take, "float32", "set", NumpyKernel())
    offline = soundfile.read(take, dtype="float32")[0].T
    heard = np.concatenate(live.made, axis=1)
    late = live.engine.latency_samples  # which takes are without
    assert np.abs(heard).max() > 1e-4
    assert np.array_equal(offline[:, : heard.shape[1] - late], heard[:, late:])
    ended = sorted(note.end for note in log.notes if note.end < len(live.made) * BLOCK)
    told = sorted(o.sample for o in live.engine.outcomes if o.kind == OutcomeKind.THINNED)
    assert ended == told  # the log says of each that it ended where its fade began


def test_thinning_can_be_left_out_for_measuring() -> None:
    live = Set(1 / 40)
    live.engine = Engine(RATE, BLOCK, 64, NumpyKernel(), live.clock, thins=False)
    live.control.engine = live.engine
    live.control.start(0.02)
    live.strike(0, 60)
    live.play(100)
    assert (live.thinned, live.engine.sounding) == (0, 60)


def test_a_real_engine_asked_for_far_too_many_notes_thins_them_and_recovers() -> None:
    """By the real clock: 204,800 partials in blocks of 64, ten times what the kernel holds here."""
    engine = Engine(RATE, 64, 1024, NumpyKernel())
    engine.hand_over(saw(200))
    engine.send([Event(Kind.VOICE, value=1), Event(Kind.LEVEL, amount=-60.0)])
    engine.send(
        [Event(Kind.NOTE_ON, note=n, pitch=hertz(50.0 + n / 16), amount=0.5) for n in range(1024)]
    )
    host = ClockHost(RATE, 64)
    host.start(engine.fill)
    try:
        wait_for("notes to be thinned", lambda: engine.counts.thinned > 100)
        limit = engine.load.limit
        assert limit < 1024
        engine.send([Event(Kind.SOUND_OFF, part=ALL_PARTS)])
        wait_for("the limit to rise", lambda: engine.load.limit > limit)
    finally:
        host.stop()
    assert engine.health.errors == 0
    assert engine.load.long > 0
    assert engine.load.blocks == engine.health.blocks


# -- the parts ------------------------------------------------------------------------------


@given(st.lists(st.floats(0.0, 40.0), min_size=1, max_size=300), st.floats(0.0, 1.0))
def test_a_quantile_is_that_of_numpy_to_the_next_sixteenth_of_an_octave(
    shares: list[float], part: float
) -> None:
    times = BlockTimes()
    for share in shares:
        times.add(share)
    exact = float(np.quantile(shares, part, method="inverted_cdf"))
    told = times.quantile(part)
    assert exact <= told * (1 + 1e-12)
    assert told <= max(exact * 2 ** (1 / 16) * (1 + 1e-9), 2.0**-12 * 2 ** (1 / 16))
    assert times.worst == max(shares)
    assert times.blocks == len(shares)
    assert times.long == sum(share > 1 for share in shares)


def test_no_blocks_have_no_times() -> None:
    assert BlockTimes().quantile(0.5) == 0.0


@pytest.mark.parametrize("drift", [-5e-4, 0.0, 4e-4])
def test_lost_blocks_are_counted_whatever_the_devices_clock_and_its_jitter(drift: float) -> None:
    chance = np.random.default_rng(5)
    lost, at, missed = LostBlocks(BLOCK_S), 50.0, 0
    for turn in range(20_000):
        skip = (turn % 1_000 == 999) * (1 + turn // 1_000 % 3)
        missed += skip
        at += (1 + skip) * BLOCK_S * (1 + drift)
        lost.asked(at + BLOCK_S * chance.uniform(0.0, 0.3))
    assert lost.lost == missed


def test_blocks_that_take_three_times_as_long_as_they_last_lose_two_of_three() -> None:
    lost = LostBlocks(BLOCK_S)
    for turn in range(301):
        lost.asked(3.0 * BLOCK_S * turn)
    assert lost.lost == pytest.approx(600, abs=2)


def test_blocks_that_are_long_in_turn_are_overload() -> None:
    """Blocks of 16 samples: a cell of 64 begins in every fourth."""
    overload = Overload(RATE, 16, 64)
    for turn in range(12):
        overload.block_took(0.9 if turn % 4 == 0 else 0.1, 40)
    assert overload.limit < 40
    assert THIN_ABOVE < 0.9


def test_what_is_said_of_overload_and_of_its_end() -> None:
    live, words = Set(1 / 40), OverloadWords(64)

    def look() -> str | None:
        return words.look(live.thinned, live.engine.limit)

    assert look() is None
    live.strike(0, 60)
    live.play(10)
    first = look()
    assert first is not None
    assert first.startswith("overload: blocks took too long, ")
    assert f"at most {live.engine.load.limit} of 64 sound" in first
    assert look() is None
    live.strike(100, 30)
    live.play(10)
    later = [look() for _ in range(AGAIN_AFTER)]
    assert [line is None for line in later] == [True] * (AGAIN_AFTER - 2) + [False, True]
    live.share_a_note = 0.0
    live.play(3_000)
    total = live.thinned
    assert look() == (f"overload past: up to 64 notes sound again; {total} were faded out so far")
    assert look() is None
    live.share_a_note = 1 / 40
    live.strike(200, 60)
    live.play(10)
    again = look()
    assert again is not None
    assert f"{live.thinned - total} notes were faded out" in again


def test_load_is_told_to_whoever_asks() -> None:
    stage = Stage()
    before = stage.engine.health.blocks
    try:
        stage.ask("/note/on", "A4", 0.5, 1)
        stage.play(0.5)
        [(address, pairs)] = stage.ask("/ask/load")
        assert address == "/reply/load"
        said = dict(zip(pairs[::2], pairs[1::2], strict=True))
    finally:
        stage.close()
    assert said["blocks"] - before == round(0.5 * RATE / BLOCK)
    assert said["block_ms"] == pytest.approx(1000 * BLOCK / RATE, rel=1e-6)
    assert 0 < said["median_ms"] <= said["high_ms"] <= said["worst_ms"] * (1 + 1e-6)
    assert (said["notes"], said["most"], said["limit"], said["thinned"]) == (1, 16, 16, 0)
    assert said["waiting"] == 0
