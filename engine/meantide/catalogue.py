"""The presets, ours and the user's: scales, anchors, layouts and voices found by name or path."""

import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meantide.document import read_document
from meantide.errors import InvalidValue, NotFound, not_found
from meantide.layout_files import read_layout
from meantide.pitch import Anchor, Layout, Scale
from meantide.pitch_files import read_anchor
from meantide.reading import Value, value_of
from meantide.scale_files import read_scale
from meantide.voice.voices import Voice
from meantide.voice_files import read_voice

KINDS = ("scales", "anchors", "layouts", "voices")
USER_FOLDER = "MEANTIDE_PRESETS"  # the environment variable that names the user's own folder

Reference = str | Path | Value | Mapping[str, Any]
"""A catalogue name, a path, or a definition itself; a Value of text counts as that text."""


@dataclass(frozen=True, slots=True)
class Definition:
    """A definition as found: its value, the name it goes by if it gives none itself, and its file.

    Paths in it start from `base`, the folder of the file, or where those around it start.
    """

    value: Value
    name: str
    file: Path | None
    base: Path


class Catalogue:
    """Finds definitions in `folders`, the first that has a name winning, and reads them checked.

    Each folder holds a folder for each of `KINDS`, and in it one YAML file a definition, whose
    file name is its name. Without `folders` these are `default_folders()`. A reference with a
    slash in it, or ending in .yaml, is a path, which starts from `base` if it is relative; with
    `paths` false it is refused, for references that come over a network must not choose what file
    is read. Files are read each time they are asked for: an edit is heard at the next request.

    The readers raise NotFound, with the nearest names, for what is not there, and InvalidValue,
    with file, line and field, for what is not as it should be.
    """

    def __init__(self, folders: Iterable[Path] | None = None, *, paths: bool = True) -> None:
        self.folders = tuple(default_folders() if folders is None else folders)
        self.paths = paths

    def scale(self, reference: Reference, base: Path = Path()) -> Scale:
        """Return a scale."""
        return self._scale(reference, base, ())

    def anchor(self, reference: Reference, base: Path = Path()) -> Anchor:
        """Return an anchor, which may also be written in place: `A4=440`, or `0=256`."""
        written = reference.data if isinstance(reference, Value) else reference
        if isinstance(written, str) and "=" in written and not _is_path(written):
            with value_of(reference, field="anchor").placing():
                return Anchor.parse(written)
        found = self.definition("anchors", reference, base)
        return read_anchor(found.value, found.name)

    def layout(self, reference: Reference, base: Path = Path()) -> Layout:
        """Return a layout."""
        found = self.definition("layouts", reference, base)
        return read_layout(found.value, found.name)

    def voice(self, reference: Reference, base: Path = Path()) -> Voice:
        """Return a voice."""
        found = self.definition("voices", reference, base)
        return read_voice(found.value, found.name)

    def definition(self, kind: str, reference: Reference, base: Path = Path()) -> Definition:
        """Return what `reference` stands for among the definitions of a kind, not yet checked."""
        if isinstance(reference, Path):
            return _read(base / reference)
        value = value_of(reference)
        if not isinstance(value.data, str):
            return Definition(value, "", None, base)
        try:
            if _is_path(value.data):
                if not self.paths:
                    allowed = "a name in the catalogue; paths are not followed here"
                    raise InvalidValue(kind.removesuffix("s"), value.data, allowed, value.where)
                return _read(base / Path(value.data))
            return _read(self.find(kind, value.data))
        except NotFound as error:
            raise error.at(value.where) from None

    def find(self, kind: str, name: str) -> Path:
        """Return the file of a definition."""
        files = self._files(kind)
        if name not in files:
            raise not_found(kind.removesuffix("s"), name, files)
        return files[name]

    def names(self, kind: str) -> tuple[str, ...]:
        """Return the names of all definitions of a kind, in order."""
        return tuple(sorted(self._files(kind), key=_natural_order))

    def _scale(self, reference: Reference, base: Path, within: tuple[Path, ...]) -> Scale:
        """Return a scale that the definitions in the files `within` are made of."""
        found = self.definition("scales", reference, base)
        if found.file is not None:
            if found.file in within:
                raise value_of(reference).error("a scale that is not made of this one")
            within = (*within, found.file)
        # Whoever wrote a file may name files in it, whoever asked for it by name.
        inner = self if found.file is None else Catalogue(self.folders)
        return read_scale(found.value, found.name, lambda of: inner._scale(of, found.base, within))

    def _files(self, kind: str) -> dict[str, Path]:
        """Return the file of each definition of a kind, by name."""
        if kind not in KINDS:
            raise not_found("kind of preset", kind, KINDS)
        files: dict[str, Path] = {}
        for folder in self.folders:
            for path in sorted((folder / kind).glob("*.yaml")):
                files.setdefault(path.stem, path)
        return files


def default_folders() -> tuple[Path, ...]:
    """Return the user's preset folder and ours; reads the environment when called."""
    own = os.environ.get(USER_FOLDER)
    user = Path(own) if own else Path("~/.config/meantide/presets").expanduser()
    return user, shipped_folder()


def shipped_folder() -> Path:
    """Return the folder of the presets that come with Meantide."""
    package = Path(__file__).parent
    installed = package / "presets"
    return installed if installed.is_dir() else package.parents[1] / "presets"


def _is_path(reference: str) -> bool:
    """Tell a path from a name."""
    return "/" in reference or os.sep in reference or reference.endswith(".yaml")


def _read(path: Path) -> Definition:
    """Read the definition in a file."""
    return Definition(read_document(path), path.stem, path.resolve(), path.parent)


def _natural_order(name: str) -> tuple[int, str]:
    """Return a key that puts 5-equal before 12-equal, and numbers before words."""
    leading = re.match("[0-9]{1,9}", name)
    return (int(leading[0]) if leading else 10**9, name)
