"""libebur128, a C library, as the outside meter of loudness and true peak (EBU R 128)."""

import ctypes
import ctypes.util
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pytest

PACKAGE = "libebur128-1"
"""Debian's name for it."""

# ebur128.h: enum mode
MOMENTARY, SHORT_TERM, INTEGRATED, RANGE = 0b1, 0b11, 0b101, 0b1011
TRUE_PEAK = 0b110001


@dataclass(frozen=True, slots=True)
class Reading:
    """What the library measured: LUFS and LU, and the true peak of each channel in dBTP."""

    momentary: float
    short_term: float
    integrated: float
    range: float
    true_peaks: tuple[float, ...]


def measured(samples: np.ndarray, rate: int) -> Reading:
    """Return what the library measures of `samples` (channels, samples) at their end.

    Where it is not installed, the test is skipped, and fails on CI.
    """
    library = _library()
    interleaved = np.ascontiguousarray(samples.T, np.float32)
    with _state(library, samples.shape[0], rate) as state:
        pointer = interleaved.ctypes.data_as(ctypes.c_void_p)
        assert (
            library.ebur128_add_frames_float(state, pointer, ctypes.c_size_t(len(interleaved))) == 0
        )

        def asked(name: str, *arguments: object) -> float:
            value = ctypes.c_double()
            function = getattr(library, f"ebur128_{name}")
            assert function(state, *arguments, ctypes.byref(value)) == 0
            return value.value

        peaks = [asked("true_peak", ctypes.c_uint(each)) for each in range(samples.shape[0])]
        return Reading(
            asked("loudness_momentary"),
            asked("loudness_shortterm"),
            asked("loudness_global"),
            asked("loudness_range"),
            tuple(20.0 * float(np.log10(max(peak, 1e-10))) for peak in peaks),
        )


def _library() -> ctypes.CDLL:
    name = ctypes.util.find_library("ebur128")
    if name is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{PACKAGE} is not installed, and CI must have it")
        pytest.skip(f"{PACKAGE} is not installed")
    library = ctypes.CDLL(name)
    library.ebur128_init.restype = ctypes.c_void_p
    library.ebur128_init.argtypes = [ctypes.c_uint, ctypes.c_ulong, ctypes.c_int]
    return library


@contextmanager
def _state(library: ctypes.CDLL, channels: int, rate: int) -> Iterator[ctypes.c_void_p]:
    mode = MOMENTARY | SHORT_TERM | INTEGRATED | RANGE | TRUE_PEAK
    state = ctypes.c_void_p(library.ebur128_init(channels, rate, mode))
    assert state.value is not None
    try:
        yield state
    finally:
        library.ebur128_destroy(ctypes.byref(state))
