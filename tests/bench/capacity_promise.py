"""Is the promise of `meantide capacity` kept? The notes it states, played through JACK.

    python tests/bench/capacity_promise.py [--voice plain-reed] [--block 128] [--seconds 30]

`meantide capacity` states a number of notes. Then jackd runs with its dummy driver, and two engines
play into it at once, each a `meantide live` of its own: one with so many notes sounding, one idle.
After so many seconds both are asked what they lost, by `/ask/load`. The busy one should have lost
no more than the idle one beside it. Exit code 1 if it lost more, 2 if there is nothing to compare.
"""

import argparse
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

RATE_HZ = 48_000
PATIENCE_S = 30.0
LOWEST_HZ, OCTAVES, GOLDEN = 65.4, 5.0, 0.618034  # as `capacity` spreads its notes
SETTLE_S = 2.0  # the fade in, and JACK's stumble when a client joins
COUNTED = ("blocks", "long", "lost", "thinned")


class Live:
    """A `meantide live` on a JACK server, spoken to over its socket."""

    def __init__(self, server: str, voice: str, notes: int) -> None:
        environment = os.environ | {"JACK_DEFAULT_SERVER": server, "JACK_NO_START_SERVER": "1"}
        command = [sys.executable, "-u", "-m", "meantide", "live", "--audio", "jack", "--port", "0"]
        command += ["--voice", voice, "--notes", str(notes), "--level", "-60"]
        self._process = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, env=environment
        )
        assert self._process.stdout is not None
        port, self.device = None, ""
        for line in self._process.stdout:
            self.device = line.strip() if line.startswith("audio:") else self.device
            if found := re.search(r"OSC: udp 127\.0\.0\.1:(\d+)", line):
                port = int(found[1])
            if "Ctrl-C" in line:
                break
        if port is None:
            raise SystemExit("meantide live did not begin")
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.settimeout(PATIENCE_S)
        self._socket.connect(("127.0.0.1", port))

    def send(self, address: str, *arguments: Any) -> None:
        """Send one message."""
        builder = OscMessageBuilder(address)
        for argument in arguments:
            builder.add_arg(argument)
        self._socket.send(builder.build().dgram)

    def load(self) -> dict[str, Any]:
        """Ask how it gets on."""
        self.send("/ask/load")
        while True:
            reply = OscMessage(self._socket.recv(65_536))
            if reply.address == "/reply/load":
                return dict(zip(reply.params[::2], reply.params[1::2], strict=True))
            print(reply.address, *reply.params, file=sys.stderr)

    def play(self, notes: int) -> None:
        """Strike and hold so many notes, a few at a time."""
        for number in range(notes):
            hz = LOWEST_HZ * 2.0 ** (OCTAVES * (number * GOLDEN % 1.0))
            self.send("/hertz/on", hz, 0.7, number)
            time.sleep(0.002)

    def close(self) -> None:
        """End it as a player does."""
        self._socket.close()
        self._process.send_signal(signal.SIGINT)
        self._process.communicate(timeout=PATIENCE_S)


def stated(voice: str, block: int, kept: Path) -> int:
    """Return the notes that `meantide capacity` states; 0 if it could not settle them."""
    command = [sys.executable, "-m", "meantide", "capacity", "--voice", voice, "--json"]
    command += ["--block", str(block)]
    kept.write_bytes(subprocess.run(command, check=True, stdout=subprocess.PIPE).stdout)
    [held] = json.loads(kept.read_text())["held"]
    print(json.dumps(held))
    return int(held["notes"]) if held["settled"] else 0


def jackd(name: str, block: int) -> "subprocess.Popen[bytes]":
    """Run jackd with its dummy driver, in real time where it may."""
    tail = ["-n", name, "-d", "dummy", "-r", str(RATE_HZ), "-p", str(block)]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    for how in (["-R", "-P", "20"], ["-r"]):
        process = subprocess.Popen(["jackd", *how, *tail], **quiet)
        time.sleep(1.5)
        if process.poll() is None:
            print("jackd", *how, *tail)
            return process
    raise SystemExit("jackd does not begin")


def compare(voice: str, block: int, notes: int, seconds: float) -> tuple[dict[str, Any], ...]:
    """Return what the busy and the idle engine counted meanwhile, and their times at the end."""
    with ExitStack() as stack:
        name = f"meantide-promise-{os.getpid()}"
        server = jackd(name, block)
        stack.callback(lambda: (server.terminate(), server.wait()))
        engines = []
        for _ in range(2):
            engines.append(Live(name, voice, max(notes, 1)))
            stack.callback(engines[-1].close)
        print("both on", engines[0].device)
        engines[0].play(notes)
        time.sleep(SETTLE_S)
        before = [engine.load() for engine in engines]
        time.sleep(seconds)
        after = [engine.load() for engine in engines]
    return tuple(
        end | {name: end[name] - start[name] for name in COUNTED}
        for start, end in zip(before, after, strict=True)
    )


def main() -> int:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--voice", default="plain-reed")
    parser.add_argument("--block", type=int, default=128)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--notes", type=int, help="so many instead of what capacity states")
    wished = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        notes = wished.notes or stated(wished.voice, wished.block, Path(folder) / "capacity.json")
    if not notes:
        print("capacity could not settle a number: the machine is too busy to say")
        return 2
    busy, idle = compare(wished.voice, wished.block, notes, wished.seconds)
    print(f"{'':8}{'notes':>7}{'blocks':>8}{'lost':>6}{'long':>6}{'median':>9}{'99.9 %':>9} ms")
    for name, said in (("busy", busy), ("idle", idle)):
        print(
            f"{name:8}{said['notes']:7}{said['blocks']:8}{said['lost']:6}{said['long']:6}"
            f"{said['median_ms']:9.3f}{said['high_ms']:9.3f}"
        )
    print(f"a block is {busy['block_ms']:.3f} ms; {busy['thinned']} notes were thinned")
    print("load average", *(f"{load:.2f}" for load in os.getloadavg()))
    kept = busy["lost"] <= idle["lost"] and busy["notes"] == notes
    print("kept" if kept else "not kept")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
