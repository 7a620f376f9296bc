"""What clients say and how they understand the answers; nothing here touches a socket."""

import itertools
import secrets
from dataclasses import dataclass, field

from meantide.errors import DeviceError, MeantideError
from meantide.osc.reading import decode
from meantide.osc.values import Argument, Message, WireError, ntp
from meantide.osc.writing import encode, encode_bundle

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 40440
PATIENCE_S = 2.0
BUSY, FAULT = "busy: ", "fault in Meantide: "


class Refused(MeantideError):
    """What the engine answered with /error: the address, and the reason in its words."""

    def __init__(self, address: str, reason: str) -> None:
        self.address, self.reason = address, reason
        super().__init__(address, reason)

    def __str__(self) -> str:
        return f"{self.address}: {self.reason}"


class Busy(Refused):
    """Refused because there is too much at once; the same may be obeyed later."""


class EngineFault(Refused):
    """A fault in the engine itself."""


class NoAnswer(DeviceError):
    """Nothing was heard in time."""


@dataclass(frozen=True, slots=True)
class Reply:
    """One message from the engine."""

    address: str
    arguments: tuple[Argument, ...]

    def pairs(self) -> dict[str, Argument]:
        """Return the arguments, which are names each followed by its value, as a mapping."""
        return dict(zip(map(str, self.arguments[::2]), self.arguments[1::2], strict=True))


@dataclass(frozen=True, slots=True)
class Pulse:
    """Beats that go on from a wall time (seconds since 1970)."""

    beats_a_minute: float
    start_s: float

    def at(self, beat: float) -> float:
        """Return the wall time of a beat."""
        return self.start_s + self.seconds(beat)

    def seconds(self, beats: float) -> float:
        """Return how long so many beats last."""
        return beats * 60.0 / self.beats_a_minute


@dataclass(slots=True)
class Bundle:
    """Messages that act together or not at all, at a wall time or at once."""

    at_s: float | None = None
    _messages: list[bytes] = field(default_factory=list)

    def send(self, address: str, *arguments: Argument) -> None:
        """Put in a message."""
        self._messages.append(encode(address, *arguments, pattern=True))

    def packet(self) -> bytes:
        """Return the bundle's bytes."""
        return encode_bundle(None if self.at_s is None else ntp(self.at_s), *self._messages)


class Tally:
    """Makes what is asked tell-able apart: each question is followed by a ping with its own token.

    What comes before that ping's answer belongs to the question, or is of what was sent before it.
    """

    def __init__(self) -> None:
        self._numbers = itertools.count(1)
        self._base = secrets.randbelow(2**31) << 20

    def new_id(self) -> int:
        """Return an id for a note that no other client is likely to give."""
        return self._base + next(self._numbers)

    def question(self) -> tuple[str, bytes]:
        """Return a token and the ping that carries it."""
        token = f"{self._base:x}.{next(self._numbers)}"
        return token, encode("/ping", token)


def heard(packet: bytes) -> list[Message]:
    """Return the messages of a packet that came; none if it is not OSC."""
    try:
        return [message for group in decode(packet) for message in group.messages]
    except WireError:
        return []


class Answers:
    """Gathers what is heard until the pong with a token."""

    def __init__(self, token: str) -> None:
        self._token = token
        self.replies: list[Reply] = []
        self.done = False

    def take(self, message: Message) -> None:
        """Take a message; raises `Busy` where the engine will not read the ping either."""
        if message.address == "/pong":
            self.done = self.done or message.arguments[:1] == (self._token,)
            return
        if message.address == "/error" and message.arguments[:1] == ("packet",):
            raise refusal(message)
        self.replies.append(Reply(message.address, message.arguments))

    def result(self) -> list[Reply]:
        """Return the replies, or raise the first /error among them."""
        for reply in self.replies:
            if reply.address == "/error":
                raise refusal(Message(reply.address, reply.arguments))
        return [reply for reply in self.replies if reply.address.startswith("/reply/")]


def refusal(message: Message) -> Refused:
    """Return the error that an /error tells of."""
    address, reason, *_ = (*map(str, message.arguments), "", "")
    kind = Busy if BUSY in reason[:120] else EngineFault if reason.startswith(FAULT) else Refused
    return kind(address, reason)
