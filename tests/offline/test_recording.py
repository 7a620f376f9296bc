"""Recordings read from files of several formats, and what is refused."""

import numpy as np
import pytest
import soundfile

from meantide.errors import InvalidValue
from meantide.offline.recording import LONGEST_S, one_channel, read_recording

SINE = 0.5 * np.sin(2 * np.pi * 440.0 * np.arange(8_000) / 8_000)


@pytest.mark.parametrize(
    ("name", "subtype"),
    [("a.wav", "PCM_16"), ("a.wav", "FLOAT"), ("a.flac", "PCM_24"), ("a.aiff", "PCM_24")],
)
def test_formats_the_library_knows_are_read(tmp_path, name, subtype):
    soundfile.write(tmp_path / name, SINE, 8_000, subtype=subtype)
    recording = read_recording(tmp_path / name)
    assert (recording.rate, recording.name) == (8_000, name)
    assert np.abs(recording.samples - SINE).max() < 2.0**-15  # half a step of 16 bits


def test_channels_become_their_mean_unless_that_loses_sound():
    assert np.array_equal(one_channel(np.stack([SINE, SINE], axis=1), ""), SINE)
    for sides in ([SINE, -SINE], [SINE, 0.1 * SINE]):
        assert np.array_equal(one_channel(np.stack(sides, axis=1), ""), SINE)


def test_a_recording_too_long_or_too_slow_is_refused(tmp_path):
    soundfile.write(tmp_path / "long.wav", np.zeros(int(LONGEST_S * 4_000) + 1), 4_000)
    with pytest.raises(InvalidValue, match="at most 600 s"):
        read_recording(tmp_path / "long.wav")
    soundfile.write(tmp_path / "slow.wav", SINE, 2_000)
    with pytest.raises(InvalidValue, match="4000 to 384000 Hz"):
        read_recording(tmp_path / "slow.wav")
