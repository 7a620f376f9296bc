"""`meantide listen --input`: a tone that a second JACK client plays, through pyo's input."""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from live.conftest import JACK_RATE, PATIENCE_S, connect, wait_for

TONE_HZ = 441.5


@contextmanager
def playing(server: str) -> Iterator[None]:
    """Play a sine into whoever comes to listen, until the end."""
    import jack

    client = jack.Client("tone", no_start_server=True, servername=server)
    port = client.outports.register("out")
    played = 0

    def process(frames: int) -> None:
        nonlocal played
        turns = TONE_HZ * (played + np.arange(frames)) / JACK_RATE
        port.get_array()[:] = 0.1 * np.sin(2 * np.pi * turns)
        played += frames

    client.set_process_callback(process)
    client.activate()

    def meet() -> None:
        for listening in wait_for(
            "the input",
            lambda: (
                ports
                if len(ports := client.get_ports("^meantide-listen:", is_input=True)) == 2
                else None
            ),
        ):
            connect(client, port, listening)

    connecting = threading.Thread(target=meet, daemon=True)
    connecting.start()
    try:
        yield
    finally:
        connecting.join()
        client.deactivate()
        client.close()


def listen(server: str, *arguments: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "meantide", "listen", "--input", *arguments],
        env=os.environ | {"JACK_DEFAULT_SERVER": server, "JACK_NO_START_SERVER": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_S,
    )


def test_a_tone_at_the_input_is_heard(jack_server: str) -> None:
    with playing(jack_server):
        result = listen(jack_server, "3", "--note", "A4", "--json", "--audio", "jack")
    assert result.returncode == 0, result.stderr
    told = json.loads(result.stdout)
    assert told["tones"][0]["file"] == "input (jack)"
    # A recording that JACK cut a block out of, on a busy machine, has a jump of phase and is as
    # much less sure; one that is whole is exact to float32.
    doubt = told["uncertainty_cents"]
    assert told["anchor"]["hz"] == pytest.approx(TONE_HZ, rel=max(3.0 * doubt, 0.01) / 1731.0)
    assert doubt < 5.0


def test_no_input_exits_3_in_one_sentence() -> None:
    result = listen("meantide-no-such-server", "1", "--audio", "jack")
    assert result.returncode == 3
    assert "no input to record from: jack: no server to be reached" in result.stderr
    assert "Traceback" not in result.stderr
