"""Definitions written to YAML files that the catalogue reads back as they were."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import yaml

from meantide.document import plain_scalar
from meantide.whole_file import whole_file

_WIDTH = 10_000  # characters; texts are not to be broken


class _Dumper(yaml.SafeDumper):
    """Quotes what `document.py` would otherwise read as something else than text."""


def _text(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = None if isinstance(plain_scalar(text), str) else '"'
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style)


_Dumper.add_representer(str, _text)


def to_yaml(mapping: Mapping[str, Any]) -> str:
    """Return a definition's mapping as YAML, one value a line."""
    return yaml.dump(
        dict(mapping), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=_WIDTH
    )


def write_definition(path: Path, mapping: Mapping[str, Any]) -> None:
    """Write a definition whole or not at all; raises InvalidValue where it cannot be written."""
    with whole_file(path) as partial:
        partial.write_text(to_yaml(mapping), encoding="utf-8")
