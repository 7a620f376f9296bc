"""The trims of a voice: its level by pitch, where a note is struck and where it is retuned to."""

import math

import numpy as np
import pytest

from meantide.errors import InvalidValue
from meantide.voice.bank import Strike
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator
from meantide.voice.kernels import KERNELS, kernel_named
from meantide.voice.parameters import with_parameter
from meantide.voice.purpose import trim_at
from meantide.voice.voices import Voice, make_bank, prepare
from playing import RATE

ROW = np.array([0])
HELD = Envelope(0.001)
TRIMS = {
    "trims_db": (0.0, -12.0),
    "lowest_hz": 110.0,
    "highest_hz": 1760.0,  # four octaves: 3 dB an octave
}
SINES: dict[str, Voice] = {
    "additive": AdditiveVoice("sine", (Partial(1.0),), HELD, **TRIMS),  # type: ignore[arg-type]
    "fm": FmVoice("sine", (Operator(1.0, level_db=0.0, envelope=HELD),), **TRIMS),  # type: ignore[arg-type]
}


def silence(said: str) -> None:
    """Say nothing."""


def level_db(samples: np.ndarray) -> float:
    """Return the level of a steady sine re full scale."""
    return 10.0 * math.log10(2.0 * float(np.mean(samples.astype(np.float64) ** 2)))


@pytest.mark.parametrize("kernel", KERNELS)
@pytest.mark.parametrize("form", SINES)
def test_a_note_has_the_level_of_its_pitch_and_takes_that_of_the_pitch_it_glides_to(
    form: str, kernel: str
) -> None:
    """3 dB an octave; to 0.02 dB, for 100 ms are not a whole number of periods."""
    prepared = prepare(SINES[form], RATE)
    bank = make_bank(prepared, 1, RATE, kernel_named(kernel, silence))
    out = np.zeros((1, 4800), np.float32)

    def read() -> np.ndarray:
        bank.read(ROW, np.ones((1, 1), np.float32), out)
        return out[0].copy()

    bank.start(0, prepared, Strike(440.0, 1.0))
    read()
    assert level_db(read()) == pytest.approx(-6.0, abs=0.02)
    bank.retune(ROW, np.array([880.0]), 4800, None)
    read()
    assert level_db(read()) == pytest.approx(-9.0, abs=0.02)
    bank.retune(ROW, np.array([3520.0]), 0, None)  # beyond the highest it stays
    read()
    assert level_db(read()) == pytest.approx(-12.0, abs=0.02)
    other = prepare(with_parameter(SINES[form], "trim_db.2", -3.0), RATE)
    bank.revoice(ROW, other, 480, None)
    read()
    assert level_db(read()) == pytest.approx(-3.0, abs=0.02)


def test_trims_lie_evenly_in_pitch() -> None:
    trims = (1.0, 3.0, -1.0)
    found = [trim_at(trims, 100.0, 400.0, hz) for hz in (50.0, 100.0, 200.0, 400.0, 900.0)]
    assert found == pytest.approx([1.0, 1.0, 3.0, -1.0, -1.0], abs=1e-12)
    assert trim_at(trims, 100.0, 400.0, 100.0 * 2**0.25) == pytest.approx(1.5, abs=1e-12)
    assert trim_at((), 100.0, 400.0, 200.0) == 0.0
    assert trim_at((2.0,), 100.0, 400.0, 200.0) == 2.0
    assert trim_at(trims, 300.0, 300.0, 300.0) == 1.0


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"family": "horn"}, "family: got 'horn'; allowed: one of reed, pipe"),
        ({"lowest_hz": 500.0, "highest_hz": 400.0}, "highest_hz: got 400.0; allowed: at least"),
        ({"lowest_hz": math.nan}, "lowest_hz: got nan; allowed: a number from 20 to 20000"),
        ({"highest_hz": True}, "highest_hz: got True; allowed: a number from 20 to 20000"),
        ({"trims_db": (0.0,) * 33}, "trims_db: got 33; allowed: at most 32"),
        ({"trims_db": (0.0, math.inf)}, "trims_db item 2: got inf; allowed: a number from -24"),
    ],
)
def test_what_no_voice_is_for_is_refused(said: dict[str, object], told: str) -> None:
    for make in (
        lambda: AdditiveVoice("v", (Partial(1.0),), **said),  # type: ignore[arg-type]
        lambda: FmVoice("v", (Operator(1.0, level_db=0.0),), **said),  # type: ignore[arg-type]
    ):
        with pytest.raises(InvalidValue) as caught:
            make()
        assert str(caught.value).startswith(told)
