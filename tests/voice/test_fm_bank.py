"""What events do to FM notes, on whatever blocks, by whichever kernel."""

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from fm_tones import RATE, STEADY, Floats, bank_of, operator, pair, read, signed_lines
from meantide.pitch import Anchor, Interval, Scale, Tuning
from meantide.voice.bank import Strike
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.envelope import SILENCING_S, Envelope, Stage
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator, Path
from meantide.voice.fm_prepared import prepare_fm
from meantide.voice.kernel import Kernel
from meantide.voice.kernels import KERNELS, kernel_named
from meantide.voice.touch import Answer, Response, Vibrato

ROW = np.array([0])
BLOCKS = [1, 21, 64, 100, 256, 300, 1024]
SLOW = Envelope(attack_s=0.013, decay_s=0.3, sustain_db=-6.0, release_s=0.02)
LIVELY = FmVoice(
    "lively",
    (
        Operator(1.0, level_db=0.0, envelope=SLOW, key_db=-2.0),
        Operator(2.0, envelope=Envelope(0.002, 0.05, -20.0, 0.05), velocity_db=20.0),
        Operator(Interval.ratio(7, 2), envelope=SLOW, feedback=0.4),
        Operator(hz=331.0, level_db=-9.0, envelope=SLOW),
    ),
    (Path(2, 1, 3.0), Path(3, 2, 1.5), Path(3, 4, 2.0)),
    vibrato=Vibrato(rate_hz=6.0, depth_cents=30.0, rise_s=0.02),
    response=Response(
        velocity=Answer(colour=0.2),
        pressure=Answer(level_db=-6.0, vibrato_cents=40.0),
        timbre=Answer(colour=0.5),
    ),
    highest_hz=300.0,
)
OVERSAMPLED = FmVoice(
    "oversampled", LIVELY.operators, LIVELY.paths, LIVELY.vibrato, LIVELY.response,
    highest_hz=1500.0,
)  # fmt: skip
VOICES = {"plain": LIVELY, "oversampled": OVERSAMPLED}


def silence(said: str) -> None:
    """Say nothing."""


def played(voice: FmVoice, kernel: Kernel, block: int, samples: int = 4_000) -> Floats:
    """Return a note with an event of each kind, none of them on a cell's or a block's edge."""
    bank = bank_of(voice, kernel, Strike(233.0, 0.8, from_hz=180.0, glide_samples=333))
    events: list[tuple[int, Callable[[], None]]] = [
        (501, lambda: bank.touch("timbre", ROW, np.array([0.9]), 200)),
        (777, lambda: bank.touch("bend", ROW, np.array([70.0]), 100)),
        (1_003, lambda: bank.retune(ROW, np.array([301.0]), 500, None)),
        (1_003, lambda: bank.touch("pressure", ROW, np.array([0.5]), 0)),
        (1_999, lambda: bank.retune(ROW, np.array([290.0]), 0, None)),
        (2_700, lambda: bank.release(ROW)),
        (2_745, lambda: bank.touch("bend", ROW, np.array([0.0]), 50)),
        (3_333, lambda: bank.release(ROW, Stage.SILENCED)),
    ]
    return read(bank, samples, block, events)


@pytest.mark.parametrize("name", VOICES)
def test_blocks_change_nothing(kernel: Kernel, name: str) -> None:
    expected = played(VOICES[name], kernel, 4_000)
    assert np.abs(expected).max() > 0.1
    for block in BLOCKS:
        error = np.abs(played(VOICES[name], kernel, block) - expected).max()
        assert 20 * math.log10(error + 1e-12) < -110.0


@pytest.mark.parametrize("block", BLOCKS)
@pytest.mark.parametrize("name", VOICES)
def test_both_kernels_sound_the_same(name: str, block: int) -> None:
    one, other = (played(VOICES[name], kernel_named(k, silence), block) for k in KERNELS)
    error = np.abs(one - other).max()
    assert 20 * math.log10(error + 1e-12) < -110.0


