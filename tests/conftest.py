"""What all tests share: one BLAS thread, as the command has it, and no limits of wall time."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported

settings.register_profile("meantide", deadline=None)
settings.load_profile("meantide")


@pytest.fixture(scope="module", params=["numpy", "compiled"])
def kernel(request: pytest.FixtureRequest) -> Iterator[object]:
    """Run a test with each kernel; while it runs, `playing` plays with it."""
    import playing
    from meantide.voice.kernels import kernel_named

    before, playing.in_use = playing.in_use, kernel_named(request.param, print)
    yield playing.in_use
    playing.in_use = before
