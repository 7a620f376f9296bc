"""How a voice answers to touch, as a mapping: read from files, and written back."""

from dataclasses import fields
from typing import Any

from meantide.number_files import numbers_of, read_numbers
from meantide.reading import Value
from meantide.voice.touch import Answer, Response

SOURCES = tuple(field.name for field in fields(Response))


def read_response(value: Value) -> Response:
    """Return the answers, by source, that a mapping describes; what it leaves out adds nothing.

    Raises InvalidValue naming the place of what is wrong.
    """
    said = value.fields(*SOURCES)
    return Response(**{name: read_numbers(each, Answer) for name, each in said.entries.items()})


def response_to_mapping(response: Response) -> dict[str, Any]:
    """Return the answers that add something; `read_response` reads it back to an equal one."""
    answers = {name: numbers_of(getattr(response, name)) for name in SOURCES}
    return {name: answer for name, answer in answers.items() if answer}
