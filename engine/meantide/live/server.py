"""The OSC server: datagrams in, guarded and obeyed one by one; replies to whoever asked."""

import socket
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field

from meantide.errors import DeviceError, InvalidValue
from meantide.live.control import Control
from meantide.live.namespace import Reply, obey
from meantide.live.wire import MAX_PACKET_BYTES, Argument, Group, WireError, decode, encode

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 40440
RECEIVE_BUFFER_BYTES = 1 << 20
"""Room for some thousand datagrams while a tuning is being built."""
POLL_S = 0.2
"""How long the receiver waits before it looks whether it shall stop."""
NTP_TO_UNIX_S = 2_208_988_800
"""Seconds from 1900 (NTP) to 1970 (Unix): RFC 868, RFC 5905."""

Sender = tuple[str, int]


@dataclass(slots=True)
class Traffic:
    """What the server counts."""

    messages: int = 0
    errors: int = 0
    last_error: str = field(default="")


class OscServer:
    """Listens on UDP and obeys; one thread, nothing queued but in the socket itself.

    Raises DeviceError if the address cannot be had.
    """

    def __init__(self, host: str, port: int, control: Control) -> None:
        self.traffic = Traffic()
        self._control = control
        self._stop = threading.Event()
        self._socket = _bound_socket(host, port)
        self._socket.settimeout(POLL_S)
        self.host, self.port = self._socket.getsockname()[:2]
        self._thread = threading.Thread(target=self._run, name="meantide-osc", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening, and wait until the last message is done."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        self._socket.close()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                packet, sender = self._socket.recvfrom(MAX_PACKET_BYTES)
            except TimeoutError:
                continue
            except OSError as error:  # a refused reply comes back here on some systems
                self._count_error(str(error))
                continue
            for address, arguments in self._answer(packet):
                self._send(sender, address, arguments)

    def _answer(self, packet: bytes) -> Sequence[Reply]:
        try:
            groups = decode(packet)
        except WireError as error:
            return [self._error(error.address or "packet", str(error))]
        with self._control.turn:
            return [reply for group in groups for reply in self._obey_group(group)]

    def _obey_group(self, group: Group) -> Sequence[Reply]:
        replies = [self._error(bad.address or "message", str(bad)) for bad in group.discarded]
        try:
            self._control.begin(unix_s(group.timetag_ntp))
        except InvalidValue as error:
            first = group.messages[0].address if group.messages else "bundle"
            return [*replies, self._error(first, str(error))]
        for message in group.messages:
            self.traffic.messages += 1
            try:
                replies.extend(obey(self._control, message))
            except InvalidValue as error:
                replies.append(self._error(message.address, str(error)))
            except Exception as error:  # noqa: BLE001  a fault of ours must not end the show
                reason = f"fault in Meantide: {type(error).__name__}: {error}"
                replies.append(self._error(message.address, reason))
        self._control.commit()
        return replies

    def _error(self, address: str, reason: str) -> Reply:
        self._count_error(f"{address}: {reason}")
        return "/error", (address, reason)

    def _count_error(self, reason: str) -> None:
        self.traffic.errors += 1
        self.traffic.last_error = reason

    def _send(self, sender: Sender, address: str, arguments: tuple[Argument, ...]) -> None:
        try:
            self._socket.sendto(encode(address, *arguments), sender)
        except (OSError, InvalidValue) as error:
            self._count_error(f"reply to {sender[0]}: {error}")


def unix_s(timetag_ntp: int | None) -> float | None:
    """Return an OSC timetag (NTP, 64 bits) as seconds since 1970; None for at once."""
    return None if timetag_ntp is None else timetag_ntp / 2**32 - NTP_TO_UNIX_S


def _bound_socket(host: str, port: int) -> socket.socket:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[
            0
        ]
        bound = socket.socket(family, kind, protocol)
    except OSError as error:
        raise _cannot_listen(host, port, error) from error
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER_BYTES)
        bound.bind(address)
    except OSError as error:
        bound.close()
        raise _cannot_listen(host, port, error) from error
    return bound


def _cannot_listen(host: str, port: int, error: OSError) -> DeviceError:
    reason = error.strerror or str(error)
    return DeviceError(f"cannot listen on {host}:{port}: {reason}; try another --port or --host")
