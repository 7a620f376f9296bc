"""The assay of notes that move by themselves: what it must pass, fail and leave open.

The takes are made by `moving`, from the laws alone; every note is invented.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import jv

import moving
import tones
from meantide.offline.assay import MEAN_ONLY, UNTOLD, Row, Verdict, assay
from meantide.offline.assay_law import Law
from meantide.offline.assay_reading import Fate
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_note import LoggedDepth, LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import (
    LoggedDrift,
    LoggedPartial,
    LoggedVibrato,
    LoggedVoice,
)
from takes import RATE, Asked, InMemory, make_log

HARMONICS = tuple((float(n), -4.0 * (n - 1) ** 0.7) for n in range(1, 9))
VIBRATO = LoggedVibrato(5.5, 20.0, 0.1, 0.3)
OFFS = (-3.0, -1.0, -0.5, 0.5, 1.0, 3.0)


@dataclass(frozen=True)
class Held:
    """A note as it sounds: what `off_cents` and `law` say of it may differ from its log."""

    hz: float = 220.0
    for_s: float = 1.0
    off_cents: float = 0.0
    law: moving.Cents = moving.still
    drift_cents: float = 0.0
    copies: int = 1
    spread_cents: float = 0.0
    partials: tuple[tuple[float, float], ...] = HARMONICS
    noise_db: float | None = -100.0
    without: Sequence[int] = ()

    @property
    def lines(self) -> list[tuple[float, float]]:
        """Ratio and level in dB of each line, the copies of a unison one by one."""
        step = self.spread_cents / max(self.copies - 1, 1)
        return [
            (
                ratio * 2.0 ** ((copy * step - self.spread_cents / 2.0) / 1200.0),
                level_db - 10.0 * float(np.log10(self.copies)),
            )
            for ratio, level_db in self.partials
            for copy in range(self.copies)
        ]

    @property
    def drifts(self) -> list[tuple[float, float]]:
        """How often a second each line drifts, and its phase in cycles."""
        places = np.arange(len(self.lines))
        rates_hz, phases = 0.15 + 0.3 * (places * 0.7 % 1.0), places * 0.37 % 1.0
        return list(zip(rates_hz.tolist(), phases.tolist(), strict=True))

    def audio(self, frames: int) -> tones.Samples:
        """Return what sounds."""
        release = round(self.for_s * RATE)
        off = 2.0 ** (self.off_cents / 1200.0)
        lines = [
            (ratio, level_db, self._moved(*drift))
            for place, ((ratio, level_db), drift) in enumerate(
                zip(self.lines, self.drifts, strict=True)
            )
            if place not in self.without
        ]
        total = np.zeros(frames)
        end = release + RATE // 10
        total[:end] = moving.note(
            RATE, self.hz * off, lines, level_db=-20.0, release=release, end=end
        )
        if self.noise_db is not None:
            total += tones.noise(3, frames, self.noise_db)
        return total

    def _moved(self, rate_hz: float, phase: float) -> moving.Cents:
        drift = moving.drift(self.drift_cents, rate_hz, phase)
        return lambda age_s: self.law(age_s) + drift(age_s)

    def log(self, vibrato: LoggedVibrato | None = None, *, told: bool = True) -> TakeLog:
        """Return the log of the note in tune, and of its drift, told or not."""
        plain = make_log([Asked(self.hz, 0.0, self.for_s)], round((self.for_s + 0.2) * RATE))
        telling = told and self.drift_cents > 0.0
        partials = tuple(
            LoggedPartial(ratio, level_db, drift_hz=rate_hz if telling else None)
            for (ratio, level_db), (rate_hz, _) in zip(self.lines, self.drifts, strict=True)
        )
        drift = LoggedDrift(self.drift_cents, 0.45) if self.drift_cents else None
        voice = LoggedVoice(partials, vibrato, drift, self.copies)
        phases = tuple(phase for _, phase in self.drifts) if telling else ()
        return replace(
            plain,
            voices={"reed": voice},
            notes=(replace(plain.notes[0], drift_phases=phases),),
        )


def judged(log: TakeLog, audio: tones.Samples) -> Row:
    (row,) = assay(log, InMemory(audio)).rows
    return row


def under(law: moving.Cents, off_cents: float = 0.0, **more: float) -> Row:
    """Return what is said of a note moved by `law`, whose log tells of `VIBRATO`."""
    held = Held(law=law, off_cents=off_cents, **more)  # type: ignore[arg-type]
    log = held.log(VIBRATO)
    return judged(log, held.audio(log.frames))


TRUE = moving.vibrato(20.0, 5.5, 0.1, 0.3)

# -- vibrato ----------------------------------------------------------------------------------


@pytest.mark.parametrize("hz", [65.4, 220.0, 880.0])
def test_a_note_under_its_vibrato_is_in_tune_to_a_thousandth_of_a_cent(hz):
    row = under(TRUE, hz=hz)
    assert (row.verdict, row.why) == (Verdict.IN_TUNE, "")
    assert abs(row.cents) < 1e-3
    assert row.used >= 6


@pytest.mark.parametrize("off_cents", OFFS)
def test_a_note_off_its_pitch_under_vibrato_is_out_by_as_much(off_cents):
    row = under(TRUE, off_cents)
    assert row.verdict is Verdict.OUT
    assert row.cents == pytest.approx(off_cents, abs=1e-3)


@pytest.mark.parametrize(
    "law",
    [
        moving.still,
        moving.vibrato(21.0, 5.5, 0.1, 0.3),
        moving.vibrato(-20.0, 5.5, 0.1, 0.3),
        moving.vibrato(20.0, 5.6, 0.1, 0.3),
        moving.vibrato(20.0, 5.5, 0.12, 0.3),
        moving.vibrato(20.0, 5.5, 0.1, 0.2),
        moving.vibrato(20.0, 2.75, 0.1, 0.3),
    ],
    ids=["none", "depth", "upside down", "rate", "delay", "rise", "half the rate"],
)
def test_another_vibrato_than_the_log_tells_of_does_not_pass(law):
    row = under(law)
    assert row.verdict is Verdict.OUT or (row.verdict is Verdict.UNRESOLVED and not row.used)


def test_where_a_line_strays_is_told():
    row = under(moving.vibrato(22.0, 5.5, 0.1, 0.3))
    # A tenth more depth is 2 cents at the top, of which a window of half a period sees most.
    assert row.verdict is Verdict.OUT
    assert row.why.startswith("partial ")
    strays = float(row.why.split("strays by ")[1].split(" cents")[0])
    assert 1.5 < abs(strays) < 2.0


def test_a_note_logged_with_vibrato_is_not_passed_off_as_steady_nor_the_reverse():
    held = Held(law=TRUE)
    log = held.log(None)
    assert judged(log, held.audio(log.frames)).verdict is not Verdict.IN_TUNE


def test_a_wide_and_fast_vibrato_is_taken_out_too():
    wide = LoggedVibrato(8.0, 400.0)
    for off_cents, verdict in ((0.0, Verdict.IN_TUNE), (0.5, Verdict.OUT)):
        held = Held(law=moving.vibrato(400.0, 8.0), off_cents=off_cents)
        row = judged(held.log(wide), held.audio(held.log(wide).frames))
        assert row.verdict is verdict
        assert row.cents == pytest.approx(off_cents, abs=1e-2)


def test_one_partial_out_of_place_under_vibrato_fails_the_note():
    partials = tuple(
        (ratio * 2.0 ** ((1.0 if ratio == 5.0 else 0.0) / 1200.0), level)
        for ratio, level in HARMONICS
    )
    audio = Held(law=TRUE, partials=partials)
    log = Held().log(VIBRATO)
    row = judged(log, audio.audio(log.frames))
    assert (row.verdict, row.why) == (Verdict.OUT, "partial 5 by +1.000 cents")


def test_a_missing_partial_under_vibrato_is_missed():
    held = Held(law=TRUE, without=[2])
    log = held.log(VIBRATO)
    row = judged(log, held.audio(log.frames))
    assert (row.verdict, row.why) == (Verdict.MISSING, "partial 3")


def test_notes_struck_together_under_one_vibrato_stand_still_together():
    log = Held().log(VIBRATO)
    second = replace(log.notes[0], id=2, pitches=(LoggedPitch(0, 0, 277.0),))
    log = replace(log, notes=(log.notes[0], second))
    both = Held(law=TRUE).audio(log.frames) + Held(hz=277.0, law=TRUE).audio(log.frames)
    rows = assay(log, InMemory(both)).rows
    assert [row.verdict for row in rows] == [Verdict.IN_TUNE] * 2
    off = Held(law=TRUE).audio(log.frames) + Held(277.0, law=TRUE, off_cents=0.5).audio(log.frames)
    rows = assay(log, InMemory(off)).rows
    assert [row.verdict for row in rows] == [Verdict.IN_TUNE, Verdict.OUT]


def test_a_still_note_beside_a_moving_one_is_measured():
    log = Held(for_s=2.0).log(VIBRATO)
    voices = {"reed": log.voices["reed"], "still": LoggedVoice((LoggedPartial(1.0, 0.0),))}
    second = replace(log.notes[0], id=2, voice="still", pitches=(LoggedPitch(0, 0, 331.0),))
    log = replace(log, notes=(log.notes[0], second), voices=voices)
    for off_cents, verdict in ((0.0, Verdict.IN_TUNE), (0.5, Verdict.OUT)):
        beside = Held(331.0, 2.0, off_cents, partials=((1.0, 0.0),))
        both = Held(for_s=2.0, law=TRUE).audio(log.frames) + beside.audio(log.frames)
        rows = assay(log, InMemory(both)).rows
        assert [row.verdict for row in rows] == [Verdict.IN_TUNE, verdict]


# -- vibrato under touch ----------------------------------------------------------------------


def touched(depths: tuple[LoggedDepth, ...], told_until: int | None = None) -> TakeLog:
    log = Held(for_s=2.0).log(LoggedVibrato(5.5, 0.0, 0.0, 0.0, 40.0))
    note = replace(log.notes[0], depths=depths, told_until=told_until)
    return replace(log, notes=(note,))


def rising(age_s: tones.Samples) -> tones.Samples:
    """Return a vibrato whose depth goes from 5 to 35 cents between 0.5 s and 1 s."""
    depth = np.interp(age_s, [0.5, 1.0], [5.0, 35.0])
    return depth * np.sin(2 * np.pi * 5.5 * age_s)


DEPTHS = (LoggedDepth(0, 0, 5.0), LoggedDepth(RATE // 2, RATE // 2, 35.0))


@pytest.mark.parametrize("off_cents", [0.0, *OFFS])
def test_where_the_log_tells_of_the_touch_the_note_is_proved(off_cents):
    log = touched(DEPTHS)
    row = judged(log, Held(for_s=2.0, law=rising, off_cents=off_cents).audio(log.frames))
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.cents == pytest.approx(off_cents, abs=1e-3)


def test_where_it_does_not_what_comes_after_the_touch_is_left_open():
    log = touched(DEPTHS[:1], told_until=RATE // 2)
    for off_cents, verdict in ((0.0, Verdict.IN_TUNE), (0.5, Verdict.OUT)):
        held = Held(for_s=2.0, law=rising, off_cents=off_cents)
        rows = assay(log, InMemory(held.audio(log.frames))).rows
        assert [row.verdict for row in rows] == [verdict, Verdict.UNRESOLVED]
        assert rows[1].why == UNTOLD
        assert rows[1].start_s == 0.5


def test_a_ramp_of_depth_may_be_cut_short():
    note = LoggedNote(1, "a", "v", {}, 0.5, -20.0, 0, 900, 1000, (LoggedPitch(0, 0, 440.0),))
    steps = (LoggedDepth(0, 0, 10.0), LoggedDepth(100, 200, 30.0), LoggedDepth(200, 100, 0.0))
    voice = LoggedVoice((LoggedPartial(1.0, 0.0),), LoggedVibrato(1.0, 10.0))
    law = Law.of(replace(note, depths=steps), voice, 4)  # four samples a cycle: sin is 1, 0, -1, 0
    crests = law.cents(0, 1000)[0::4] / np.sin(2 * np.pi * 0.125)
    assert crests[[1, 24]] == pytest.approx([10.0, 10.0])
    assert crests[37] == pytest.approx(10.0 + 20.0 * (148.5 - 100) / 200)
    assert crests[62] == pytest.approx(20.0 * (1.0 - (248.5 - 200) / 100))
    assert crests[[75, 200]] == pytest.approx([0.0, 0.0])


# -- drift ------------------------------------------------------------------------------------


@pytest.mark.parametrize("off_cents", [0.0, *OFFS])
def test_a_drift_that_is_told_is_taken_out(off_cents):
    held = Held(drift_cents=3.0, off_cents=off_cents)
    log = held.log()
    row = judged(log, held.audio(log.frames))
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.cents == pytest.approx(off_cents, abs=1e-3)


def test_a_drift_that_is_not_told_widens_the_tolerance_and_the_row_says_so():
    held = Held(drift_cents=3.0)
    log = held.log(told=False)
    row = judged(log, held.audio(log.frames))
    assert (row.verdict, row.why) == (Verdict.IN_TUNE, "within its drift of 3 cents")
    far = replace(held, off_cents=3.0)
    assert judged(log, far.audio(log.frames)).verdict is Verdict.OUT


@pytest.mark.parametrize("off_cents", [0.0, *OFFS])
def test_drift_and_vibrato_together(off_cents):
    held = Held(drift_cents=2.0, law=TRUE, off_cents=off_cents)
    log = held.log(VIBRATO)
    row = judged(log, held.audio(log.frames))
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.cents == pytest.approx(off_cents, abs=1e-3)


# -- unison -----------------------------------------------------------------------------------


@pytest.mark.parametrize("off_cents", [0.0, *OFFS])
def test_a_unison_is_proved_where_its_copies_come_apart(off_cents):
    held = Held(for_s=2.0, copies=3, spread_cents=14.0, off_cents=off_cents)
    log = held.log()
    row = judged(log, held.audio(log.frames))
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    if abs(off_cents) < 3.0:  # 3.5 is half way to the next copy
        assert row.cents == pytest.approx(off_cents, abs=1e-2)


@pytest.mark.parametrize("for_s", [0.5, 1.0, 4.0])
@pytest.mark.parametrize("off_cents", [-10.0, -5.0, 5.0, 10.0])
def test_a_unison_that_is_off_by_the_distance_of_its_copies_does_not_pass(off_cents, for_s):
    held = Held(for_s=for_s, copies=3, spread_cents=10.0, off_cents=off_cents)
    log = held.log()
    assert judged(log, held.audio(log.frames)).verdict is not Verdict.IN_TUNE


def test_a_unison_too_close_to_be_told_apart_is_left_open_with_the_reason():
    held = Held(for_s=0.5, copies=3, spread_cents=4.0)
    log = held.log()
    row = judged(log, held.audio(log.frames))
    assert (row.verdict, row.why) == (Verdict.UNRESOLVED, Fate.UNISON.value)


# -- breath -----------------------------------------------------------------------------------


@pytest.mark.parametrize("law", [moving.still, TRUE], ids=["still", "vibrato"])
@pytest.mark.parametrize("off_cents", [0.0, *OFFS])
def test_breath_makes_it_less_sure_and_no_less_right(law, off_cents):
    held = Held(for_s=2.0, law=law, off_cents=off_cents, noise_db=-50.0)  # 30 dB under the note
    log = held.log(VIBRATO if law is TRUE else None)
    row = judged(log, held.audio(log.frames))
    assert row.verdict is (Verdict.OUT if off_cents else Verdict.IN_TUNE)
    assert row.cents == pytest.approx(off_cents, abs=3.0 * row.uncertainty_cents)
    assert row.uncertainty_cents > 1e-4


def test_a_vibrato_too_noisy_to_follow_is_passed_in_its_mean_only_and_the_row_says_so():
    held = Held(for_s=4.0, law=TRUE, noise_db=-34.0, partials=((1.0, 0.0),))
    log = held.log(VIBRATO)
    row = judged(log, held.audio(log.frames))
    assert (row.verdict, row.why) == (Verdict.IN_TUNE, MEAN_ONLY)


# -- levels under touch -----------------------------------------------------------------------


def test_a_partial_that_touch_may_take_away_is_not_missed():
    held = Held(without=[4])
    log = held.log()
    voice = log.voices["reed"]
    assert judged(log, held.audio(log.frames)).verdict is Verdict.MISSING
    partials = tuple(replace(each, quieter_db=200.0) for each in voice.partials)
    log = replace(log, voices={"reed": replace(voice, partials=partials)})
    assert judged(log, held.audio(log.frames)).verdict is Verdict.IN_TUNE
    off = replace(held, off_cents=0.5)
    assert judged(log, off.audio(log.frames)).verdict is Verdict.OUT


def test_of_sidebands_one_must_be_there():
    held = Held()
    log = held.log()
    partials = tuple(replace(each, quieter_db=200.0) for each in log.voices["reed"].partials)
    log = replace(log, voices={"reed": LoggedVoice(partials, sidebands=True)})
    assert judged(log, held.audio(log.frames)).verdict is Verdict.IN_TUNE
    silence = tones.noise(1, log.frames, -100.0)
    assert judged(log, silence).verdict is Verdict.MISSING


# -- spectra of notes -------------------------------------------------------------------------


def test_after_a_retune_the_partials_are_those_of_the_new_spectrum():
    first = tuple((float(n), -6.0) for n in range(1, 6))
    after = tuple((ratio * 2.0 ** (7.0 * ratio / 1200.0), level) for ratio, level in first)
    log = Held(for_s=2.0, partials=first).log()
    pitches = (LoggedPitch(0, 0, 220.0), LoggedPitch(RATE, 0, 220.0, "drawn"))
    drawn = tuple(LoggedPartial(*each) for each in after)
    note = replace(log.notes[0], pitches=pitches)
    log = replace(log, notes=(note,), spectra={"drawn": drawn})
    before = Held(for_s=2.0, partials=first).audio(log.frames)
    for partials, verdict in ((after, Verdict.IN_TUNE), (first, Verdict.OUT)):
        audio = Held(for_s=2.0, partials=partials).audio(log.frames)
        audio[:RATE] = before[:RATE]
        rows = assay(log, InMemory(audio)).rows
        assert [row.verdict for row in rows] == [Verdict.IN_TUNE, verdict]


# -- its parts --------------------------------------------------------------------------------


@pytest.mark.parametrize("index", [1e-3, 0.3, 1.0, 9.3, 50.0, 700.0])
def test_beyond_its_reach_a_vibrato_has_no_sidebands(index):
    law = Law(RATE, 0, LoggedVibrato(5.0, 10.0))
    count = float(law.vibrato_reach(np.array([index * 5.0]))[0]) / 5.0
    beyond = np.abs(jv(np.arange(round(count) + 1, round(count) + 60), index))
    assert beyond.max() < 1e-6  # scipy's Bessel functions
    assert count < 1.6 * index + 8.0
