"""How functions are compiled: numba's options, where its results are kept, and word of it.

Only modules that hold compiled functions import this one, and only those who use them import
those: it loads numba.
"""

import contextlib
import hashlib
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import llvmlite.binding as llvm
import numba
from numba.core import event

Single = Any
"""A float32 in compiled code; numba infers its types, and numpy's would be in the way."""

Function = TypeVar("Function", bound=Callable[..., Any])
OPTIONS = {
    "error_model": "numpy",  # a division by zero gives an infinity and no branch
    # Sums may be taken in another order and products fused, so that loops become vectors; which
    # order is fixed when the code is made, so the same code gives the same bits. What is not a
    # number stays so.
    "fastmath": {"contract", "reassoc", "nsz", "arcp"},
    # Views of arrays are not counted, which costs more than some loops do; and what would
    # allocate memory is refused when it is compiled.
    "_nrt": False,
}


def _widen() -> None:
    """Have LLVM use vectors of 512 bits where the machine has them.

    By itself it keeps to 256 on several of Intel's, for the sake of code that has few loops; ours
    is all loops (FM a third faster, measured). NUMBA_CPU_FEATURES goes first.
    """
    features = llvm.get_host_cpu_features()
    if features.get("avx512f") and not numba.config.CPU_FEATURES:
        numba.config.CPU_FEATURES = f"{features.flatten()},-prefer-256-bit"


_widen()


def inlined(function: Function) -> Function:
    """Put a function into the compiled functions that call it.

    Before they are compiled, not after: only then are its loops seen with the constants it is
    called with, and become vectors.
    """
    made: Function = numba.njit(inline="always", **OPTIONS)(function)
    return made


def compiled(function: Function) -> Function:
    """Compile a function that Python calls, at its first call, and keep the result on disk.

    It holds the interpreter lock while it runs: released, it would be given to other threads in
    the middle of a block.
    """
    folder = cache_folder()
    with _kept_in(folder):
        made: Function = numba.njit(cache=folder is not None, **OPTIONS)(function)
    return made


def cache_folder() -> Path | None:
    """Return where compiled code is kept: in NUMBA_CACHE_DIR, else in the user's cache.

    None if nothing can be written there; then it is compiled at every start. The last part of the
    name tells the sources apart, since numba does not see that an imported constant has changed.
    """
    try:
        base = Path(numba.config.CACHE_DIR or _users_cache())
        folder = base / f"meantide-compiled-{_digest()}"
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, RuntimeError):  # RuntimeError: a user without a home
        return None
    return folder if os.access(folder, os.W_OK) else None


@contextlib.contextmanager
def word_of_compiling(tell: Callable[[str], None]) -> Iterator[None]:
    """Tell once if anything is compiled meanwhile, when it begins."""
    with event.install_listener("numba:compile", _Teller(tell)):
        yield


class _Teller(event.Listener):  # type: ignore[misc]  # numba has no types
    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell: Callable[[str], None] | None = tell

    def on_start(self, event: object) -> None:
        del event
        if self._tell is not None:
            folder = cache_folder()
            kept = f"it is kept in {folder}" if folder else "it cannot be kept on this disk"
            self._tell(f"compiling the kernel, once: this takes half a minute; {kept}")
        self._tell = None

    def on_end(self, event: object) -> None:
        """Do nothing."""


@contextlib.contextmanager
def _kept_in(folder: Path | None) -> Iterator[None]:
    """Have numba choose `folder` for what is made compilable meanwhile."""
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(folder or "")
    try:
        yield
    finally:
        numba.config.CACHE_DIR = before


def _users_cache() -> Path:
    """Return the folder for what programs of this user can make again (XDG; others likewise)."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    named = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return named if named.is_absolute() else Path.home() / ".cache"


def _digest() -> str:
    """Return a short name for the contents of this folder's sources."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]