def test_kernels_agree_on_what_moves_as_far_as_it_can_in_a_cell() -> None:
    """Indices fall from 200 at once, from the exact form to the single one; a pitch runs away."""
    fierce = pair(1.0, 50.0, highest_hz=30.0, response=Response(timbre=Answer(colour=1.0)))
    mild = prepare_fm(pair(1.0, 1.0, highest_hz=30.0), RATE)
    sounds = []
    for name in KERNELS:
        bank = bank_of(fierce, kernel_named(name, silence), Strike(29.0, 1.0, timbre=1.0))
        events: list[tuple[int, Callable[[], None]]] = [
            (500, partial(bank.revoice, ROW, mild, 0, None)),
            (900, partial(bank.retune, ROW, np.array([9_000.0]), 64, None)),
            (1_300, partial(bank.retune, ROW, np.array([200.0]), 30, None)),
        ]
        sounds.append(read(bank, 2_000, 256, events))
    error = np.abs(sounds[0] - sounds[1])
    assert 20 * math.log10(error.max() + 1e-12) < -110.0


@pytest.mark.parametrize("name", VOICES)
def test_no_event_makes_a_jump(kernel: Kernel, name: str) -> None:
    """Between samples nothing is steeper than the fastest that the note itself goes."""
    sound = played(VOICES[name], kernel, 256)
    quiet = read(bank_of(VOICES[name], kernel, Strike(301.0, 0.8, timbre=0.9)), 4_000)
    steepest = np.abs(np.diff(quiet)).max()
    assert np.abs(np.diff(sound)).max() < 1.2 * steepest
    assert np.abs(sound[-300:]).max() == 0.0


def test_a_touch_that_changes_nothing_changes_nothing(kernel: Kernel) -> None:
    """Cut in the middle of a cell, a steady note goes on where it stood."""
    for highest_hz in (100.0, 5_000.0):
        voice = pair(2.0, 3.0, highest_hz=highest_hz)
        expected = read(bank_of(voice, kernel, Strike(220.0, 1.0)), 3_000)
        bank = bank_of(voice, kernel, Strike(220.0, 1.0))
        touch = partial(bank.touch, "bend", ROW, np.array([0.0]), 0)
        cuts = [(at, touch) for at in (300, 301, 350, 417, 2_000)]
        assert np.abs(read(bank, 3_000, 256, cuts) - expected).max() < 1e-6


@pytest.mark.parametrize("name", VOICES)
def test_a_note_ends_and_says_so(kernel: Kernel, name: str) -> None:
    bank = bank_of(VOICES[name], kernel, Strike(233.0, 0.8))
    assert not bank.gone(ROW)[0]
    read(bank, 2_001)
    assert not bank.gone(ROW)[0]
    assert bank.loudness(ROW)[0] > 0.01
    bank.release(ROW, Stage.SILENCED)
    fade = math.ceil(SILENCING_S * RATE)
    tail = read(bank, fade + 192)
    assert np.abs(tail[fade + 128 :]).max() == 0.0  # a cell and the filter's length after the fade
    assert bank.gone(ROW)[0]


def test_a_stolen_notes_tail_is_silent_within_5_ms_and_a_cell(kernel: Kernel) -> None:
    """What `Notes` computes of a stolen note: it must end in silence, whatever the rate."""
    for rate in (8_000, 48_000, 96_000):
        bank = bank_of(OVERSAMPLED, kernel, Strike(233.0, 0.8), rate)
        read(bank, 1_234)
        bank.release(ROW, Stage.SILENCED)
        length = (math.ceil(SILENCING_S * rate / 64) + 1) * 64
        tail = read(bank, length)
        assert np.abs(tail[-8:]).max() < 1e-6


# -- pitch ----------------------------------------------------------------------------------


def heard_hz(sound: Floats, first: int, near_hz: float) -> float:
    """Return the frequency of the line near one: by the phase it gains over the sound."""
    half = len(sound) // 2
    phases = []
    for at in (0, half):
        sines, cosines, _ = signed_lines(sound[at : at + half], first + at, np.array([near_hz]))
        phases.append(math.atan2(cosines[0], sines[0]))
    turn = (phases[1] - phases[0] + math.pi) % (2 * math.pi) - math.pi
    return near_hz + turn / (2 * math.pi) * RATE / half


