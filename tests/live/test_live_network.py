"""`meantide live` as a process: who may speak, what it says of it, and TCP at the same port."""

from typing import Any

import pytest
from click.testing import CliRunner

from meantide.client import Client
from meantide.command import main
from meantide.osc.stream import Framing


def test_loopback_is_the_default_and_said(engines: Any) -> None:
    engine = engines("--audio", "none")
    assert "who may speak: this machine" in engine.lines
    with Client(port=engine.port, framing=Framing.SLIP, patience_s=20.0) as quay:
        assert quay.ask("/scale", "31-equal") == []
        assert quay.state()["scale"] == "31-equal"
    assert engine.end() == 0
    assert any("0 packets too many, 0 from strangers" in line for line in engine.lines)


def test_networks_that_are_let_in_are_said_with_a_caution(engines: Any) -> None:
    engine = engines("--audio", "none", "--host", "0.0.0.0", "--allow", "192.0.2.0/24")  # noqa: S104
    said = "\n".join(engine.lines)
    assert "who may speak: this machine, 192.0.2.0/24" in said
    assert "caution: anyone in these networks" in said
    assert engine.end() == 0


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--host", "0.0.0.0"), "--allow 192.168.1.0/24"),  # noqa: S104
        (("--host", "0.0.0.0", "--allow", "192.168.1.0/33"), "192.168.1.0/33"),  # noqa: S104
        (("--allow", "192.168.1.7/24"), "host bits"),
    ],
)
def test_an_open_port_without_a_network_is_refused(options: tuple[str, ...], told: str) -> None:
    result = CliRunner().invoke(main, ["live", "--audio", "none", "--port", "0", *options])
    assert result.exit_code == 2
    assert told in result.output
