"""Files written whole or not at all."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meantide.errors import InvalidValue


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Yield a path to write to, which becomes `path` at the end, or goes if anything goes wrong.

    Raises InvalidValue if the folder cannot be written to.
    """
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.touch()
    except OSError as error:
        reason = error.strerror or str(error)
        raise InvalidValue("out", str(path), f"a place that can be written ({reason})") from error
    try:
        yield partial
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)
