"""WAV files as other readers see them: scipy, the standard library, and the bytes themselves."""

import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import scipy.io.wavfile
import soundfile

from meantide.errors import InvalidValue
from meantide.offline.wav import BITS, SUBTYPES, WavWriter
from meantide.whole_file import whole_file
from playing import decibels

RATE = 44_100
RANDOM = np.random.default_rng(3)
SOUND = RANDOM.uniform(-0.8, 0.8, (2, 10_000)).astype(np.float32)


def write(path: Path, sample_format: str, sound: np.ndarray = SOUND) -> Path:
    with WavWriter(path, RATE, sample_format, "Slack water", "scale=31-equal", "m 1") as writer:
        writer.write(sound[:, :3_000])
        writer.write(sound[:, 3_000:])
    return path


def chunks(path: Path) -> dict[bytes, bytes]:
    """Return the chunks of a RIFF file, by the letter of RIFF 1991 (standards.md §10)."""
    data = path.read_bytes()
    assert data[:4] == b"RIFF"
    assert data[8:12] == b"WAVE"
    assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
    found, at = {}, 12
    while at < len(data):
        name, size = struct.unpack_from("<4sI", data, at)
        found[name] = data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    return found


# scipy warns of the PEAK chunk, which it does not know and rightly skips
@pytest.mark.filterwarnings("ignore:Chunk")
def test_float_files_hold_the_samples_bit_for_bit(tmp_path: Path) -> None:
    path = write(tmp_path / "take.wav", "float32")
    rate, read = scipy.io.wavfile.read(path)
    assert rate == RATE
    assert read.dtype == np.float32
    assert read.T.tobytes() == SOUND.tobytes()
    form = struct.unpack_from("<HHIIHH", chunks(path)[b"fmt "])
    assert form == (3, 2, RATE, RATE * 8, 8, 32)  # IEEE float, stereo, 32 bits
    assert struct.unpack("<I", chunks(path)[b"fact"])[0] == 10_000


@pytest.mark.parametrize("sample_format", ["pcm24", "pcm16"])
def test_whole_number_files_are_within_dither_of_the_samples(
    tmp_path: Path, sample_format: str
) -> None:
    path = write(tmp_path / "take.wav", sample_format)
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getframerate(), file.getnframes()) == (2, RATE, 10_000)
        assert file.getsampwidth() * 8 == BITS[sample_format]
    step = 2.0 ** -(BITS[sample_format] - 1)
    error = soundfile.read(path)[0].T - SOUND
    # triangular dither of a step either way and rounding by half: 1.5 steps at the most,
    # (1/6 + 1/12) steps² of power (common practice, no source)
    assert np.abs(error).max() <= 1.5 * step * 1.0001
    assert np.mean(error**2) / step**2 == pytest.approx(0.25, rel=0.05)


def test_dither_keeps_a_sine_below_the_last_bit_alive_and_undistorted(tmp_path: Path) -> None:
    t = np.arange(65_536)
    quiet = 0.4 * 2.0**-15 * np.sin(2 * np.pi * 1_024 / 65_536 * t)
    path = write(tmp_path / "quiet.wav", "pcm16", np.stack([quiet, quiet]).astype(np.float32))
    spectrum = np.abs(np.fft.rfft(soundfile.read(path)[0][:, 0])) * 2 / 65_536
    assert decibels(spectrum[1_024]) == pytest.approx(decibels(0.4 * 2.0**-15), abs=0.5)
    assert max(decibels(spectrum[1_024 * n]) for n in (2, 3, 4, 5)) < decibels(spectrum[1_024]) - 20


@pytest.mark.parametrize("sample_format", SUBTYPES)
def test_the_tuning_stands_in_the_info_chunk_and_equal_takes_are_equal_bytes(
    tmp_path: Path, sample_format: str
) -> None:
    first = write(tmp_path / "a.wav", sample_format)
    info = chunks(first)[b"LIST"]
    assert info[:4] == b"INFO"
    for tag, text in ((b"INAM", b"Slack water\0"), (b"ICMT", b"scale=31-equal\0")):
        at = info.index(tag)
        size = struct.unpack_from("<I", info, at + 4)[0]
        assert info[at + 8 : at + 8 + size].startswith(text)
    if b"PEAK" in chunks(first):
        assert chunks(first)[b"PEAK"][4:8] == bytes(4)  # no time of day
    assert write(tmp_path / "b.wav", sample_format).read_bytes() == first.read_bytes()


def test_a_file_is_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "take.txt"
    path.write_text("before")

    def fail_half_way() -> None:
        with whole_file(path) as partial:
            partial.write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert path.read_text() == "before"
    assert list(tmp_path.iterdir()) == [path]
    with whole_file(path) as partial:
        partial.write_text("after")
    assert path.read_text() == "after"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # a short name, told whole
    with pytest.raises(InvalidValue, match="nowhere"), whole_file(Path("nowhere") / "x.wav"):
        pass
