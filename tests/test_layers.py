"""The layers: who may import whom, read from the source and seen in child processes."""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import meantide

ROOT = Path(meantide.__file__).parent

CORE = {"errors"}
PITCH_FILES = {"pitch_files", "scale_files", "layout_files"}
VOICE_PARTS = {"number_files", "envelope_files", "touch_files", "purpose_files"}
VOICE_FILES = VOICE_PARTS | {"additive_files", "fm_files", "voice_files"}
FILES = CORE | PITCH_FILES | VOICE_FILES | {
    "reading", "document", "catalogue", "journal", "whole_file"
}  # fmt: skip

# What each package, or module at the top, may import of the others; itself always.
MAY_IMPORT = {
    "errors": set(),
    "whole_file": CORE,
    "reading": CORE,
    "document": CORE | {"reading"},
    "osc": CORE,
    "pitch": CORE,
    "voice": CORE | {"pitch"},
    "perform": CORE | {"pitch", "voice"},
    "pitch_files": CORE | {"reading", "pitch"},
    "scale_files": CORE | {"reading", "pitch", "pitch_files"},
    "layout_files": CORE | {"reading", "pitch", "pitch_files"},
    "envelope_files": CORE | {"reading", "pitch", "voice"},
    "number_files": CORE | {"reading"},
    "touch_files": CORE | {"reading", "voice", "number_files"},
    "purpose_files": CORE | {"reading", "pitch", "voice", "number_files"},
    "additive_files": CORE | VOICE_PARTS | {"reading", "pitch_files", "voice"},
    "fm_files": CORE | VOICE_PARTS | {"reading", "pitch", "pitch_files", "voice"},
    "voice_files": CORE | VOICE_FILES | {"reading", "voice"},
    "catalogue": FILES - {"journal"} | {"pitch", "voice"},
    "journal": FILES | {"pitch", "voice", "perform"},
    "live": FILES | {"osc", "pitch", "voice", "perform"},
    "client": CORE | {"osc"},
    "offline": FILES | {"pitch", "voice", "perform"},
    "command": FILES | {"osc", "client", "pitch", "voice", "perform", "live", "offline"},
}

# What importing every module of a layer may load from outside the standard library. Only the
# host in `live` imports pyo, and that only when a device is wanted.
YAML = {"yaml", "_yaml"}  # its compiled half brings modules named after Cython's version
AUDIO_FILES = {"soundfile", "_soundfile", "_soundfile_data", "_cffi_backend", "cffi"} | {
    "typing_extensions"  # asked for by soundfile
}
MIDI_FILES = {"mido", "packaging"}
TERMINAL = {"click", "rich", "pygments", "markdown_it", "mdurl"}
MAY_LOAD = {
    "osc": {"pythonosc"},
    "client": {"pythonosc"},
    "pitch": set(),
    "voice": {"numpy"},
    "perform": {"numpy"},
    "live": {"numpy", "pythonosc", *YAML},
    "offline": {"numpy", *YAML, *AUDIO_FILES, *MIDI_FILES},
    "command": {"numpy", "pythonosc", *YAML, *AUDIO_FILES, *MIDI_FILES, *TERMINAL},
}

SOURCES = sorted(path for path in ROOT.rglob("*.py") if path.parent != ROOT or path.stem[0] != "_")


def module_name(path: Path) -> str:
    return "meantide." + path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")


# Modules that load numba, known by their names, and imported only where compiled code is wanted.
ON_DEMAND = {
    module_name(path) for path in SOURCES if path.stem == "compiling" or "compiled" in path.stem
}

IMPORT_ALL = """
import importlib, json, pkgutil, sys, threading
before = {name.partition(".")[0] for name in sys.modules}
package = importlib.import_module("meantide." + sys.argv[1])
for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
    if module.name not in sys.argv[2:]:
        importlib.import_module(module.name)
loaded = {name.partition(".")[0] for name in sys.modules} - before - {"meantide"}
ours = sorted({name.split(".")[1] for name in sys.modules if name.startswith("meantide.")})
loaded -= set(sys.stdlib_module_names) | {"__mp_main__"}  # multiprocessing's word for __main__
json.dump([sorted(loaded), ours, threading.active_count()], sys.stdout)
"""


def layer_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports(path: Path) -> Iterator[str]:
    """Give the full name of every module imported anywhere in a file, within functions too."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            if node.module == "meantide":
                yield from (f"meantide.{alias.name}" for alias in node.names)
            else:
                yield str(node.module)


def packages(path: Path) -> set[str]:
    return {name.partition(".")[0] for name in imports(path)}


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_arrows_point_one_way(path: Path) -> None:
    layer = layer_of(path)
    ours = {name.split(".")[1] for name in imports(path) if name.startswith("meantide.")}
    assert ours - {"__version__", layer} <= MAY_IMPORT[layer]


def test_only_the_host_imports_pyo() -> None:
    found = [
        path.relative_to(ROOT).as_posix() for path in SOURCES if {"pyo", "pyo64"} & packages(path)
    ]
    assert found == ["live/pyo_host.py"]


def test_only_what_is_loaded_on_demand_imports_numba() -> None:
    found = {
        module_name(path)
        for path in SOURCES
        if {"numba", "meantide.voice.compiling"} & {*imports(path), *packages(path)}
    }
    assert found - {"meantide.voice.kernels"} == ON_DEMAND


@pytest.mark.parametrize("layer", MAY_LOAD)
def test_importing_a_layer_loads_what_it_may_and_does_nothing_else(layer: str) -> None:
    child = subprocess.run(
        [sys.executable, "-W", "error", "-c", IMPORT_ALL, layer, *ON_DEMAND],
        capture_output=True,
        text=True,
        check=False,
    )
    assert child.stderr == ""
    loaded, ours, threads = json.loads(child.stdout)
    loaded = {name for name in loaded if "cython" not in name}
    assert loaded <= MAY_LOAD[layer]
    assert set(ours) <= MAY_IMPORT[layer] | {layer}
    assert threads == 1
