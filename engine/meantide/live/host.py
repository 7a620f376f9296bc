"""What asks for blocks: a device, or the clock; and which is opened by which name."""

from collections.abc import Callable
from typing import Protocol

from meantide.errors import DeviceError
from meantide.live.block_clock import EntryClock
from meantide.live.clock_host import ClockHost
from meantide.voice.kernel import F32

BACK_ENDS = ("auto", "jack", "portaudio", "none")


class Host(Protocol):
    """What asks for blocks: a device, or the clock."""

    name: str
    rate: int
    block: int

    def start(self, fill: Callable[[F32], None]) -> None:
        """Begin to ask for blocks."""

    def alive(self) -> bool:
        """Tell whether it still asks."""

    def stop(self) -> None:
        """Stop asking."""

    def entries(self) -> EntryClock:
        """Return what maps wall time to this host's samples; it is told of every block."""

    def xruns(self) -> int:
        """Return how many late or lost blocks the device itself counted; -1 if it does not."""


def open_host(audio: str, rate: int, block: int) -> Host:
    """Open what `audio` names; `auto` takes JACK, else a sound card.

    Raises DeviceError, with the list of what there is, if nothing can be had.
    """
    if audio == "none":
        return ClockHost(rate, block)
    from meantide.live.pyo_host import PyoHost, devices  # noqa: PLC0415  loads the audio library

    reasons = []
    for back_end in ("jack", "portaudio") if audio == "auto" else (audio,):
        try:
            return PyoHost(back_end, rate, block)
        except DeviceError as error:
            reasons.append(str(error))
    there = "\n  ".join(devices())
    raise DeviceError(
        f"no audio device: {'; '.join(reasons)}\nwhat there is:\n  {there}\n"
        "--audio none runs the engine without a device"
    )
