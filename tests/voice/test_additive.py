"""The additive bank on its own: cells, cuts, glides, against plain sums in float64."""

import numpy as np
import pytest
from numpy.typing import NDArray

import playing
import tones
from meantide.voice.additive import AdditiveBank
from meantide.voice.bank import Strike
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope, Stage
from meantide.voice.kernel import CELL
from meantide.voice.prepared import prepare_additive as prepare
from playing import RATE, STEADY, saw

ROOM = 8
Floats = NDArray[np.float32]
pytestmark = pytest.mark.usefixtures("kernel")  # every test with either


def bank_with(voice: AdditiveVoice, hz: list[float], rate: int = RATE) -> AdditiveBank:
    prepared = prepare(voice, rate)
    bank = AdditiveBank(ROOM, prepared.count, rate, playing.in_use)
    for row, each in enumerate(hz):
        bank.start(row, prepared, Strike(each, 1.0))
    return bank


def read(bank: AdditiveBank, rows: list[int], samples: int) -> Floats:
    """Read each of `rows` into a channel of its own."""
    out = np.zeros((len(rows), samples), np.float32)
    gains = np.zeros((len(rows), ROOM), np.float32)
    gains[range(len(rows)), rows] = 1.0
    bank.read(np.array(rows), gains, out)
    return out


def test_a_steady_note_is_the_plain_sum_of_its_partials() -> None:
    voice = saw(40)
    out = read(bank_with(voice, [331.7]), [0], 8192)[0]
    partials = [(p.ratio, p.level_db, None) for p in voice.sounding_partials()]
    phases = prepare(voice, RATE).phases.tolist()
    plain = tones.note(
        RATE, 8192, [(0, 0, 331.7)], partials, level_db=0.0, attack_s=0.0, phases=phases
    )
    assert np.abs(out - plain)[480:].max() < 3e-6  # -110 dB: float32 over forty partials


def test_a_glide_is_the_plain_sum_along_a_pitch_straight_from_cell_to_cell() -> None:
    voice = saw(20)
    bank = bank_with(voice, [440.0])
    before = read(bank, [0], 1000)
    bank.retune(np.array([0]), np.array([660.0]), 2400, None)
    out = np.concatenate([before, read(bank, [0], 7000)], axis=1)[0]
    partials = [(p.ratio, p.level_db, None) for p in voice.sounding_partials()]
    plain = tones.note(
        RATE, 8000, [(0, 0, 440.0), (1000, 2400, 660.0)], partials, level_db=0.0,
        attack_s=0.0, phases=prepare(voice, RATE).phases.tolist(), cell=CELL,
    )  # fmt: skip
    assert np.abs(out - plain)[480:].max() < 3e-6


def test_a_glide_goes_on_through_a_release_in_the_middle_of_a_cell() -> None:
    voice = saw(1, Envelope(release_s=60.0))  # a fall of 0.1 dB while we look
    bank = bank_with(voice, [440.0])
    pieces = [read(bank, [0], 1000)]
    bank.retune(np.array([0]), np.array([880.0]), 2400, None)
    pieces.append(read(bank, [0], 1024 + 1))
    bank.release(np.array([0]))
    pieces.append(read(bank, [0], 4000))
    out = np.concatenate(pieces, axis=1)[0]
    plain = tones.note(
        RATE, len(out), [(0, 0, 440.0), (1000, 2400, 880.0)], level_db=0.0, attack_s=0.0
    )
    assert np.abs(out - plain)[480:].max() < 0.02


@pytest.mark.parametrize("after", [1, 40, 63, 64])
def test_a_glide_that_has_arrived_in_the_cell_of_a_release_stays_where_it_arrived(
    after: int,
) -> None:
    """The cell is cut where its frequency, straight to the cell's end, has not arrived yet."""
    bank = bank_with(saw(1, Envelope(release_s=60.0)), [440.0])
    read(bank, [0], 640)
    bank.retune(np.array([0]), np.array([880.0]), 640 + 20, None)
    read(bank, [0], 640 + after)
    bank.release(np.array([0]))
    out = read(bank, [0], 8000)[0].astype(float)
    fit = tones.fit_lines(out[CELL:], RATE, [880.0], amplitude="exponential")
    assert tones.cents(fit.hz[0], 880.0) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("at", [1, 63, 64, 65, 640, 1000])
