"""A live engine for tests: real messages over a real socket, blocks made when a test asks."""

import socket
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

from meantide.catalogue import Catalogue
from meantide.journal import JournalHead
from meantide.live.control import Control
from meantide.live.engine import Engine
from meantide.live.journal_file import JournalFile
from meantide.live.limits import Limits
from meantide.live.server import Network, OscServer
from meantide.live.state import State
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.voices import Voice
from playing import RATE, SINE

BLOCK = 256


class Stage:
    """An engine behind a server, a client's socket, and a count of blocks instead of a clock."""

    def __init__(
        self,
        journal: Path | None = None,
        allow: Sequence[Network] = (),
        limits: Limits | None = None,
    ) -> None:
        """Begin, and with a path keep a journal there."""
        head = JournalHead(RATE, BLOCK, 16, "numpy")
        self.journal = JournalFile(journal, head) if journal is not None else None
        self.engine = Engine(RATE, BLOCK, 16, NumpyKernel())
        state = State.opening(Tuning(Scale.equal(12), Anchor.parse("A4=440")), SINE, -6.0)
        self.control = Control(self.engine, Catalogue(), state, self)
        self.control.start(0.02)
        self.play(2.0)  # until the level has come up
        self.server = OscServer("127.0.0.1", 0, self.control, allow, limits)
        self.server.start()
        self.client = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.client.settimeout(20.0)

    def close(self) -> None:
        self.server.stop()
        self.client.close()
        if self.journal is not None:
            self.journal.close(self.engine)

    def value_handed_over(self, number: int, value: Tuning | Voice) -> None:
        if self.journal is not None:
            self.journal.value(number, value)

    def part_made(self, number: int, name: str) -> None:
        if self.journal is not None:
            self.journal.part(number, name)

    def send_bytes(self, packet: bytes) -> None:
        self.client.sendto(packet, ("127.0.0.1", self.server.port))

    def ask(self, address: str, *arguments: Any) -> list[tuple[str, list[Any]]]:
        """Send a message and then a ping; return the replies that come before the pong."""
        self.send_bytes(message(address, *arguments))
        return self.replies()

    def replies(self) -> list[tuple[str, list[Any]]]:
        self.send_bytes(message("/ping", "done"))
        found = []
        while True:
            reply = OscMessage(self.client.recvfrom(65_536)[0])
            if reply.address == "/pong" and reply.params[:1] == ["done"]:
                return found
            found.append((reply.address, reply.params))

    def play(self, seconds: float) -> np.ndarray:
        """Make blocks for so long; return the left channel."""
        return self.both(seconds)[0].astype(np.float64)

    def both(self, seconds: float) -> np.ndarray:
        """Make blocks for so long; return both channels, as they left."""
        out = np.zeros((round(seconds * RATE / BLOCK), 2, BLOCK), np.float32)
        for block in out:
            self.engine.fill(block)
        return np.concatenate(list(out), axis=1)

    def state(self) -> dict[str, Any]:
        [(address, pairs)] = self.ask("/ask/state")
        assert address == "/reply/state"
        return dict(zip(pairs[::2], pairs[1::2], strict=True))


def message(address: str, *arguments: Any) -> bytes:
    builder = OscMessageBuilder(address)
    for argument in arguments:
        builder.add_arg(argument)
    return builder.build().dgram
