"""The OSC server: UDP, and TCP in either framing; one thread, nothing queued but in the sockets."""

import ipaddress
import selectors
import socket
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from meantide.errors import DeviceError, InvalidValue
from meantide.live.control import Control
from meantide.live.limits import Limits
from meantide.live.reception import Reception
from meantide.live.watchers import TICK_S
from meantide.osc.reading import MAX_PACKET_BYTES
from meantide.osc.stream import Unframer, frame
from meantide.osc.values import Argument, WireError
from meantide.osc.writing import encode

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 40440
RECEIVE_BUFFER_BYTES = 1 << 22
"""Room for some thousand datagrams while a tuning is being built; the system may grant less."""
POLL_S = 0.2
"""How long the receiver waits before it looks whether it shall stop."""
MOST_CONNECTIONS = 64
MOST_UNSENT_BYTES = 1 << 20
"""What waits for a peer that does not read; one more byte, and its connection is closed."""
DATAGRAMS_A_TURN = 256
"""Then the connections have their turn."""

Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class Connection:
    """A TCP peer: what of a packet has come, and what it has not yet taken."""

    def __init__(self, link: socket.socket) -> None:
        self.link, self.unframer, self.unsent = link, Unframer(), bytearray()


class OscServer:
    """Listens on UDP and TCP, at one port number, and obeys.

    Only loopback and `allow` may speak. Raises DeviceError if the address cannot be had,
    InvalidValue for one that others reach when nobody is allowed.
    """

    def __init__(
        self,
        host: str,
        port: int,
        control: Control,
        allow: Sequence[Network] = (),
        limits: Limits | None = None,
    ) -> None:
        self.reception = Reception(control, limits)
        self.traffic = self.reception.traffic
        self.allow = tuple(allow)
        self._connections: dict[int, Connection] = {}
        self._stop = threading.Event()
        self._udp, self._tcp = _listening(host, port)
        self.host, self.port = self._udp.getsockname()[:2]
        if not _address(self.host).is_loopback and not self.allow:
            self._udp.close()
            self._tcp.close()
            allowed = "a loopback address, or who may speak: --allow 192.168.1.0/24"
            raise InvalidValue("host", self.host, allowed)
        self._selector = selectors.DefaultSelector()
        for each in (self._udp, self._tcp):
            self._selector.register(each, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._run, name="meantide-osc", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening, and wait until the last message is done."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        for number in list(self._connections):
            self._close(number)
        self._selector.close()
        self._udp.close()
        self._tcp.close()

    def _run(self) -> None:
        next_s = 0.0
        while not self._stop.is_set():
            waiting = len(self.reception.watchers) > 0
            for key, events in self._selector.select(TICK_S if waiting else POLL_S):
                if key.fileobj is self._udp:
                    self._receive()
                elif key.fileobj is self._tcp:
                    self._accept()
                else:
                    self._serve(key.fd, events)
            now_s = time.monotonic()
            if now_s >= next_s:
                next_s = now_s + TICK_S
                for sender, topic, told in self.reception.watchers.due(now_s):
                    self._reply(sender, f"/{topic}", told)

    # -- UDP --------------------------------------------------------------------------------

    def _receive(self) -> None:
        for _ in range(DATAGRAMS_A_TURN):
            try:
                packet, sender = self._udp.recvfrom(MAX_PACKET_BYTES)
            except BlockingIOError:
                return
            except OSError as error:  # a refused reply comes back here on some systems
                self.reception.count_error(str(error))
                continue
            if not self._may_speak(sender[0]):
                self.traffic.strangers += 1
                continue
            for address, arguments in self.reception.answer(packet, sender):
                self._reply(sender, address, arguments)

    def _may_speak(self, host: str) -> bool:
        address = _address(host)
        return address.is_loopback or any(address in network for network in self.allow)

    def _reply(self, sender: Any, address: str, arguments: tuple[Argument, ...]) -> None:
        """Answer on the transport that the sender spoke on: a number means a connection."""
        try:
            packet = encode(address, *arguments)
            if isinstance(sender, int):
                self._send(sender, packet)
            else:
                self._udp.sendto(packet, sender)
        except (OSError, InvalidValue) as error:
            self.reception.count_error(f"reply: {error}")

    # -- TCP --------------------------------------------------------------------------------

    def _accept(self) -> None:
        try:
            link, peer = self._tcp.accept()
        except OSError as error:
            self.reception.count_error(str(error))
            return
        if not self._may_speak(peer[0]) or len(self._connections) >= MOST_CONNECTIONS:
            self.traffic.strangers += 1
            link.close()
            return
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._connections[link.fileno()] = Connection(link)
        self._selector.register(link, selectors.EVENT_READ)

    def _serve(self, number: int, events: int) -> None:
        connection = self._connections.get(number)
        if connection is None:
            return
        if events & selectors.EVENT_WRITE:
            self._flush(number, connection)
        if not events & selectors.EVENT_READ or number not in self._connections:
            return
        try:
            data = connection.link.recv(MAX_PACKET_BYTES)
            packets = connection.unframer.feed(data)
        except BlockingIOError:
            return
        except OSError:
            self._close(number)
            return
        except WireError as error:
            self.reception.count_error(str(error))
            self._reply(number, "/error", ("packet", str(error)))
            self._close(number)
            return
        for packet in packets:
            for address, arguments in self.reception.answer(packet, number):
                self._reply(number, address, arguments)
        if not data:
            self._close(number)

    def _send(self, number: int, packet: bytes) -> None:
        connection = self._connections.get(number)
        if connection is None or connection.unframer.framing is None:
            return
        connection.unsent += frame(packet, connection.unframer.framing)
        self._flush(number, connection)

    def _flush(self, number: int, connection: Connection) -> None:
        try:
            sent = connection.link.send(connection.unsent)
            del connection.unsent[:sent]
        except BlockingIOError:
            pass
        except OSError:
            self._close(number)
            return
        if len(connection.unsent) > MOST_UNSENT_BYTES:
            self.reception.count_error("a TCP peer does not read its replies; closed")
            self._close(number)
            return
        write = selectors.EVENT_WRITE if connection.unsent else 0
        self._selector.modify(connection.link, selectors.EVENT_READ | write)

    def _close(self, number: int) -> None:
        connection = self._connections.pop(number, None)
        if connection is not None:
            self.reception.watchers.forget(number)
            self._selector.unregister(connection.link)
            with suppress(OSError):
                connection.link.close()


def _address(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """Return a peer's address; an IPv4 address inside IPv6 counts as what it is."""
    address = ipaddress.ip_address(host)
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address


def _listening(host: str, port: int) -> tuple[socket.socket, socket.socket]:
    """Return a UDP and a TCP socket at one port; with port 0 at one that is free for both."""
    for last in (False,) * 9 + (True,):
        udp = _bound(host, port, socket.SOCK_DGRAM)
        try:
            tcp = _bound(host, udp.getsockname()[1], socket.SOCK_STREAM)
        except DeviceError:
            udp.close()
            if port or last:
                raise
            continue
        return udp, tcp
    raise AssertionError("unreachable")


def _bound(host: str, port: int, kind: socket.SocketKind) -> socket.socket:
    try:
        family, _, protocol, _, address = socket.getaddrinfo(host, port, type=kind)[0]
        bound = socket.socket(family, kind, protocol)
    except OSError as error:
        raise _cannot_listen(host, port, error) from error
    try:
        if kind == socket.SOCK_DGRAM:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER_BYTES)
        else:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(address)
        if kind == socket.SOCK_STREAM:
            bound.listen()
    except OSError as error:
        bound.close()
        raise _cannot_listen(host, port, error) from error
    bound.setblocking(False)
    return bound


def _cannot_listen(host: str, port: int, error: OSError) -> DeviceError:
    reason = error.strerror or str(error)
    return DeviceError(f"cannot listen on {host}:{port}: {reason}; try another --port or --host")
