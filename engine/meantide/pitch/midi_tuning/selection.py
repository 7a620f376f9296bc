"""Control changes that choose, on a channel, which program and bank of tunings it plays.

Registered parameter 3 is the tuning program, 4 the tuning bank; data entry sets them, increment
and decrement step them. An instrument ignores numbers it does not have. Each control change here
has its own status byte; senders may leave out repeated ones (running status), as the standard's
own text does: Bn 64 03 65 00 06 tt. Source: MIDI Tuning Messages (CA-020).
"""

from meantide.errors import InvalidValue

PARAMETERS = {"program": 3, "bank": 4}
_LOW, _HIGH = 0x64, 0x65  # controls that name the parameter
_ENTRY, _INCREMENT, _DECREMENT = 0x06, 0x60, 0x61


def select(parameter: str, channel: int, number: int) -> bytes:
    """Return what sets the tuning "program" or "bank" of channel 1 to 16 to 0 to 127."""
    if type(number) is not int or not 0 <= number <= 127:
        raise InvalidValue(parameter, number, "a whole number from 0 to 127")
    return _changes(parameter, channel, _ENTRY, number)


def select_next(parameter: str, channel: int) -> bytes:
    """Return what steps the tuning "program" or "bank" of channel 1 to 16 up by one."""
    return _changes(parameter, channel, _INCREMENT, 0x7F)


def select_previous(parameter: str, channel: int) -> bytes:
    """Return what steps the tuning "program" or "bank" of channel 1 to 16 down by one."""
    return _changes(parameter, channel, _DECREMENT, 0x7F)


def _changes(parameter: str, channel: int, control: int, value: int) -> bytes:
    """Return three control changes: which parameter, and what becomes of it."""
    if parameter not in PARAMETERS:
        raise InvalidValue("parameter", parameter, "program or bank")
    if type(channel) is not int or not 1 <= channel <= 16:
        raise InvalidValue("channel", channel, "a channel from 1 to 16")
    status = 0xB0 + channel - 1
    pairs = ((_LOW, PARAMETERS[parameter]), (_HIGH, 0), (control, value))
    return b"".join(bytes([status, *pair]) for pair in pairs)
