"""The audio device through pyo: the only file that imports it.

pyo's callback runs before each block; it fills two tables of one block's length, which two readers
play from end to end. Traps on the way (measured): booting portaudio without a card crashes the
process, so the device is asked for first; boot() never fails loudly, only `getIsBooted` tells;
readers are silent unless told to play; and the tables' memory must outlive every view of it.
"""

import contextlib
import os
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meantide.errors import DeviceError
from meantide.live.block_clock import EntryClock, EnvelopeClock
from meantide.live.jack_clock import JackClock
from meantide.voice.kernel import F32

BACK_ENDS = ("jack", "portaudio")
_STANDSTILL_S = 2.0  # without a block, after which an input is given up


class PyoHost:
    """A running pyo server on `back_end` ("jack" or "portaudio"), stereo out, no input.

    `rate` and `block` are what the device has in the end; JACK overrules what was asked for.
    Raises DeviceError if the device or server cannot be had.
    """

    def __init__(self, back_end: str, rate: int, block: int) -> None:
        self.name = back_end
        self._pyo = _import_pyo()
        if back_end == "portaudio" and not _has_output(self._pyo):
            raise DeviceError("portaudio: no sound card with an output")
        self._server = self._pyo.Server(
            sr=rate, nchnls=2, buffersize=block, duplex=0, audio=back_end,
            jackname="meantide", verbosity=0,
        )  # fmt: skip
        self._server.deactivateMidi()
        with _quiet():
            self._server.boot()
        if not self._server.getIsBooted():
            raise DeviceError(f"{back_end}: no server to be reached")
        self.rate = int(self._server.getSamplingRate())
        self.block = int(self._server.getBufferSize())
        self._tables: list[Any] = [self._pyo.DataTable(size=self.block) for _ in range(2)]
        self._readers: list[Any] = []
        self._views: list[NDArray[np.float64]] = []
        self._jack_clock: JackClock | None = None

    def start(self, fill: Callable[[F32], None]) -> None:
        """Begin to ask `fill` for blocks of shape (2, block), in the audio thread."""
        self._views.extend(np.asarray(table.getBuffer()) for table in self._tables)
        out = np.zeros((2, self.block), np.float32)
        self._server.setCallback(_callback(fill, out, self._views))
        turns = self.rate / self.block
        try:
            for channel, table in enumerate(self._tables):
                reader = self._pyo.TableRead(table, freq=turns, loop=True, interp=1)
                self._readers.append(reader.out(channel))
        except self._pyo.PyoServerStateException as error:  # the server went since it booted
            raise DeviceError(f"{self.name}: the device went away") from error
        with _quiet():
            self._server.start()

    def entries(self) -> EntryClock:
        """Return what maps wall time to samples: JACK's own clock where it can be had."""
        if self.name == "jack":
            with contextlib.suppress(OSError, ImportError):  # no JACK library but pyo's own
                self._jack_clock = JackClock(self.rate)
                return self._jack_clock
        return EnvelopeClock(self.rate, self.block)

    def xruns(self) -> int:
        """Return how many xruns JACK told of; -1 if nobody could be asked."""
        return -1 if self._jack_clock is None else self._jack_clock.xruns

    def alive(self) -> bool:
        """Tell whether the device is still there."""
        return bool(self._server.getIsBooted())

    def stop(self) -> None:
        """Stop the server; the views of its tables must be gone before the process ends."""
        with _quiet():
            if self._server.getIsBooted():
                self._server.stop()
                self._server.shutdown()
        self._views.clear()


def record(
    back_ends: Sequence[str], rate: int, block: int, seconds: float
) -> tuple[NDArray[np.float32], int, str]:
    """Record two channels from the first of `back_ends` that has an input; nothing is played.

    Returns (frames, 2), the rate, and the name of the back end. Raises DeviceError if there is no
    input, or if it goes away or stands still.
    """
    reasons = []
    for back_end in back_ends:
        try:
            server = _input_server(back_end, rate, block)
        except DeviceError as error:
            reasons.append(str(error))
            continue
        return _record_from(server, back_end, seconds), int(server.getSamplingRate()), back_end
    raise DeviceError("no input to record from: " + "; ".join(reasons))


