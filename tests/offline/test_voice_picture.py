"""The picture of a voice, measured: its words, their places, its colours, its axes."""

from pathlib import Path

import numpy as np
import pytest

import pictures
from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.offline.voice_picture import COLOURS, draw_voice, figure_of
from meantide.offline.voice_study import Struck, VoiceStudy, study
from meantide.offline.voice_words import envelope_words, settings_words, words_of
from meantide.pitch import Interval, Tuning
from meantide.voice.description import AdditiveVoice, Breath, Drift, Formant, Law, Partial, Unison
from meantide.voice.envelope import Curve, Envelope
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator
from meantide.voice.fm_description import Path as Moving
from meantide.voice.kernel_numpy import NumpyKernel
from meantide.voice.touch import Answer, Response, Vibrato
from meantide.voice.voices import Voice
from playing import SINE, STEADY

CATALOGUE = Catalogue()
EVERYTHING = AdditiveVoice(
    "a-choir-of-five-behind-the-wall-of-the-chapel",
    tuple(Partial(float(n)) for n in range(1, 33)),
    Envelope(0.4, 1.0, -3.0, 1.0),
    tilt_db=-5.0,
    decay=Law(4.0, -0.7),
    unison=Unison(5, 14.0),
    formants=(Formant(600, 150, 18), Formant(1000, 200, 14), Formant(2800, 300, 16)),
    vibrato=Vibrato(5.2, 22, 0.4, 0.6),
    drift=Drift(4.0, 1.5),
    breath=Breath(-26.0, 3000.0, 2.5),
    response=Response(pressure=Answer(level_db=6.0, vibrato_cents=20.0)),
    about="invented " + "to see what becomes of a great many words " * 8,
)
DENSE = AdditiveVoice(
    "dense", tuple(Partial(1.0 + n / 64) for n in range(128)), STEADY, about="invented"
)
GLASS = FmVoice(
    "quay-glass",
    (
        Operator(1.0, level_db=0.0, envelope=Envelope(0.005, 2.0, -12.0, 0.6)),
        Operator(3.5, envelope=Envelope(0.002, 1.0, -30.0, 0.3), velocity_db=12.0),
        Operator(Interval.ratio(3, 2), level_db=-9.0, feedback=0.4),
        Operator(DegreesUp(18)),
        Operator(hz=5.5),
    ),
    (Moving(2, 1, 3.0), Moving(4, 3, 0.5), Moving(5, 4, 1.0)),
    response=Response(timbre=Answer(colour=-0.5)),
    highest_hz=1500.0,
    about="invented",
)
VOICES = {
    "glass": GLASS,
    **{name: CATALOGUE.voice(name) for name in CATALOGUE.names("voices")},
    "dense": DENSE,
    "sine": SINE,
}


def looked_at(voice: Voice, degree: int = -8, scale: str = "31-equal") -> VoiceStudy:
    tuning = Tuning(CATALOGUE.scale(scale), CATALOGUE.anchor("0=256" if "of" in scale else "a440"))
    return study(voice, Struck(tuning, degree), NumpyKernel())


@pytest.fixture(scope="module")
def reed() -> VoiceStudy:
    return looked_at(VOICES["plain-reed"])


@pytest.fixture(scope="module")
def everything() -> VoiceStudy:
    return looked_at(EVERYTHING)


def test_a_voice_with_everything_has_room(everything: VoiceStudy) -> None:
    figure = figure_of(everything)
    assert pictures.overlaps(figure) == []
    assert pictures.off_the_page(figure) == []


@pytest.mark.parametrize("name", VOICES)
def test_nothing_lies_on_anything_or_off_the_page(name: str) -> None:
    figure = figure_of(looked_at(VOICES[name]))
    assert pictures.overlaps(figure) == []
    assert pictures.off_the_page(figure) == []


@pytest.mark.parametrize("degree", [-26, 26])
def test_low_and_high_notes_of_a_scale_without_names(degree: int) -> None:
    figure = figure_of(looked_at(VOICES["plain-reed"], degree, "13-equal-of-3"))
    assert pictures.overlaps(figure) == []
    assert pictures.off_the_page(figure) == []


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_a_file_of_each_kind_and_the_same_each_time(
    tmp_path: Path, reed: VoiceStudy, ending: str
) -> None:
    first, second = tmp_path / f"first{ending}", tmp_path / f"second{ending}"
    for path in (first, second):
        draw_voice(path, reed)
    assert first.read_bytes().startswith(pictures.SIGNATURES[ending])
    assert first.read_bytes() == second.read_bytes()


def test_its_words_are_those_of_the_table(tmp_path: Path, reed: VoiceStudy) -> None:
    path = tmp_path / "reed.svg"
    draw_voice(path, reed)
    texts = pictures.texts_in_svg(path)
    assert {"plain-reed", "frequency, Hz", "time, seconds", "level, dB", "let go"} <= set(texts)
    assert "A3 = 220 Hz in 31-equal, A4=440; velocity 0.7, held 4 s" in texts
    # the third partial: 220 · 3 Hz, 1200 log2 3 cents, -5 dB an octave · log2 3
    assert {"660.0", "1902.0", "−7.9"} <= set(texts)
    said = " ".join(texts)
    for _, words in words_of(reed):
        assert words in said


