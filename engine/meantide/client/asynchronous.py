"""The client for asyncio, over UDP: many questions may be under way at once."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Self

from meantide.client.conversation import (
    DEFAULT_HOST,
    DEFAULT_PORT,
    PATIENCE_S,
    Answers,
    Bundle,
    NoAnswer,
    Pulse,
    Refused,
    Reply,
    Tally,
    heard,
)
from meantide.osc.values import Argument
from meantide.osc.writing import encode


class _Receiver(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.packets: asyncio.Queue[bytes] = asyncio.Queue()

    def datagram_received(self, data: bytes, addr: Any) -> None:  # noqa: ARG002
        self.packets.put_nowait(data)


class AsyncClient:
    """As `Client`: `async with AsyncClient() as quay: await quay.ask("/scale", "31-equal")`.

    Questions take their turn, since an answer does not say to which of them it belongs.
    """

    def __init__(
        self, host: str = DEFAULT_HOST, port: int = DEFAULT_PORT, patience_s: float = PATIENCE_S
    ) -> None:
        self._host, self._port, self._patience_s = host, port, patience_s
        self._tally, self._receiver, self._turn = Tally(), _Receiver(), asyncio.Lock()
        self._transport: asyncio.DatagramTransport | None = None

    async def __aenter__(self) -> Self:
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(
            lambda: self._receiver, remote_addr=(self._host, self._port)
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._transport is not None:
            self._transport.close()

    def send(self, address: str, *arguments: Argument) -> None:
        """Send a message and do not wait; what is wrong with it the next `ask` raises."""
        self._send(encode(address, *arguments, pattern=True))

    async def ask(self, address: str, *arguments: Argument) -> list[Reply]:
        """Send a message, wait until it is done, and return the replies; raises Refused."""
        async with self._turn:
            token, ping = self._tally.question()
            answers = Answers(token)
            self._send(encode(address, *arguments, pattern=True))
            self._send(ping)
            try:
                async with asyncio.timeout(self._patience_s):
                    while not answers.done:
                        for message in heard(await self._receiver.packets.get()):
                            answers.take(message)
            except TimeoutError:
                reason = "no answer; is `meantide live` running there?"
                raise NoAnswer(f"{self._host}:{self._port}: {reason}") from None
            return answers.result()

    async def state(self) -> dict[str, Argument]:
        """Return what is set."""
        [reply] = await self.ask("/ask/state")
        return reply.pairs()

    def play(
        self,
        pitch: str | int,
        velocity: float = 0.7,
        at_s: float | None = None,
        for_s: float | None = None,
        part: str = "",
    ) -> int:
        """Begin a note, at once or at a time, and end it `for_s` later if given; return its id."""
        note, before = self._tally.new_id(), f"/part/{part}" if part else ""
        begin = Bundle(at_s)
        begin.send(f"{before}/note/on", pitch, velocity, note)
        self._send(begin.packet())
        if for_s is not None:
            end = Bundle((time.time() if at_s is None else at_s) + for_s)
            end.send(f"{before}/note/off", note)
            self._send(end.packet())
        return note

    def pulse(self, beats_a_minute: float, in_s: float = 0.2) -> Pulse:
        """Return beats whose first comes `in_s` from now."""
        return Pulse(beats_a_minute, time.time() + in_s)

    @asynccontextmanager
    async def bundle(self, at_s: float | None = None) -> AsyncIterator[Bundle]:
        """Gather messages that act together, and send them when the block ends without an error."""
        together = Bundle(at_s)
        yield together
        self._send(together.packet())

    def _send(self, packet: bytes) -> None:
        if self._transport is None:
            raise Refused("client", "not connected; use `async with`")
        self._transport.sendto(packet)