def _input_server(back_end: str, rate: int, block: int) -> Any:
    pyo = _import_pyo()
    if back_end == "portaudio" and not _has_input(pyo):
        raise DeviceError("portaudio: no sound card with an input")
    server = pyo.Server(
        sr=rate, nchnls=2, ichnls=2, buffersize=block, duplex=1, audio=back_end,
        jackname="meantide-listen", verbosity=0,
    )  # fmt: skip
    server.deactivateMidi()
    with _quiet():
        server.boot()
    if not server.getIsBooted():
        raise DeviceError(f"{back_end}: no server to be reached")
    return server


def _record_from(server: Any, back_end: str, seconds: float) -> NDArray[np.float32]:
    """Record into two tables until they are full, then shut the server down."""
    pyo = _import_pyo()
    tables = [pyo.NewTable(length=seconds) for _ in range(2)]
    recorders = [
        pyo.TableRec(pyo.Input(channel), table).play() for channel, table in enumerate(tables)
    ]
    blocks = 0
    whole = threading.Event()
    needed = tables[0].getSize() // server.getBufferSize() + 2

    def count() -> None:
        nonlocal blocks
        blocks += 1
        if blocks >= needed:
            whole.set()

    server.setCallback(count)
    try:
        with _quiet():
            server.start()
        seen = -1
        while not whole.wait(_STANDSTILL_S):
            if not server.getIsBooted() or blocks == seen:
                raise DeviceError(f"{back_end}: the device went away or stands still")
            seen = blocks
    finally:
        del recorders
        with _quiet():
            if server.getIsBooted():
                server.stop()
                server.shutdown()
    channels = [np.array(np.asarray(table.getBuffer()), dtype=np.float32) for table in tables]
    return np.stack(channels, axis=1)


def devices() -> list[str]:
    """Return a line for each place where sound could go, and whether it is there."""
    pyo = _import_pyo()
    lines = []
    with _quiet():
        names, _ = pyo.pa_get_output_devices() if _has_output(pyo) else ([], [])
        lines.append("jack: " + ("a server runs" if _jack_answers(pyo) else "no server runs"))
    lines.extend(f"portaudio: {name}" for name in names)
    if not names:
        lines.append("portaudio: no sound card with an output")
    return lines


def _callback(
    fill: Callable[[F32], None], out: F32, views: Sequence[NDArray[np.float64]]
) -> Callable[[], None]:
    def callback() -> None:
        fill(out)
        views[0][:] = out[0]
        views[1][:] = out[1]

    return callback


def _import_pyo() -> Any:
    """Import pyo without its greetings, and so that it never starts a JACK server by itself."""
    os.environ.setdefault("PYO_GUI_WX", "0")
    os.environ.setdefault("JACK_NO_START_SERVER", "1")
    with contextlib.redirect_stdout(sys.stderr), _quiet():
        import pyo64  # noqa: PLC0415  heavy, and loaded only when a device is wanted
    return pyo64


def _has_output(pyo: Any) -> bool:
    with _quiet():
        return bool(pyo.pa_count_devices() > 0 and pyo.pa_get_default_output() >= 0)


def _has_input(pyo: Any) -> bool:
    with _quiet():
        return bool(pyo.pa_count_devices() > 0 and pyo.pa_get_default_input() >= 0)


def _jack_answers(pyo: Any) -> bool:
    server = pyo.Server(audio="jack", duplex=0, jackname="meantide-look", verbosity=0)
    server.deactivateMidi()
    server.boot()
    booted = bool(server.getIsBooted())
    if booted:
        server.shutdown()
    return booted


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Send what C libraries print on file descriptors 1 and 2 nowhere, for a moment."""
    sys.stdout.flush()
    sys.stderr.flush()
    saved = [os.dup(1), os.dup(2)]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        yield
    finally:
        for fd, copy in zip((1, 2), saved, strict=True):
            os.dup2(copy, fd)
            os.close(copy)
        os.close(nowhere)
