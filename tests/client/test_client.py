"""The client against a real engine: plain and asyncio, UDP and TCP, and its typed errors."""

import asyncio
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from meantide.client import AsyncClient, Busy, Client, NoAnswer, Pulse, Refused
from meantide.errors import DeviceError
from meantide.live.limits import Limits
from meantide.osc.stream import Framing
from meantide.perform.event import OutcomeKind
from playing import RATE
from stage import Stage


@pytest.fixture
def stage() -> Iterator[Stage]:
    built = Stage()
    yield built
    built.close()


@pytest.mark.parametrize("framing", [None, *Framing])
def test_asks_plays_and_is_told_what_is_wrong(stage: Stage, framing: Framing | None) -> None:
    with Client(port=stage.server.port, framing=framing, patience_s=20.0) as quay:
        assert quay.ask("/scale", "31-equal") == []
        assert quay.state()["scale"] == "31-equal"
        [reply] = quay.ask("/ask/pitch", "A4")
        assert reply.pairs()["hz"] == 440.0
        note = quay.play("A4", 0.5)
        quay.ask("/ping")
        assert stage.play(0.1).any()
        assert note in {outcome.note for outcome in stage.engine.outcomes}
        with pytest.raises(Refused, match=r"^/scale: scale: got '31-equals'") as refused:
            quay.ask("/scale", "31-equals")
        assert refused.value.address == "/scale"
        assert refused.value.exit_code == 2
        assert quay.ask("/sound/off") == []


def test_notes_are_scheduled_in_beats_and_bundled(stage: Stage) -> None:
    pulse = Pulse(120.0, 1000.0)
    assert [pulse.at(beat) for beat in (0, 1, 2.5)] == [1000.0, 1000.5, 1001.25]
    with Client(port=stage.server.port, patience_s=20.0) as quay:
        stage.play(0.05)
        start = Pulse(120.0, stage.engine.block_began_s + 0.1)
        for beat, name in enumerate(("A4", "C#5", "E5")):
            quay.play(name, 0.5, start.at(beat), start.seconds(0.5))
        with quay.bundle(start.at(3)) as together:
            for name in ("A3", "E4"):
                together.send("/note/on", name, 0.5)
        quay.ask("/ping")
        stage.play(2.5)
    began = [o.sample for o in stage.engine.outcomes if o.kind == OutcomeKind.BEGAN]
    half = RATE // 2
    assert len(began) == 5
    # a timetag and a clock of float seconds round to a sample each
    for sample, beat in zip(began, (0, 1, 2, 3, 3), strict=True):
        assert abs(sample - began[0] - beat * half) <= 2
    assert began[3] == began[4]
    let_go = [o.sample for o in stage.engine.outcomes if o.kind == OutcomeKind.RELEASED]
    assert len(let_go) == 3
    assert abs(let_go[0] - began[0] - half // 2) <= 2


def test_asyncio_asks_at_once_and_is_told_what_is_wrong(stage: Stage) -> None:
    async def session() -> None:
        async with AsyncClient(port=stage.server.port, patience_s=20.0) as quay:
            names = ("A4", "A5", "A3")
            answers = await asyncio.gather(*[quay.ask("/ask/pitch", name) for name in names])
            assert [reply.pairs()["hz"] for [reply] in answers] == [440.0, 880.0, 220.0]
            with pytest.raises(Refused, match="a note name such as A4"):
                await quay.ask("/note/on", "H4", 0.5)
            quay.play("A4", 0.5)
            async with quay.bundle() as together:
                together.send("/hertz/on", 300.0, 0.5)
            assert (await quay.state())["voice"] == stage.control.state.main.voice.name

    asyncio.run(session())
    stage.play(0.1)
    assert stage.engine.sounding == 2


def test_who_sends_too_fast_is_busy() -> None:
    stage = Stage(limits=Limits(per_s=1e-9, burst=10.0))
    try:
        with Client(port=stage.server.port, patience_s=20.0) as quay:
            for _ in range(20):
                quay.send("/note/on", 60, 0.1)
            with pytest.raises(Busy):
                quay.ask("/ping")
    finally:
        stage.close()


def test_a_watcher_hears_of_changes(stage: Stage) -> None:
    with (
        Client(port=stage.server.port, patience_s=20.0) as watcher,
        Client(port=stage.server.port, patience_s=20.0) as player,
    ):
        for reply in watcher.watch("state", 60.0):
            if reply.pairs()["scale"] == "19-equal":
                break
            player.ask("/scale", "19-equal")


def test_nobody_there_is_said() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as silent:
        silent.bind(("127.0.0.1", 0))
        port = silent.getsockname()[1]
        with Client(port=port, patience_s=0.05) as quay, pytest.raises(NoAnswer, match="live"):
            quay.ask("/ping")
        with pytest.raises(DeviceError):
            Client(port=port, framing=Framing.SLIP)


def test_the_program_of_the_readme_plays(stage: Stage) -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    [program] = re.findall(r"^```python\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    program = program.replace("Client()", f"Client(port={stage.server.port}, patience_s=20.0)")
    stage.play(0.05)
    exec(compile(program, "README.md", "exec"), {})  # noqa: S102  our own
    with Client(port=stage.server.port, patience_s=20.0) as quay:
        assert quay.state()["scale"] == "31-equal"

    stage.play(6.0)
    assert len([o for o in stage.engine.outcomes if o.kind == OutcomeKind.BEGAN]) == 5
