"""Pictures of takes: what they tell in words, against tones that the tests make themselves."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from meantide.errors import InvalidValue
from meantide.offline.picture_axes import PicturedTake
from meantide.offline.pitch_picture import draw_pitches
from meantide.offline.spectrogram_picture import draw_spectrograms
from meantide.offline.spectrum_picture import draw_spectrum, seen_lines
from takes import Asked, make_audio, make_take, write_take

ASKED = [Asked(440.0, 0.0, 2.0, voice="pure"), Asked(660.0, 0.3, 2.0, voice="pure")]
OFF_CENTS = 2.0


@pytest.fixture
def astray(tmp_path: Path) -> PicturedTake:
    """Give a take of two sines whose second sounds 2 cents above what its log says."""
    log, _ = make_take(ASKED)
    audio = make_audio(
        [ASKED[0], Asked(660.0, 0.3, 2.0, voice="pure", off_cents=OFF_CENTS)], log.frames
    )
    return PicturedTake(write_take(tmp_path, log, audio), log)


def middle_s(take: PicturedTake) -> float:
    """Return where both notes are held, half way."""
    first = max(note.start for note in take.log.notes)
    last = min(note.release for note in take.log.notes)
    return (first + last) / 2 / take.log.rate


def test_the_spectrum_finds_lines_where_the_test_put_them(astray: PicturedTake) -> None:
    import soundfile

    samples, _ = soundfile.read(astray.wav, always_2d=True)
    lines = seen_lines(samples.mean(axis=1), astray.log, middle_s(astray))
    low, high = (next(each for each in lines if each.expected_hz == hz) for hz in (440.0, 660.0))
    # float32 samples leave well under a thousandth of a cent of a clean sine in a second.
    assert low.cents == pytest.approx(0.0, abs=1e-3)
    assert high.cents == pytest.approx(OFF_CENTS, abs=1e-3)
    assert not low.shared
    with pytest.raises(InvalidValue, match="--at"):
        seen_lines(samples.mean(axis=1), astray.log, 100.0)


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_every_picture_is_written_and_told_in_words(astray, tmp_path, ending) -> None:
    path = tmp_path / f"picture.{ending}"
    begins = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}[ending]
    for draw in (
        lambda: draw_pitches(path, [astray, astray]),
        lambda: draw_spectrograms(path, [astray, astray]),
        lambda: draw_spectrum(path, astray, middle_s(astray)),
    ):
        words = draw()
        assert path.read_bytes().startswith(begins)
        assert "440.0" in words
        path.unlink()


def test_the_words_tell_how_far_a_note_is_off(astray, tmp_path) -> None:
    words = draw_pitches(tmp_path / "pitch.png", [astray])
    assert "measured +2.0000 cents off" in words
    words = draw_spectrum(tmp_path / "spectrum.png", astray, middle_s(astray))
    assert "expected 660.000 Hz; found at 660.763 Hz, +2.000 cents" in words  # 660 * 2^(2/1200)


def test_a_spectrogram_is_dark_where_the_tone_is_and_light_elsewhere(astray, tmp_path) -> None:
    path = tmp_path / "levels.png"
    draw_spectrograms(path, [astray])
    with Image.open(path) as image:
        grey = np.asarray(image.convert("L"))
    height, width = grey.shape
    inside = grey[int(0.13 * height) : int(0.88 * height), int(0.3 * width) : int(0.6 * width)]
    rows = np.median(inside, axis=1)
    assert rows.min() < 90  # the tones
    assert np.quantile(rows, 0.8) > 240  # what is still


def test_equal_takes_make_equal_pictures(astray, tmp_path) -> None:
    one, two = tmp_path / "one.svg", tmp_path / "two.svg"
    draw_pitches(one, [astray])
    draw_pitches(two, [astray])
    assert one.read_bytes() == two.read_bytes()


def test_another_ending_is_refused(astray, tmp_path) -> None:
    with pytest.raises(InvalidValue, match=r"ends in .png, .svg, .pdf"):
        draw_pitches(tmp_path / "picture.gif", [astray])


def test_names_are_drawn_as_they_are(tmp_path) -> None:
    log, audio = make_take([Asked(440.0, voice="pure")])
    names = "_$\\frac{$", "$x^{$"
    log = replace(log, title=names[1], notes=(replace(log.notes[0], part=names[0]),))
    take = PicturedTake(write_take(tmp_path, log, audio), log)
    path = tmp_path / "names.svg"
    draw_pitches(path, [take])
    drawn = path.read_text(encoding="utf-8")
    assert all(name in drawn for name in names)
    draw_spectrograms(path, [take])
    assert names[1] in path.read_text(encoding="utf-8")
