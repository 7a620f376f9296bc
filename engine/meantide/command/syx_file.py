"""System exclusive files (.syx): the bytes of messages one after another, and nothing else."""

from pathlib import Path

from meantide.errors import InvalidValue, NotFound
from meantide.pitch.midi_tuning import Placed, read_messages
from meantide.whole_file import whole_file

MAX_BYTES = 4_000_000  # some ten thousand bulk dumps


def read_syx(path: Path) -> tuple[Placed, ...]:
    """Return the tuning messages of a file, all of them or none.

    Raises NotFound if there is no such file, and InvalidValue, with the file and the offset, if it
    cannot be read or is no file of tuning messages.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise NotFound("file", str(path), "a file that is there") from None
    except (OSError, ValueError) as error:  # ValueError: a null character in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise InvalidValue("file", str(path), f"a readable file ({reason})") from None
    if len(data) > MAX_BYTES:
        raise InvalidValue("file", "a larger file", f"at most {MAX_BYTES} bytes", str(path))
    try:
        return read_messages(data)
    except InvalidValue as error:
        raise error.at(str(path)) from None


def write_syx(path: Path, data: bytes) -> None:
    """Write messages whole or not at all; raises InvalidValue where they cannot be written."""
    with whole_file(path) as partial:
        partial.write_bytes(data)
