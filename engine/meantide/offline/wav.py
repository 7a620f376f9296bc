"""Writing takes as WAV files: whole or not at all, in float32, 24 or 16 bits."""

import struct
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import soundfile
from numpy.typing import NDArray

from meantide.errors import InvalidValue

SUBTYPES = {"float32": "FLOAT", "pcm24": "PCM_24", "pcm16": "PCM_16"}
BITS = {"pcm24": 24, "pcm16": 16}
BYTES = {"float32": 4, "pcm24": 3, "pcm16": 2}
MOST_BYTES = 2**32 - 2**16
"""A WAV file counts its bytes in 32 bits; some are left for the head."""
DITHER_SEED = 40440
"""The dither is the same for equal takes, so that equal takes are equal bytes."""


class WavWriter:
    """A stereo WAV file being written at `path`; samples are float32 of shape (2, samples).

    24 and 16 bits get triangular dither of one step either way (common practice, no source).
    """

    def __init__(
        self, path: Path, rate: int, sample_format: str, title: str, comment: str, software: str
    ) -> None:
        self._path = path
        self._format = sample_format
        self._frames = 0
        self._noise = np.random.default_rng(DITHER_SEED)
        self._file = soundfile.SoundFile(path, "w", rate, 2, SUBTYPES[sample_format], format="WAV")
        self._file.title = title
        self._file.comment = comment
        self._file.software = software

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()
        if error is None and self._format == "float32":
            _clear_peak_time(self._path)

    def write(self, block: NDArray[np.float32]) -> None:
        """Append a block; InvalidValue where a WAV file cannot grow further."""
        self._frames += block.shape[1]
        if self._frames * 2 * BYTES[self._format] > MOST_BYTES:
            raise InvalidValue("length", f"{self._frames} frames", "a WAV file of under 4 GiB")
        if self._format == "float32":
            self._file.write(block.T)
        else:
            self._file.write(self._quantised(block))

    def _quantised(self, block: NDArray[np.float32]) -> NDArray[np.int32]:
        """Return `block` in steps of the format, in the upper bits of 32."""
        bits = BITS[self._format]
        full = 2.0 ** (bits - 1)
        steps = block.T.astype(np.float64) * full
        steps += self._noise.random(steps.shape)
        steps -= self._noise.random(steps.shape)
        np.rint(steps, out=steps)
        np.clip(steps, -full, full - 1.0, out=steps)
        return steps.astype(np.int32) << (32 - bits)


def _clear_peak_time(path: Path) -> None:
    """Blank the time of day that the library stamps into a float file's PEAK chunk.

    Chunks: a name of 4 bytes, a size of 4, then that many bytes, padded to even (RIFF 1991).
    """
    with path.open("r+b") as file:
        file.seek(12)
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            if name == b"PEAK":
                file.seek(4, 1)  # past its version
                file.write(b"\0\0\0\0")
                return
            if name == b"data":
                return
            file.seek(size + size % 2, 1)
