"""Which kernel is used, by name."""

import importlib.util
from collections.abc import Callable

from meantide.errors import InvalidValue
from meantide.voice.kernel import Kernel
from meantide.voice.kernel_numpy import NumpyKernel

COMPILED, NUMPY = "compiled", "numpy"
KERNELS = (COMPILED, NUMPY)
AUTO = "auto"
INSTALL = "pip install 'meantide[fast]' brings it"


def kernel_named(name: str, tell: Callable[[str], None]) -> Kernel:
    """Make the kernel `name` ready to play: "compiled", "numpy", or "auto" for the best there is.

    Control side, before the first block: the compiled one may take seconds the first time, and
    then says so through `tell`. InvalidValue if it is asked for and cannot be had.
    """
    if name == AUTO:
        return best_kernel(tell)
    if name == COMPILED:
        return _compiled(tell)
    if name == NUMPY:
        return NumpyKernel()
    raise InvalidValue("kernel", name, "one of " + ", ".join((AUTO, *KERNELS)))


def best_kernel(tell: Callable[[str], None]) -> Kernel:
    """Make the compiled kernel ready; the numpy one where numba is not installed."""
    if importlib.util.find_spec("numba") is None:
        return NumpyKernel()
    try:
        return _compiled(tell)
    except InvalidValue as error:
        tell(f"the numpy kernel plays; {error}")
        return NumpyKernel()


def _compiled(tell: Callable[[str], None]) -> Kernel:
    try:  # heavy, and so loaded only when it is wanted
        from meantide.voice import compiled_master, fm_kernel_compiled  # noqa: PLC0415
        from meantide.voice.compiling import word_of_compiling  # noqa: PLC0415
        from meantide.voice.kernel_compiled import CompiledKernel  # noqa: PLC0415
    except ImportError as error:  # not there, or at odds with the numpy that is
        raise InvalidValue("kernel", COMPILED, f"numpy; {error}. {INSTALL}") from error
    with word_of_compiling(tell):
        fm_kernel_compiled.warm()
        compiled_master.warm()
        return CompiledKernel()
