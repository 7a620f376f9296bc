"""Both kernels through the same random events, with everything moving at once.

The numpy kernel is the oracle. What may lie between them is -110 dB of full scale, or of the notes
where these are louder: float32 carries some 4e-7 of each partial.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.random import Generator
from numpy.typing import NDArray

from meantide.voice.additive import AdditiveBank
from meantide.voice.bank import Strike
from meantide.voice.description import (
    MOST_PARTIALS,
    AdditiveVoice,
    Breath,
    Drift,
    Formant,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.envelope import Envelope, Stage
from meantide.voice.kernels import KERNELS, kernel_named
from meantide.voice.prepared import PreparedVoice, prepare_additive
from meantide.voice.touch import Answer, Response, Vibrato

RATE = 48_000
ROWS = np.arange(3)
BLOCKS = (1, 21, 64, 100, 256, 300, 1024)
APART = 10.0 ** (-110.0 / 20.0)
STATE = {  # what is left behind, and how far apart it may be: float64 laws, float32 sines
    "next_phases": 1e-7,
    "increments": 1e-9,
    "next_increments": 1e-9,
    "strengths": 3e-6,
    "amplitudes": 3e-6,
    "next_amplitudes": 3e-6,
    "breaths": 3e-6,
    "next_breaths": 3e-6,
    "bounds": 1e-4,
    "next_bounds": 1e-4,
    "next_ages": 0,
    "used": 0,
}
Samples = NDArray[np.float64]


def random_voice(random: Generator, partials: int) -> AdditiveVoice:
    """Return a voice that has about half of all there is, the partials anywhere."""

    def between(low: float, high: float) -> float:
        return float(random.uniform(low, high))

    def perhaps(value: object, otherwise: object) -> object:
        return value if random.random() < 0.5 else otherwise

    def answer() -> Answer:
        return Answer(between(-20, 6), between(-100, 100), between(-1, 1), between(-20, 6))

    copies = int(random.integers(1, 4)) if partials <= MOST_PARTIALS // 4 else 1
    table = (
        Partial(
            (n + 1) * between(0.5, 1.5),
            between(-40, 0),
            perhaps(None, between(0.05, 3.0)),  # type: ignore[arg-type]
            perhaps(None, between(0.001, 0.2)),  # type: ignore[arg-type]
        )
        for n in range(partials)
    )
    formants = tuple(
        Formant(between(200, 5000), between(50, 1000), between(-12, 24))
        for _ in range(random.integers(1, 9))
    )
    return AdditiveVoice(
        "anything",
        tuple(table),
        Envelope(between(0.001, 0.1), between(0.01, 0.3), between(-20, 0), between(0.01, 0.3)),
        second=SecondTable(tilt_db=between(-12, 6), even_db=between(-20, 6)),
        colour=between(0, 1),
        formants=perhaps(formants, ()),  # type: ignore[arg-type]
        drift=perhaps(Drift(between(0, 50), between(0, 6), between(0.1, 8)), Drift()),  # type: ignore[arg-type]
        unison=Unison(copies, between(0, 50)),
        breath=perhaps(Breath(between(-60, 0), between(100, 8000), between(1, 5)), Breath()),  # type: ignore[arg-type]
        vibrato=perhaps(  # type: ignore[arg-type]
            Vibrato(between(1, 12), between(0, 100), between(0, 0.1), between(0, 0.2)), Vibrato()
        ),
        response=perhaps(Response(answer(), answer(), answer()), Response()),  # type: ignore[arg-type]
    )


@dataclass
class Pair:
    """A bank of each kernel, to which the same is done."""

    count: int
    banks: list[AdditiveBank] = field(init=False)

    def __post_init__(self) -> None:
        self.banks = [
            AdditiveBank(len(ROWS), self.count, RATE, kernel_named(name, print)) for name in KERNELS
        ]

    def both(self, act: Callable[[AdditiveBank], object]) -> None:
        for bank in self.banks:
            act(bank)

    def read(self, samples: int) -> list[Samples]:
        """Return what each has to say, every note in a channel of its own."""
        outs = []
        for bank in self.banks:
            out = np.zeros((len(ROWS), samples), np.float32)
            bank.read(ROWS, np.eye(len(ROWS), dtype=np.float32), out)
            outs.append(out.astype(np.float64))
        return outs

    def check(self, samples: int) -> None:
        """Read on, and compare what is heard and what is left behind."""
        one, other = self.read(samples)
        assert np.isfinite(one).all()
        assert np.abs(one - other).max() < APART * max(1.0, np.abs(one).max())
        tables = [bank._table for bank in self.banks]
        for name, tolerance in STATE.items():
            ours, theirs = (np.asarray(getattr(table, name), np.float64) for table in tables)
            difference = ours - theirs
            if name == "next_phases":  # a cycle more or less is the same
                difference -= np.rint(difference)
            assert np.abs(difference).max() <= tolerance, name


def random_strike(random: Generator, seed: int) -> Strike:
    hz, from_hz = np.exp(random.uniform(np.log(30), np.log(4000), 2)).tolist()
    return Strike(
        hz,
        float(random.uniform(0.1, 1.0)),
        seed=seed,
        from_hz=from_hz,
        glide_samples=int(random.integers(0, 2) * random.integers(1, 5000)),
        bend_cents=float(random.uniform(-200, 200)),
        pressure=float(random.random()),
        timbre=float(random.random()),
    )


def happen(random: Generator, pair: Pair, voices: list[PreparedVoice]) -> None:
    """Let something happen to some of the notes."""
    some = np.sort(random.choice(ROWS, int(random.integers(1, len(ROWS) + 1)), replace=False))
    samples = int(random.choice([0, 1, 30, 64, random.integers(0, 6000)]))
    voice = voices[random.integers(len(voices))]
    kind = str(random.choice(["strike", "release", "retune", "revoice", "bend", "pressure",
                              "timbre"], p=[0.15, 0.05, 0.25, 0.2, 0.15, 0.1, 0.1]))  # fmt: skip
    if kind == "strike":
        strike = random_strike(random, samples)
        pair.both(lambda bank: bank.start(int(some[0]), voice, strike))
    elif kind == "release":
        stage = Stage.SILENCED if random.random() < 0.3 else Stage.RELEASED
        pair.both(lambda bank: bank.release(some, stage))
    elif kind == "retune":
        hz = np.exp(random.uniform(np.log(30), np.log(4000), len(some)))
        pair.both(lambda bank: bank.retune(some, hz, samples, None))
    elif kind == "revoice":
        pair.both(lambda bank: bank.revoice(some, voice, samples, None))
    else:
        goals = random.uniform(0, 1, len(some)) * (400.0 if kind == "bend" else 1.0)
        pair.both(lambda bank: bank.touch(kind, some, goals, samples))


@pytest.mark.parametrize("seed", range(24))
def test_kernels_stay_in_step_through_anything(seed: int) -> None:
    random = np.random.default_rng(seed)
    partials = int(random.choice([1, 5, 20, 60]))
    prepared = [prepare_additive(random_voice(random, partials), RATE) for _ in range(5)]
    voices = [each for each in prepared if each.count == prepared[0].count]
    pair = Pair(prepared[0].count)
    for row in ROWS.tolist():
        strike = random_strike(random, row)
        voice = voices[row % len(voices)]
        pair.both(lambda bank, row=row, voice=voice, strike=strike: bank.start(row, voice, strike))
    for _ in range(30):
        pair.check(int(random.choice([*BLOCKS, random.integers(1, 400)])))
        happen(random, pair, voices)


@pytest.mark.parametrize("block", BLOCKS)
def test_kernels_agree_in_blocks_of_any_size(block: int) -> None:
    """Everything moves in each of these notes all the time."""
    random = np.random.default_rng(block)
    full = AdditiveVoice(
        "full",
        tuple(Partial(n * 1.01**n, -6.0 * n % 30, 1.0, 0.02) for n in range(1, 21)),
        second=SecondTable(tilt_db=-6.0),
        formants=(Formant(700.0, 100.0, 12.0), Formant(2500.0, 300.0, 18.0)),
        drift=Drift(10.0, 2.0, 2.0),
        breath=Breath(-20.0),
        vibrato=Vibrato(6.0, 40.0),
        response=Response(pressure=Answer(6.0, 50.0, 0.5, 6.0)),
    )
    voice = prepare_additive(full, RATE)
    pair = Pair(voice.count)
    for row in ROWS.tolist():
        strike = random_strike(random, row)
        pair.both(lambda bank, row=row, strike=strike: bank.start(row, voice, strike))
    pair.both(lambda bank: bank.touch("pressure", ROWS, np.ones(3), 3000))
    pair.both(lambda bank: bank.retune(ROWS, np.array([100.0, 1000.0, 3000.0]), 2500, None))
    for _ in range(-(-4096 // block)):
        pair.check(block)


@pytest.mark.parametrize(
    ("first_hz", "last_hz", "samples"),
    [
        (0.01, 0.01, 0),
        (0.01, 20.0, 4000),
        (23_000.0, 25_000.0, 4000),  # through the Nyquist frequency
        (20.0, 23_500.0, 700),
        (20.0, 48_000.0 * 3, 64),  # and far past it
        (10_000.0, 90_000.0, 0),
    ],
)
@pytest.mark.parametrize("partials", [1, MOST_PARTIALS])
def test_kernels_agree_at_the_ends_of_what_can_be(
    partials: int, first_hz: float, last_hz: float, samples: int
) -> None:
    spread = tuple(Partial(1.0 + n / 64.0) for n in range(partials))
    voice = prepare_additive(AdditiveVoice("wide", spread), RATE)
    pair = Pair(voice.count)
    for row in ROWS.tolist():
        pair.both(lambda bank, row=row: bank.start(row, voice, Strike(first_hz * (row + 1), 1.0)))
    pair.check(1000)
    pair.both(lambda bank: bank.retune(ROWS, last_hz / (1.0 + ROWS), samples, None))
    for _ in range(6):
        pair.check(1024)
