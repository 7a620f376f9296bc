"""What becomes of a packet: read, counted against its sender, obeyed whole or refused whole."""

import time
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

from meantide.errors import InvalidValue
from meantide.live.address import Reply
from meantide.live.addresses import ENDING_WORDS
from meantide.live.answers import topics
from meantide.live.control import Control, NoRoom
from meantide.live.limits import Limits
from meantide.live.namespace import cost, ends_sound, obey
from meantide.live.part_control import SilentKey
from meantide.live.watchers import Caller, Watchers
from meantide.osc.reading import decode
from meantide.osc.values import Group, Message, WireError, unix_s

ERROR_COST = 20.0
"""A refused packet costs that many messages: finding words for it takes time."""
TOLD_EVERY_S = 1.0
"""How often one who sends too fast is told so."""
BUSY = "busy: "
"""So begins the reason where not the message is at fault, but that there are too many."""
TOO_FAST = BUSY + "more messages than one sender may send; only what ends sound is obeyed"
WHOLE = "; nothing of the bundle was done"


@dataclass(slots=True)
class Traffic:
    """What is counted."""

    messages: int = 0
    errors: int = 0
    dropped: int = 0
    """Packets of senders that send too fast."""
    strangers: int = 0
    """Packets and connections from addresses that may not speak."""
    last_error: str = ""


class Reception:
    """Takes packets and returns the replies to their senders; touches no socket, never raises."""

    def __init__(
        self,
        control: Control,
        limits: Limits | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.traffic = Traffic()
        self.watchers = Watchers(topics(control))
        self._control, self._limits, self._clock = control, limits or Limits(), clock

    def answer(self, packet: bytes, sender: Hashable) -> Sequence[Reply]:
        """Obey a packet; return what is to be said to its sender."""
        with self._control.turn:
            return self._answer(packet, sender)

    def _answer(self, packet: bytes, sender: Hashable) -> Sequence[Reply]:
        now_s = self._clock()
        bucket = self._limits.bucket(sender, now_s)
        fast = bucket.tokens < 1.0
        replies: list[Reply] = []
        if fast:
            self.traffic.dropped += 1
            if now_s - bucket.told_s >= TOLD_EVERY_S:
                bucket.told_s = now_s
                replies.append(self._error("packet", TOO_FAST))
            if not any(word in packet for word in ENDING_WORDS):
                return replies  # not even read
        try:
            groups = decode(packet)
            spent = cost(groups)
            if not self._limits.fits(spent):
                raise WireError(f"{BUSY}it costs as much as {spent:g} messages", 0)
        except WireError as error:
            bucket.tokens -= ERROR_COST
            return [*replies, self._error(error.address or "packet", str(error))]
        if any(_is_answer(message) for group in groups for message in group.messages):
            return replies  # else two engines could answer each other for ever
        caller = Caller(self.watchers, sender, now_s, self._control.later)
        if fast:
            return [*replies, *self._obey(_endings(groups), caller)]
        bucket.tokens -= spent
        replies += self._obey(groups, caller)
        bucket.tokens -= ERROR_COST * sum(map(_is_refusal, replies))
        return replies

    def _obey(self, groups: Sequence[Group], caller: Caller) -> Sequence[Reply]:
        """Obey all groups or none; for want of room what ends sound is obeyed all the same."""
        control, many = self._control, sum(len(group.messages) for group in groups) > 1
        replies: list[Reply] = []
        message = Message("bundle")
        try:
            control.begin(None)
            for group in groups:
                message = group.messages[0]
                control.date(unix_s(group.timetag_ntp))
                for message in group.messages:
                    self.traffic.messages += 1
                    try:
                        replies.extend(obey(control, message, caller))
                    except SilentKey as error:
                        replies.append(self._error(message.address, str(error)))
            control.commit()
        except NoRoom as error:
            control.abandon()
            reason = f"{BUSY}{error}{WHOLE if many else ''}"
            refused = self._error(message.address, reason)
            endings = _endings(groups)
            return [refused, *(self._obey(endings, caller) if endings and many else ())]
        except InvalidValue as error:
            control.abandon()
            return [self._error(message.address, str(error) + (WHOLE if many else ""))]
        except Exception as error:  # noqa: BLE001  a fault of ours must not end the show
            control.abandon()
            reason = f"fault in Meantide: {type(error).__name__}: {error}"
            return [self._error(message.address, reason)]
        return replies

    def _error(self, address: str, reason: str) -> Reply:
        self.count_error(f"{address}: {reason}")
        return "/error", (address, reason)

    def count_error(self, reason: str) -> None:
        """Count what went wrong."""
        self.traffic.errors += 1
        self.traffic.last_error = reason


def _is_answer(message: Message) -> bool:
    return message.address in ("/error", "/pong") or message.address.startswith("/reply/")


def _is_refusal(reply: Reply) -> bool:
    address, arguments = reply
    return address == "/error" and not str(arguments[-1]).startswith(BUSY)


def _endings(groups: Sequence[Group]) -> Sequence[Group]:
    """Return what of a packet ends sound: that is never dropped."""
    kept = []
    for group in groups:
        messages = tuple(each for each in group.messages if ends_sound(each))
        if messages:
            kept.append(Group(group.timetag_ntp, messages))
    return kept