def test_the_strongest_partials_are_named_and_the_rest_counted(
    tmp_path: Path, reed: VoiceStudy
) -> None:
    path = tmp_path / "reed.svg"
    draw_voice(path, reed)
    texts = pictures.texts_in_svg(path)
    assert "the strongest 28 of 40 components:" in texts
    hz = [f"{220 * n:.1f}" for n in range(1, 41)]
    assert [each in texts for each in hz] == [True] * 28 + [False] * 12


def test_the_smallest_words_can_be_read(reed: VoiceStudy) -> None:
    figure = figure_of(reed)
    from matplotlib.text import Text

    sizes = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text().strip()]
    assert min(sizes) >= 8.0  # points


def test_colours_grow_lighter_evenly() -> None:
    light = pictures.luminances(COLOURS)
    assert (np.diff(light) > 0.0).all()
    assert light[-1] / max(light[0], 1e-9) > 10.0  # so that a copy in grey tells as much


def test_a_picture_that_cannot_be_written_leaves_nothing(
    tmp_path: Path, reed: VoiceStudy, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # a short name, told whole
    with pytest.raises(InvalidValue, match=r"reed.gif.*\.png, \.svg, \.pdf"):
        draw_voice(Path("reed.gif"), reed)
    with pytest.raises(InvalidValue, match="a place that can be written"):
        draw_voice(tmp_path / "nowhere" / "reed.png", reed)
    assert list(tmp_path.iterdir()) == []


def test_the_users_own_settings_of_the_drawing_library_change_nothing(
    tmp_path: Path, reed: VoiceStudy
) -> None:
    import matplotlib as mpl

    draw_voice(tmp_path / "plain.svg", reed)
    with mpl.rc_context({"font.size": 20, "axes.facecolor": "red", "lines.linewidth": 9}):
        draw_voice(tmp_path / "other.svg", reed)
    assert (tmp_path / "plain.svg").read_bytes() == (tmp_path / "other.svg").read_bytes()


def test_words_of_an_envelope_in_its_order() -> None:
    assert envelope_words(Envelope(0.01, 0.1, -6.0, 0.2)) == (
        "attack 0.01 s (eased), decay 0.1 s (approach), sustain -6 dB, release 0.2 s (decibel)"
    )
    full = Envelope(
        0.5, 2.0, -100.0, 3.0, delay_s=0.25, hold_s=1.0, attack_curve=Curve.LEVEL, repeats=True
    )
    assert envelope_words(full) == (
        "delay 0.25 s, attack 0.5 s (level), hold 1 s, decay 2 s (approach), no sustain, "
        "again while held, release 3 s (decibel)"
    )


def test_words_of_settings_have_their_units_and_leave_out_what_is_usual() -> None:
    assert settings_words(Vibrato(5.2, 22.0, 0.4)) == "rate 5.2 Hz, depth 22 cents, delay 0.4 s"
    assert settings_words(Formant(600.0, 150.0, 18.0)) == "600 Hz, width 150 Hz, gain 18 dB"
    assert settings_words(Vibrato()) == ""


def test_everything_a_voice_has_is_told(everything: VoiceStudy) -> None:
    rows = dict(words_of(everything))
    assert rows["kind"] == "additive: 32 partials, each 5 times"
    assert rows["unison"] == "count 5, spread 14 cents"
    assert rows["drift"] == "4 cents, level 1.5 dB"
    assert rows["breath"] == "level -26 dB, 3000 Hz, 2.5 octaves"
    assert rows["pressure"] == "level 6 dB, vibrato 20 cents at full"
    assert rows["velocity"] == "level -9.0 dB at half"  # 1.5 times 6.02
    assert rows["partials' decay"] == "4 s · ratio^-0.7"
    assert rows["settings"] == "tilt -5 dB"
    assert set(rows) == {
        "kind", "envelope", "level", "let go", "reach", "unison", "drift", "breath", "vibrato",
        "formants", "pressure", "velocity", "settings", "partials' decay",
    }  # fmt: skip


def test_operators_and_paths_are_told() -> None:
    rows = dict(words_of(looked_at(GLASS)))
    assert rows["kind"] == "fm: 5 operators, 3 paths"
    assert rows["operator 1"].startswith("ratio 1, level 0 dB; attack 0.005 s (eased), decay 2 s")
    assert rows["operator 2"].startswith("ratio 3.5, not heard, velocity 12 dB; attack")
    assert rows["operator 3"].startswith("ratio 3/2, level -9 dB, feedback 0.4; attack")
    assert rows["operator 4"].startswith("+18 degrees of the scale, not heard; attack")
    assert rows["operator 5"].startswith("at 5.5 Hz, not heard; attack")
    assert rows["paths"] == "2 moves 1 by 3, 4 moves 3 by 0.5, 5 moves 4 by 1"
    assert rows["timbre"] == "colour -0.5 at full"
    assert rows["reach"].endswith("clean up to a note of 1500 Hz")
