"""`meantide send` against a real engine, and liblo's tools beside it."""

import json
import re
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from live.conftest import need
from meantide.command import main
from meantide.osc.reading import decode
from stage import Stage


@pytest.fixture
def stage() -> Iterator[Stage]:
    built = Stage()
    yield built
    built.close()


def send(port: int, *words: str) -> Result:
    return CliRunner().invoke(main, ["send", "--port", str(port), "--patience", "20", *words])


def test_the_sends_of_the_tour_are_obeyed(stage: Stage) -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^meantide send (/.*?)(?:  #.*)?$", text, re.MULTILINE)
    assert len(lines) >= 3
    for line in lines:
        result = send(stage.server.port, *line.split())
        assert result.exit_code == 0, f"{line}: {result.output}"


@pytest.mark.parametrize("over", ["udp", "slip", "length"])
def test_answers_are_printed(stage: Stage, over: str) -> None:
    result = send(stage.server.port, "/ask/pitch", "C#5", "--over", over)
    assert result.exit_code == 0
    assert result.output.startswith("/reply/pitch hz 554.365")
    result = send(stage.server.port, "/ask/pitch", "A4", "--json", "--over", over)
    [reply] = json.loads(result.output)
    assert reply["address"] == "/reply/pitch"
    assert reply["arguments"][:2] == ["hz", 440.0]


def test_what_is_refused_ends_with_2_and_nobody_there_with_3(stage: Stage) -> None:
    result = send(stage.server.port, "/scale", "31-equals")
    assert result.exit_code == 2
    assert "31-equal" in result.output
    assert send(stage.server.port, "/level", "-12", "0.5").exit_code == 0
    assert stage.control.state.level_db == -12.0
    assert send(stage.server.port, "/note/on", "60", "--types", "i").exit_code == 2
    assert send(stage.server.port, "/note/on", "60", "x", "--types", "if").exit_code == 2
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as silent:
        silent.bind(("127.0.0.1", 0))
        port = str(silent.getsockname()[1])
        assert CliRunner().invoke(
            main, ["send", "/ping", "--port", port, "--patience", "0.05"]
        ).exit_code == 3  # fmt: skip


@pytest.mark.parametrize(
    ("types", "words", "tags"),
    [
        (None, "1 0.5 C#5 nan 4294967296", ",ifssh"),
        ("hdsSbcrmtTFNI", "1 2 a b 00ff A ff00ff00 00903c7f 1 T F N I", ",hdsSbcrmtTFNI"),
    ],
)
def test_types_are_guessed_or_given(types: str | None, words: str, tags: str) -> None:
    """Read as they come out of the socket."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
        listener.bind(("127.0.0.1", 0))
        port = str(listener.getsockname()[1])
        options = ["--types", types] if types else []
        CliRunner().invoke(
            main, ["send", "/quay", *words.split(), *options, "--port", port, "--patience", "0.01"]
        )
        packet = listener.recv(65_536)
    start = packet.index(b",")
    assert packet[start : packet.index(b"\0", start)].decode() == tags
    assert decode(packet)[0].messages[0].address == "/quay"


def test_oscsend_plays_and_oscdump_reads_what_we_send(stage: Stage) -> None:
    """liblo, the C implementation, as the other end of both."""
    url = f"osc.udp://127.0.0.1:{stage.server.port}"
    subprocess.run([need("oscsend"), url, "/hertz/on", "dfi", "440", "0.5", "1"], check=True)
    subprocess.run([need("oscsend"), url, "/part/*/pan", "f", "-0.5"], check=True)
    stage.ask("/ping")
    assert stage.play(0.1).any()
    assert stage.control.state.main.pan == -0.5
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    dump = subprocess.Popen([need("oscdump"), "-L", port], stdout=subprocess.PIPE, text=True)
    try:
        line = ""
        for _ in range(200):  # until it listens
            words = ["send", "/quay", "7", "0.5", "marsh", "--port", port, "--patience", "0.05"]
            CliRunner().invoke(main, words)
            if dump.poll() is None and dump.stdout is not None and _readable(dump.stdout):
                line = dump.stdout.readline()
                break
        assert '/quay ifs 7 0.500000 "marsh"' in line
    finally:
        dump.terminate()
        dump.wait()
        assert dump.stdout is not None
        dump.stdout.close()


def _readable(stream: object) -> bool:
    import select

    return bool(select.select([stream], [], [], 0.05)[0])
