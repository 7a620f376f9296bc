"""The client for plain programs: each call returns when it is done."""

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Self

from meantide.client.conversation import (
    DEFAULT_HOST,
    DEFAULT_PORT,
    PATIENCE_S,
    Answers,
    Bundle,
    NoAnswer,
    Pulse,
    Reply,
    Tally,
    heard,
)
from meantide.osc.reading import MAX_PACKET_BYTES
from meantide.osc.stream import Framing, Unframer, frame
from meantide.osc.values import Argument
from meantide.osc.writing import encode


class Client:
    """A connection to an engine: UDP, or TCP in the framing given; raises NoAnswer.

    Times are wall times of the engine's machine, in seconds since 1970.
    """

    def __init__(
        self,
        host: str = DEFAULT_HOST,
        port: int = DEFAULT_PORT,
        framing: Framing | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._place, self._patience_s = f"{host}:{port}", patience_s
        self._framing, self._unframer = framing, Unframer(framing)
        self._tally = Tally()
        self._kept: list[bytes] = []
        kind = socket.SOCK_DGRAM if framing is None else socket.SOCK_STREAM
        try:
            family, _, _, _, address = socket.getaddrinfo(host, port, type=kind)[0]
            self._link = socket.socket(family, kind)
        except OSError as error:
            raise NoAnswer(f"{self._place}: {error}") from error
        try:
            self._link.settimeout(patience_s)
            self._link.connect(address)
        except OSError as error:
            self._link.close()
            raise NoAnswer(f"{self._place}: {error}") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the connection."""
        self._link.close()

    def send(self, address: str, *arguments: Argument) -> None:
        """Send a message and do not wait; what is wrong with it the next `ask` raises."""
        self.send_packet(encode(address, *arguments, pattern=True))

    def ask(self, address: str, *arguments: Argument) -> list[Reply]:
        """Send a message, wait until it is done, and return the replies; raises Refused."""
        return self.ask_packet(encode(address, *arguments, pattern=True))

    def state(self) -> dict[str, Argument]:
        """Return what is set."""
        [reply] = self.ask("/ask/state")
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
        with self.bundle(at_s) as together:
            together.send(f"{before}/note/on", pitch, velocity, note)
        if for_s is not None:
            with self.bundle((time.time() if at_s is None else at_s) + for_s) as together:
                together.send(f"{before}/note/off", note)
        return note

    def pulse(self, beats_a_minute: float, in_s: float = 0.2) -> Pulse:
        """Return beats whose first comes `in_s` from now."""
        return Pulse(beats_a_minute, time.time() + in_s)

    @contextmanager
    def bundle(self, at_s: float | None = None) -> Iterator[Bundle]:
        """Gather messages that act together, and send them when the block ends without an error."""
        together = Bundle(at_s)
        yield together
        self.send_packet(together.packet())

    def watch(self, topic: str, seconds: float) -> Iterator[Reply]:
        """Yield what is told of a topic (state, meter, notes or load) until the lease ends."""
        ends_s = time.monotonic() + seconds
        self.ask("/watch", topic, seconds)
        while (left_s := ends_s - time.monotonic()) > 0.0:
            try:
                packet = self._receive(left_s)
            except NoAnswer:
                return
            for message in heard(packet):
                if message.address == f"/{topic}":
                    yield Reply(message.address, message.arguments)

    def send_packet(self, packet: bytes) -> None:
        """Send a packet as it is."""
        framed = packet if self._framing is None else frame(packet, self._framing)
        try:
            self._link.sendall(framed)
        except OSError as error:
            raise NoAnswer(f"{self._place}: {error}") from error

    def ask_packet(self, packet: bytes) -> list[Reply]:
        """Send a packet, wait until it is done, and return the replies; raises Refused."""
        token, ping = self._tally.question()
        answers = Answers(token)
        ends_s = time.monotonic() + self._patience_s
        self.send_packet(packet)
        self.send_packet(ping)
        while not answers.done:
            for message in heard(self._receive(ends_s - time.monotonic())):
                answers.take(message)
        return answers.result()

    def _receive(self, patience_s: float) -> bytes:
        """Return the next packet."""
        while not self._kept:
            self._link.settimeout(max(patience_s, 0.001))
            try:
                data = self._link.recv(MAX_PACKET_BYTES)
            except OSError as error:
                reason = "no answer; is `meantide live` running there?"
                raise NoAnswer(f"{self._place}: {reason} ({error})") from error
            if self._framing is None:
                return data
            if not data:
                raise NoAnswer(f"{self._place}: the engine closed the connection")
            self._kept += self._unframer.feed(data)
        return self._kept.pop(0)
