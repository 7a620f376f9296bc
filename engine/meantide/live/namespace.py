"""Messages to what the table of addresses says: arguments read and checked, patterns dispatched.

Before the addresses that a part has, `/part/NAME` may stand; without it most of them mean the part
`main`.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Any

from meantide.errors import InvalidValue, not_found
from meantide.live.address import Address, Reply
from meantide.live.addresses import ADDRESSES
from meantide.live.control import Control
from meantide.live.state import MAIN
from meantide.live.watchers import Caller
from meantide.osc.pattern import Pattern, is_pattern, matches_part
from meantide.osc.values import Argument, Group, Message

LONGEST_ADDRESS = 64
"""Of longer ones no nearest address is looked for."""
PATTERN_COST = 128.0
"""It may be dispatched to a part of every name."""
PART_PREFIX = "/part/"
PART_NAME = re.compile("[a-z0-9-]{1,32}")


def obey(control: Control, message: Message, caller: Caller) -> Sequence[Reply]:
    """Do what `message` asks; return the replies it wants.

    A pattern is dispatched to every address that it matches, of the parts that are there too.
    Raises InvalidValue if it cannot be done; the control's group is then to be abandoned.
    """
    if not is_pattern(message.address):
        return _obey_one(control, message.address, message.arguments, caller)
    found = matching(message.address, control.state.parts)
    if not found:
        raise InvalidValue("address", message.address, "a pattern that matches an address")
    replies: list[Reply] = []
    for address in found:
        try:
            replies.extend(_obey_one(control, address, message.arguments, caller))
        except InvalidValue as error:
            raise error.at(address) from None
    return replies


def matching(text: str, parts: Iterable[str]) -> list[str]:
    """Return the addresses that a pattern matches."""
    pattern = Pattern(text)
    found = pattern.find(ADDRESSES)
    if len(pattern.parts) > 2 and matches_part(pattern.parts[0], "part"):
        own = [path for path, address in ADDRESSES.items() if address.part_act is not None]
        found += pattern.find(f"{PART_PREFIX}{name}{path}" for name in parts for path in own)
    return found


def _obey_one(
    control: Control, full: str, given: tuple[Argument, ...], caller: Caller
) -> Sequence[Reply]:
    name, path = _split_part(full)
    address = ADDRESSES.get(path)
    if address is None:
        raise not_found("address", full[:LONGEST_ADDRESS], ADDRESSES)
    arguments = _read_arguments(address, given)
    if name is None and address.caller_act is not None:
        address.caller_act(caller, *arguments)
        return ()
    if name is None and address.act is not None:
        return address.act(control, *arguments) or ()
    if address.part_act is None:
        raise InvalidValue("address", full, f"{path}: it is not a part's own")
    find = control.part_to_be if address.makes_part else control.part
    return address.part_act(find(name or MAIN), *arguments) or ()


def cost(groups: Sequence[Group]) -> float:
    """Return as how many messages the groups of a packet count."""
    return sum(_cost(message.address) for group in groups for message in group.messages)


def _cost(address: str) -> float:
    if is_pattern(address):
        return PATTERN_COST
    found = _found(address)
    return found.cost if found is not None else 1.0


def ends_sound(message: Message) -> bool:
    """Tell whether a message can end sound, and must not be dropped; patterns are not looked at."""
    found = _found(message.address)
    return found is not None and found.ends


def _found(address: str) -> Address | None:
    if address.startswith(PART_PREFIX):
        address = "/" + address.removeprefix(PART_PREFIX).partition("/")[2]
    return ADDRESSES.get(address)


def _split_part(address: str) -> tuple[str | None, str]:
    """Return the name of the part that an address begins with, or None, and the rest of it."""
    if not address.startswith(PART_PREFIX):
        return None, address
    name, _, rest = address.removeprefix(PART_PREFIX).partition("/")
    if not PART_NAME.fullmatch(name):
        raise InvalidValue("part", name, "a name of 1 to 32 small letters, digits and hyphens")
    return name, f"/{rest}"


def _read_arguments(address: Address, arguments: tuple[Argument, ...]) -> list[Any]:
    slots = address.slots
    needed = sum(not slot.optional for slot in slots)
    if len(arguments) < needed or (len(arguments) > len(slots) and not address.rest):
        raise InvalidValue("arguments", f"{len(arguments)} of them", address.wants)
    read = []
    for slot, argument in zip(slots, arguments, strict=False):
        try:
            read.append(slot.read(argument))
        except InvalidValue as error:
            raise InvalidValue(slot.name, error.got, error.allowed) from None
    return read + list(arguments[len(slots) :])
