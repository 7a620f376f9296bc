"""What an address is: what it does, with which arguments, and what it counts for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from meantide.live.arguments import Slot
from meantide.osc.values import Argument

Reply = tuple[str, tuple[Argument, ...]]


@dataclass(frozen=True, slots=True)
class Address:
    """What an address does with its arguments, which are already read.

    `act` is for the whole, `part_act` for one part; without an `act` it means the part `main`.
    """

    about: str
    """What it does, or what it is answered with, in a line of the reference."""
    act: Callable[..., Sequence[Reply] | None] | None
    slots: tuple[Slot, ...] = ()
    rest: bool = False
    """Whether any further arguments are passed on as they are."""
    part_act: Callable[..., Sequence[Reply] | None] | None = None
    makes_part: bool = False
    """Whether a part that it is sent to is made if it is not there."""
    caller_act: Callable[..., None] | None = None
    """What it does about its sender, if that is all it does."""
    ends: bool = False
    """Whether it can end sound: then it is never dropped."""
    cost: float = 1.0
    """As how many messages it counts against its sender."""

    @property
    def wants(self) -> str:
        """Its arguments in words, those that may be left out in brackets."""
        words = [f"[{slot.name}]" if slot.optional else slot.name for slot in self.slots]
        return ", ".join([*words, "..."] if self.rest else words) or "none"


def of_part(
    about: str, act: Callable[..., Sequence[Reply] | None], *slots: Slot, ends: bool = False
) -> Address:
    """Return an address of parts for what is played."""
    return Address(about, None, slots, part_act=act, ends=ends)


def sets_part(about: str, act: Callable[..., None], *slots: Slot, cost: float = 1.0) -> Address:
    """Return an address of parts for what they are set to: it makes a part."""
    return Address(about, None, slots, part_act=act, makes_part=True, cost=cost)