def cents(one: float, other: float) -> float:
    return 1200 * math.log2(one / other)


THIRTY_ONE = Tuning(Scale.equal(31), Anchor.parse("A4=440"))
TWELVE = Tuning(Scale.equal(12), Anchor.parse("A4=440"))


def alone(ratio: float | Interval | DegreesUp) -> FmVoice:
    """Return a voice of one operator."""
    operators = (Operator(ratio, level_db=0.0, envelope=STEADY),)
    return FmVoice("alone", operators, highest_hz=100.0)


@pytest.mark.parametrize(
    ("ratio", "octaves"),
    [
        (Interval.parse("3/2 - 1/4 of 81/80"), math.log2(1.5) - 0.25 * math.log2(81 / 80)),
        (Interval.parse("7/31 of 2/1"), 7 / 31),
        (DegreesUp(18), 18 / 31),
        (DegreesUp(-31), -1.0),
        (2.5, math.log2(2.5)),
    ],
)
def test_ratios_sound_to_a_thousandth_of_a_cent(
    kernel: Kernel, ratio: float | Interval | DegreesUp, octaves: float
) -> None:
    hz = THIRTY_ONE.hz_of_degree(3)
    bank = bank_of(alone(ratio), kernel, Strike(hz, 1.0, grid=DegreeGrid.of(THIRTY_ONE)))
    sound = read(bank, 40_000)[8_000:]
    expected = hz * 2**octaves
    assert abs(cents(heard_hz(sound, 8_000, expected * 1.00001), expected)) < 1e-3


def test_a_new_scale_moves_the_operators_that_follow_it(kernel: Kernel) -> None:
    voice = alone(DegreesUp(7))
    bank = bank_of(voice, kernel, Strike(440.0, 1.0, grid=DegreeGrid.of(THIRTY_ONE)))
    read(bank, 1_000)
    bank.retune(ROW, np.array([440.0]), 777, DegreeGrid.of(TWELVE))
    read(bank, 7_000)
    sound = read(bank, 32_000)
    expected = 440.0 * 2 ** (7 / 12)
    assert abs(cents(heard_hz(sound, 0, expected * 1.00001), expected)) < 1e-3


def test_a_held_note_is_in_tune_after_a_minute(kernel: Kernel) -> None:
    bank = bank_of(alone(1.0), kernel, Strike(439.7, 1.0))
    for _ in range(352):
        read(bank, 8_192, 8_192)
    first = 352 * 8_192
    sines, cosines, _ = signed_lines(read(bank, 8_192, 8_192), first, np.array([439.7]))
    assert math.atan2(cosines[0], sines[0]) == pytest.approx(0.0, abs=1e-6)


# -- touch ----------------------------------------------------------------------------------


def test_velocity_and_key_act_on_level_and_on_indices(kernel: Kernel) -> None:
    voice = FmVoice(
        "scaled",
        (
            Operator(1.0, level_db=0.0, envelope=STEADY, velocity_db=12.0),
            Operator(1.0, envelope=STEADY, key_db=-6.0, velocity_db=20.0),
        ),
        (Path(2, 1, 2.0),),
        velocity_exponent=0.0,
    )
    hz = 2 * 440.0 * 2 ** (-9 / 12)  # an octave above middle C
    bank = bank_of(voice, kernel, Strike(hz, 0.5))
    read(bank, 256)
    index, level = bank._table.next_points[0, 18], bank._table.next_points[0, 7]
    assert 20 * math.log10(index / 2.0) == pytest.approx(-6.0 - 10.0)
    assert 20 * math.log10(level) == pytest.approx(-6.0)


