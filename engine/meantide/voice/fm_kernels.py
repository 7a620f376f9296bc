"""The readers of FM notes: each kernel's own."""

from meantide.voice.fm_kernel_numpy import NumpyFmReader
from meantide.voice.fm_table import FmTable
from meantide.voice.kernel import Kernel, Reader
from meantide.voice.kernels import COMPILED


def fm_reader(kernel: Kernel, table: FmTable) -> Reader:
    """Make ready to read the notes of `table`: control side, since it allocates."""
    if kernel.name == COMPILED:  # heavy, and so loaded only when it is wanted
        from meantide.voice.fm_kernel_compiled import CompiledFmReader  # noqa: PLC0415

        return CompiledFmReader(table)
    return NumpyFmReader(table)