def test_a_cut_in_a_cell_leaves_no_step(at: int) -> None:
    voice = saw(20)
    kept, cut = bank_with(voice, [440.0]), bank_with(voice, [440.0])
    whole = read(kept, [0], 4096)[0]
    first = read(cut, [0], at)[0]
    cut.retune(np.array([0]), np.array([440.0]), 0, None)  # an event that changes nothing
    rest = read(cut, [0], 4096 - at)[0]
    difference = np.abs(np.concatenate([first, rest]) - whole)
    assert difference[480:].max() < 3e-6
    # in the attack the cut moves the grid that the curve is drawn on, by less than a cell's bend
    assert difference[:480].max() < 0.05


def test_decays_fall_sixty_db_in_their_time() -> None:
    voice = AdditiveVoice("bell", (Partial(1.0, 0.0, 0.5), Partial(2.5, 0.0, 0.25)), STEADY)
    out = read(bank_with(voice, [480.0]), [0], 8192)[0].astype(float)
    fit = tones.fit_lines(out[1200:7200], RATE, [480.0, 1200.0], amplitude="exponential")
    assert fit.slope_db[0] == pytest.approx(-120.0, abs=0.01)
    assert fit.slope_db[1] == pytest.approx(-240.0, abs=0.01)
    assert fit.hz[0] == pytest.approx(480.0, abs=1e-4)


def test_partials_above_nyquist_are_silent_and_do_not_alias() -> None:
    voice = AdditiveVoice("high", (Partial(1.0), Partial(3.0), Partial(5.0)), STEADY)
    out = read(bank_with(voice, [9_000.0]), [0], 8192)[0].astype(float)
    fit = tones.fit_lines(out[600:], RATE, [9_000.0])
    assert fit.residual_db < -120.0


def test_a_glide_through_nyquist_fades_without_alias() -> None:
    voice = AdditiveVoice("one", (Partial(1.0),), STEADY)
    bank = bank_with(voice, [20_000.0])
    read(bank, [0], 1024)
    bank.retune(np.array([0]), np.array([40_000.0]), 4800, None)
    out = read(bank, [0], 8192)[0]
    assert np.abs(out[2000:]).max() < 1e-6  # past 0.98 of Nyquist after 1,100 samples


def test_release_and_silencing_end_notes_when_they_say() -> None:
    bank = bank_with(saw(8, Envelope(release_s=0.1)), [300.0, 400.0])
    rows = np.array([0, 1])
    read(bank, [0, 1], 5000)
    bank.release(rows[:1])
    bank.release(rows[1:], Stage.SILENCED)
    out = read(bank, [0, 1], 8192)
    assert np.abs(out[0, : 2 * CELL]).max() > 0.1
    assert not out[0, 7200 + CELL :].any()  # 1.5 release times
    assert not out[1, 240 + CELL :].any()  # 5 ms
    assert bank.gone(rows).all()


def test_nothing_depends_on_how_the_samples_are_asked_for() -> None:
    voice = saw(40, Envelope(0.02, 0.1, -6.0, 0.05))
    outs = []
    for sizes in ([8192], [1] * 8192, [7, 300, 64, 1, 100] * 18, [63, 65] * 64):
        bank = bank_with(voice, [440.0, 553.1, 660.0])
        pieces = [read(bank, [0, 1, 2], size) for size in sizes]
        outs.append(np.concatenate(pieces, axis=1)[:, :8192])
    for other in outs[1:]:
        assert np.abs(other - outs[0][:, : other.shape[1]]).max() < 1e-6  # -120 dB