def test_each_index_follows_the_operator_that_its_path_leaves(kernel: Kernel) -> None:
    """At half velocity a voice is one whose indices are less by each source's own fall."""

    def voice(falls: tuple[float, float, float], indices: tuple[float, float, float]) -> FmVoice:
        ratios = (1.0, 2.0, 3.0, 1.5)
        operators = tuple(
            operator(ratio, heard=n == 0, velocity_db=fall)
            for n, (ratio, fall) in enumerate(zip(ratios, (0.0, *falls), strict=True))
        )
        ends = ((2, 1), (3, 1), (4, 3))
        paths = tuple(Path(*end, index) for end, index in zip(ends, indices, strict=True))
        return FmVoice("v", operators, paths, velocity_exponent=0.0, highest_hz=300.0)

    less = tuple(index * 10 ** (-db / 40) for index, db in ((1.0, 6.0), (2.0, 20.0), (1.5, 40.0)))
    falling = bank_of(voice((6.0, 20.0, 40.0), (1.0, 2.0, 1.5)), kernel, Strike(220.0, 0.5))
    plain = bank_of(voice((0.0, 0.0, 0.0), less), kernel, Strike(220.0, 0.5))
    assert np.abs(read(falling, 2_000) - read(plain, 2_000)).max() < 1e-6


def test_a_colour_of_1_is_12_db_on_the_indices(kernel: Kernel) -> None:
    voice = pair(1.0, 1.0, response=Response(timbre=Answer(colour=1.0)))
    bank = bank_of(voice, kernel, Strike(220.0, 1.0))
    read(bank, 256)
    bank.touch("timbre", ROW, np.array([1.0]), 0)
    read(bank, 256)
    assert bank._table.next_points[0, 18] == pytest.approx(10 ** (12 / 20), rel=1e-12)


def test_a_new_version_of_its_voice_comes_over_its_time(kernel: Kernel) -> None:
    bank = bank_of(pair(1.0, 1.0), kernel, Strike(220.0, 1.0))
    read(bank, 1_001)
    bank.revoice(ROW, prepare_fm(pair(3.0, 2.0, level_db=-6.0), RATE), 4_800, None)
    half = read(bank, 2_400)
    assert 1.4 < bank._table.standing_points(ROW)[0, 18] < 1.6
    read(bank, 4_000)
    late = read(bank, 20_000)
    assert np.abs(np.diff(half)).max() < 0.2
    expected = read(bank_of(pair(3.0, 2.0, level_db=-6.0), kernel, Strike(220.0, 1.0)), 30_000)
    lines = 220.0 * np.arange(1.0, 25.0)
    levels = [np.hypot(*signed_lines(s, 0, lines)[:2]) for s in (late, expected[10_000:])]
    assert np.sqrt((late**2).mean() / (expected[10_000:] ** 2).mean()) == pytest.approx(1, abs=1e-3)
    assert levels[0].max() > 0.1


def test_another_arrangement_leaves_a_sounding_note_alone(kernel: Kernel) -> None:
    bank = bank_of(pair(1.0, 1.0), kernel, Strike(220.0, 1.0))
    other = FmVoice("other", (operator(1.0, heard=True),))
    bank.revoice(ROW, prepare_fm(other, RATE), 100, None)
    read(bank, 300)
    assert bank._table.next_points[0, 18] == 1.0


def test_rows_are_used_again_without_a_trace(kernel: Kernel) -> None:
    prepared, again = prepare_fm(OVERSAMPLED, RATE), prepare_fm(pair(2.0, 1.0), RATE)
    bank = FmBank(1, RATE, kernel)
    bank.start(0, prepared, Strike(500.0, 1.0))
    read(bank, 3_001)
    bank.start(0, again, Strike(220.0, 0.7))
    used = read(bank, 2_000)
    assert np.array_equal(used, read(bank_of(pair(2.0, 1.0), kernel, Strike(220.0, 0.7)), 2_000))


def test_a_note_sounds_the_same_among_others(kernel: Kernel) -> None:
    prepared = [prepare_fm(v, RATE) for v in (LIVELY, OVERSAMPLED, pair(1.0, 2.0))]
    together = FmBank(3, RATE, kernel)
    for row, voice in enumerate(prepared):
        together.start(row, voice, Strike(200.0 + 30 * row, 0.9))
    out = np.zeros((3, 1_000), np.float32)
    together.read(np.arange(3), np.eye(3, dtype=np.float32), out)
    for row, voice in enumerate(prepared):
        bank = FmBank(1, RATE, kernel)
        bank.start(0, voice, Strike(200.0 + 30 * row, 0.9))
        assert np.abs(out[row] - read(bank, 1_000, 1_000)).max() < 1e-6
