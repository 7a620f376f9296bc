"""The errors a user can meet, one small tree, each with the exit code of the command it ends."""

import difflib
from collections.abc import Iterable


class MeantideError(Exception):
    """Base of all errors that are told to the user as a sentence, not as a traceback."""

    exit_code = 2


class InvalidValue(MeantideError):
    """A value refused where it entered: what it was for, what was got, what is allowed.

    `where` is a file and line ("harbour.yaml:3") or an OSC address, added by whoever knows it.
    """

    def __init__(self, field: str, got: object, allowed: str, where: str = "") -> None:
        self.field = field
        self.got = got
        self.allowed = allowed
        self.where = where
        super().__init__(field, got, allowed, where)

    def at(self, where: str) -> "InvalidValue":
        """Return the same error with its place, unless it already knows a nearer one."""
        return self if self.where else type(self)(self.field, self.got, self.allowed, where)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        got = repr(self.got)
        if len(got) > 80:
            got = got[:77] + "..."
        return f"{place}{self.field}: got {got}; allowed: {self.allowed}"


class NotFound(InvalidValue):
    """A name that stands in no catalogue, scale or file; carries the nearest names there are."""


class CheckFailed(MeantideError):
    """A check the user asked for did not pass; the work itself was done."""

    exit_code = 1


class DeviceError(MeantideError):
    """The audio device or the network port cannot be had."""

    exit_code = 3


def not_found(field: str, got: str, names: Iterable[str]) -> NotFound:
    """Make a `NotFound` that suggests the nearest of `names`, or lists them when they are few."""
    known = sorted(names)
    near = difflib.get_close_matches(got, known, n=3, cutoff=0.5)
    if near:
        allowed = "did you mean " + " or ".join(near) + "?"
    elif len(known) <= 12:
        allowed = "one of " + ", ".join(known) if known else "nothing here yet"
    else:
        allowed = f"one of {len(known)} names, such as " + ", ".join(known[:6])
    return NotFound(field, got, allowed)
