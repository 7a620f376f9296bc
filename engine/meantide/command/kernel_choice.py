"""The option that chooses a kernel, and what is said of it."""

import click

from meantide.errors import InvalidValue
from meantide.voice.kernel import Kernel
from meantide.voice.kernels import AUTO, KERNELS, kernel_named

kernel_option = click.option(
    "--kernel",
    type=click.Choice((AUTO, *KERNELS)),
    default=AUTO,
    show_default=True,
    help="What makes the samples; compiled is the fastest, and auto where numba is installed.",
)


def notice(said: str) -> None:
    """Say something beside the output."""
    click.echo(f"notice: {said}", err=True)


def kernel_for_journal(played_with: str, wished: str) -> Kernel:
    """Make ready the kernel that a set was played with, or another if one is wished for by name.

    Says so where the take will not be the set bit for bit.
    """
    if wished not in (AUTO, played_with):
        notice(f"the set was played with the {played_with} kernel; {_NEARLY}")
        return kernel_named(wished, notice)
    try:
        return kernel_named(played_with, notice)
    except InvalidValue as error:
        notice(f"the set was played with the {played_with} kernel, which is not here: {error}")
        notice(f"rendering with another; {_NEARLY}")
        return kernel_named(AUTO, notice)


_NEARLY = "this take is the same under -110 dB, and not bit for bit"
