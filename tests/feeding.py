"""Feed a sound block by block to what hears or changes it; sounds that several tests use."""

from collections.abc import Callable

import numpy as np

RATE = 48_000


def heard(
    read: Callable[[np.ndarray], object], sound: np.ndarray, block: int = 512
) -> list[object]:
    """Let `read` have `sound` (2, samples) in blocks; return what it said to each."""
    return [read(sound[:, at : at + block]) for at in range(0, sound.shape[1], block)]


def changed(
    apply: Callable[[np.ndarray], object], sound: np.ndarray, block: int = 256
) -> np.ndarray:
    """Return what `apply`, which works in place, makes of `sound` in blocks."""
    made = sound.copy()
    heard(apply, made, block)
    return made


def both(channel: np.ndarray) -> np.ndarray:
    """Return a channel in both channels, float32."""
    return np.stack([channel, channel]).astype(np.float32)


def sine(
    hz: float, level_db: float, seconds: float, rate: int = RATE, degrees: float = 0.0
) -> np.ndarray:
    """Return a stereo sine whose peak is at `level_db` in each channel."""
    angle = 2.0 * np.pi * hz * np.arange(round(seconds * rate)) / rate + np.radians(degrees)
    return both(10.0 ** (level_db / 20.0) * np.sin(angle))


def in_db(amplitude: float) -> float:
    """Return an amplitude in dB relative to full scale."""
    return 20.0 * float(np.log10(amplitude))
