"""The shipped FM voices at their highest notes and brightest: nothing folds into what is heard.

The same note made at eight times the rate, where there is room for all its lines, and brought down
by scipy, says which lines there are to be.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from fm_tones import RATE, STEADY, Floats, bank_of, read
from meantide.catalogue import Catalogue, shipped_folder
from meantide.pitch import Anchor, Scale, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import FmVoice
from meantide.voice.fm_limits import PITCHES, limit_at
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernels import kernel_named
from meantide.voice.touch import Vibrato

CATALOGUE = Catalogue([shipped_folder()])
SHIPPED = {
    name: voice
    for name in CATALOGUE.names("voices")
    if isinstance(voice := CATALOGUE.voice(name), FmVoice)
}
GRID = DegreeGrid.of(Tuning(Scale.equal(31), Anchor.parse("A4=440")))
TIMES = 8
BAND_HZ = 18_000.0
SAMPLES, SETTLED = 24_000, 4_000


def steady(voice: FmVoice) -> FmVoice:
    """Return the voice with all its operators open and its pitch still."""
    operators = tuple(replace(operator, envelope=STEADY) for operator in voice.operators)
    calm = replace(voice.response.pressure, vibrato_cents=0.0)
    response = replace(voice.response, pressure=calm)
    return replace(voice, operators=operators, vibrato=Vibrato(), response=response)


def spectrum(sound: Floats) -> Floats:
    """Return the amplitudes of lines up to 18 kHz; what the window spreads is 118 dB down."""
    window = np.kaiser(len(sound), 16.0)
    levels = np.abs(np.fft.rfft(sound * window)) * 2 / window.sum()
    return levels[: int(BAND_HZ / RATE * len(sound))]


@pytest.mark.parametrize("name", SHIPPED)
def test_aliases_are_80_db_down(name: str) -> None:
    kernel = kernel_named("compiled", print)
    voice = steady(SHIPPED[name])
    strike = Strike(voice.highest_hz * 0.9997, 1.0, grid=GRID, pressure=1.0, timbre=1.0)
    bank = bank_of(voice, kernel, strike)
    sound = read(bank, SAMPLES)
    # where no oversampling is enough, the indices are held down: in what is wanted too
    pitch = strike.hz / RATE * bank._table.records["stretch"][0]
    limit = limit_at(prepare_fm(voice, RATE).limits[None], np.array([[pitch]]))
    prepared = prepare_fm(voice, RATE * TIMES)
    roomy = FmBank(1, RATE * TIMES, kernel)
    roomy.start(0, replace(prepared, limits=np.full(PITCHES, limit[0, 0])), strike)
    above = read(roomy, SAMPLES * TIMES)
    taps = signal.firwin(2 * 60 * TIMES + 1, 20_500.0, window=("kaiser", 12.0), fs=RATE * TIMES)
    expected = signal.upfirdn(taps, above, down=TIMES)[60 : 60 + SAMPLES]
    heard, wanted = spectrum(sound[SETTLED:-200]), spectrum(expected[SETTLED:-200])
    whole = np.sqrt(2 * np.mean(expected[SETTLED:] ** 2))
    assert whole > 0.1
    strays = heard - 1.002 * wanted  # the two filters differ by hundredths of a decibel
    assert 20 * np.log10(max(strays.max(), 1e-12) / whole) < -80.0


def test_there_are_shipped_fm_voices_and_some_need_oversampling() -> None:
    factors = {prepare_fm(voice, RATE).factor for voice in SHIPPED.values()}
    assert len(SHIPPED) >= 3
    assert max(factors) > 1
