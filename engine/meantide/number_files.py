"""Values that are a handful of numbers, as mappings: read from files, and written back.

What each number may be is said by the dataclass that holds it, and there only: what is in the file
goes to its constructor as it stands, and what that refuses is told with the place in the file.
"""

from dataclasses import MISSING, fields
from typing import TYPE_CHECKING, Any, TypeVar

from meantide.reading import Fields, Value

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    Numbers = TypeVar("Numbers", bound=DataclassInstance)

_TYPES = (int, float, float | None)
_LARGEST = 2**53
"""Whole numbers up to this are floats exactly; none of ours may be larger."""


def read_numbers(value: Value, kind: "type[Numbers]") -> "Numbers":
    """Return the `kind`, all of whose fields are numbers, that a mapping describes.

    Fields that are left out are as usual. Raises InvalidValue naming the place of what is wrong.
    """
    said = value.fields(*number_names(kind))
    with said.placing():
        return kind(**numbers_in(said, kind))


def number_names(kind: "type[DataclassInstance]") -> tuple[str, ...]:
    """Return the names of the fields of a dataclass that are numbers, in their order."""
    return tuple(field.name for field in fields(kind) if field.type in _TYPES)


def numbers_in(said: Fields, kind: "type[DataclassInstance]") -> dict[str, Any]:
    """Return what is said of the numbers of a dataclass, for its constructor to check.

    The constructor is to be called within `said.placing()`. Raises InvalidValue if a number that
    has no usual value is not there.
    """
    found = {}
    for field in fields(kind):
        needed = field.default is MISSING and field.default_factory is MISSING
        if field.type in _TYPES and (needed or field.name in said):
            given = said[field.name]
            found[field.name] = given.data if field.type is int else number_in(given)
    return found


def number_in(value: Value) -> Any:
    """Return a number as a float, and anything else as it stands, for a constructor to refuse."""
    data = value.data
    return float(data) if type(data) is int and abs(data) <= _LARGEST else data


def numbers_of(part: "DataclassInstance") -> dict[str, Any]:
    """Return the numbers of a dataclass that are not as usual, by name."""
    return {
        field.name: getattr(part, field.name)
        for field in fields(part)
        if field.type in _TYPES and getattr(part, field.name) != field.default
    }
