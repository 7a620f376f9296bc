"""Recordings: sound files of any format the library knows, read whole, as one channel."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from meantide.errors import InvalidValue
from meantide.offline.partials import Reals

LONGEST_S = 600.0
RATES = (4_000, 384_000)
_CANCELLED = 0.5  # of a channel's power: what a sum of channels loses by their being opposed


@dataclass(frozen=True, slots=True)
class Recording:
    """Mono samples, (frames,) float64 with full scale at 1, their rate, and where they are from."""

    samples: Reals
    rate: int
    name: str


def read_recording(path: Path) -> Recording:
    """Return the recording in a sound file.

    Raises InvalidValue if it is none, is longer than ten minutes, or holds what is no number.
    """
    if not path.is_file():
        raise InvalidValue("recording", str(path), "a sound file that exists")
    try:
        with soundfile.SoundFile(path) as file:
            rate = int(file.samplerate)
            if not RATES[0] <= rate <= RATES[1]:
                raise InvalidValue("rate", rate, f"{RATES[0]} to {RATES[1]} Hz", str(path))
            if file.frames > LONGEST_S * rate:
                raise InvalidValue(
                    "length",
                    f"{file.frames / rate:.0f} s",
                    f"at most {LONGEST_S:.0f} s; cut out the tones to listen to",
                    str(path),
                )
            frames = file.read(dtype="float64", always_2d=True)
    except (OSError, soundfile.LibsndfileError) as error:
        raise InvalidValue("recording", str(path), f"a readable sound file ({error})") from error
    return Recording(one_channel(frames, str(path)), rate, path.name)


def one_channel(frames: Reals, where: str) -> Reals:
    """Return the mean of the channels of `frames` (frames, channels).

    Where that would cancel sound, or thin out what only one channel has, it is the loudest
    channel. Raises InvalidValue for samples that are no finite numbers.
    """
    bad = np.flatnonzero(~np.isfinite(frames).all(axis=1))
    if len(bad):
        place = int(bad[0])
        raise InvalidValue(f"sample {place}", str(frames[place]), "finite numbers", where)
    mean: Reals = frames.mean(axis=1)
    if not len(frames):
        return mean
    power = np.mean(frames**2, axis=0)
    loudest = int(np.argmax(power))
    if np.mean(mean**2) < _CANCELLED * power[loudest]:
        return np.ascontiguousarray(frames[:, loudest])
    return mean
