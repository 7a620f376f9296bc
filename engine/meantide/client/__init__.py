"""Play a running engine from Python, in a few lines.

    from meantide.client import Client

    with Client() as quay:
        quay.ask("/scale", "31-equal")
        pulse = quay.pulse(72)
        for beat, name in enumerate(("A4", "C#5", "E5")):
            quay.play(name, at_s=pulse.at(beat), for_s=pulse.seconds(0.9))

`AsyncClient` is the same for asyncio. What the engine refuses is raised as `Refused`, what it is
too busy for as `Busy`; a client that hears nothing raises `NoAnswer`.
"""

from meantide.client.asynchronous import AsyncClient
from meantide.client.blocking import Client
from meantide.client.conversation import (
    Bundle,
    Busy,
    EngineFault,
    NoAnswer,
    Pulse,
    Refused,
    Reply,
)

__all__ = [
    "AsyncClient", "Bundle", "Busy", "Client", "EngineFault", "NoAnswer", "Pulse", "Refused",
    "Reply",
]  # fmt: skip
