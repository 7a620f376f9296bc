"""A real JACK server with its dummy driver, the real engine as a process, a recording client."""

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

JACK_RATE, JACK_PERIOD = 48_000, 1024
PATIENCE_S = 120.0
"""The first engine may have to compile its kernel: 20 s, and on a busy machine twice that."""


def need(program: str) -> str:
    """Return a program's path; where it is missing, skip, or fail on CI."""
    path = shutil.which(program)
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{program} is not installed, and CI must have it")
        pytest.skip(f"{program} is not installed")
    return path


def wait_for(what: str, condition: Any) -> Any:
    """Return what `condition` gives once it is true; fail when patience ends."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if found := condition():
            return found
        time.sleep(0.01)
    return pytest.fail(f"waited {PATIENCE_S:g} s in vain for {what}")


@contextmanager
def jack_named(name: str) -> Iterator[tuple[str, "subprocess.Popen[bytes]"]]:
    """Run jackd with its dummy driver; yields its name and its process."""
    jackd = need("jackd")
    driver = ["-d", "dummy", "-r", str(JACK_RATE), "-p", str(JACK_PERIOD)]
    os.environ["JACK_NO_START_SERVER"] = "1"
    process = subprocess.Popen(
        [jackd, "-r", "-n", name, *driver], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        wait_for("jackd", lambda: _answers(name))
        yield name, process
    finally:
        process.terminate()
        process.wait()


@pytest.fixture(scope="session")
def jack_server() -> Iterator[str]:
    """Start a JACK server for the whole session; yields its name."""
    with jack_named(f"meantide-test-{os.getpid()}") as (name, _):
        yield name


def _answers(server: str) -> bool:
    import jack

    try:
        jack.Client("meantide-test-look", no_start_server=True, servername=server).close()
    except jack.JackOpenError:
        return False
    return True


def connect(client: Any, source: Any, destination: Any) -> None:
    """Connect two JACK ports, once the clients they belong to have begun."""
    import jack

    def connected() -> bool:
        try:
            client.connect(source, destination)
        except jack.JackErrorCode:  # a port can be seen before its client is active
            return destination in client.get_all_connections(source)
        return True

    wait_for(f"{source} to meet {destination}", connected)


class Recorder:
    """A JACK client that records two ports of another, and hears of lost blocks."""

    def __init__(self, server: str, seconds: float) -> None:
        import jack

        self._client = jack.Client("recorder", no_start_server=True, servername=server)
        self._ports = [self._client.inports.register(f"in_{side}") for side in (1, 2)]
        self._samples = np.zeros((2, int(seconds * JACK_RATE)), np.float32)
        self._frames = 0
        self._expected: int | None = None
        self.lost = 0
        self._client.set_process_callback(self._process)
        self._client.set_xrun_callback(self._xrun)
        self._client.activate()

    def connect(self, client: str) -> None:
        """Connect to the outputs of `client`, once it has them."""
        outputs = wait_for(
            f"the ports of {client}",
            lambda: (
                ports
                if len(ports := self._client.get_ports(f"^{client}:", is_output=True)) == 2
                else None
            ),
        )
        for output, port in zip(outputs, self._ports, strict=True):
            connect(self._client, output, port)

    @property
    def frames(self) -> int:
        """Frames recorded so far."""
        return self._frames

    @property
    def samples(self) -> np.ndarray:
        """What was recorded so far, (2, frames)."""
        return self._samples[:, : self._frames]

    def close(self) -> None:
        """Stop. A recorder that is left open takes the test session down with it."""
        self._client.deactivate()
        self._client.close()

    def _process(self, frames: int) -> None:
        now = self._client.last_frame_time
        if self._expected is not None and now != self._expected:
            self.lost += 1
        self._expected = now + frames
        if self._frames + frames <= self._samples.shape[1]:
            for channel, port in enumerate(self._ports):
                self._samples[channel, self._frames : self._frames + frames] = port.get_array()
            self._frames += frames

    def _xrun(self, _delayed_us: float) -> None:
        self.lost += 1


@dataclass
class LiveEngine:
    """`meantide live` as a process of its own."""

    process: subprocess.Popen[str]
    lines: list[str] = field(default_factory=list)
    port: int = 0
    reader: threading.Thread | None = None

    def read(self) -> None:
        """Collect what it prints until it ends."""
        assert self.process.stdout is not None
        self.lines.extend(line.rstrip("\n") for line in self.process.stdout)

    def send(self, address: str, *arguments: str) -> None:
        """Send a message with liblo's oscsend: types first, as it wants them."""
        subprocess.run(
            [need("oscsend"), f"osc.udp://127.0.0.1:{self.port}", address, *arguments], check=True
        )

    def end(self, how: signal.Signals = signal.SIGINT) -> int:
        """Ask it to end; return its exit code, when all it printed is read."""
        self.process.send_signal(how)
        code = self.process.wait(PATIENCE_S)
        assert self.reader is not None
        self.reader.join()
        return code


@pytest.fixture
def engines(tmp_path: Path) -> Iterator[Any]:
    """Yield a function that starts `meantide live` with the arguments given."""
    started: list[LiveEngine] = []

    def start(*arguments: str, server: str = "none-such") -> LiveEngine:
        environment = os.environ | {"JACK_DEFAULT_SERVER": server, "JACK_NO_START_SERVER": "1"}
        process = subprocess.Popen(
            [sys.executable, "-u", "-m", "meantide", "live", "--port", "0", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=environment,
            cwd=tmp_path,
        )
        engine = LiveEngine(process)
        engine.reader = threading.Thread(target=engine.read, daemon=True)
        engine.reader.start()
        started.append(engine)
        wait_for(
            "the engine to listen",
            lambda: process.poll() is not None or any("Ctrl-C" in line for line in engine.lines),
        )
        for line in engine.lines:
            if found := re.search(r"OSC: udp 127\.0\.0\.1:(\d+)", line):
                engine.port = int(found[1])
        return engine

    yield start
    for engine in started:
        if engine.process.poll() is None:
            engine.process.kill()
        engine.process.wait()
        assert engine.reader is not None
        assert engine.process.stdout is not None
        engine.reader.join()
        engine.process.stdout.close()
