"""A voice looked at: one note of it sounded by the performance itself, and measured.

Levels are in dB re a sine of amplitude 1 with the performance's level at 0 dB, so that a note of
velocity 1 of an untrimmed voice has about 0 dB. Times count from the note's beginning.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from meantide.errors import InvalidValue
from meantide.offline.listen_peaks import find_peaks
from meantide.offline.partials import Reals, Stretch
from meantide.offline.render import dry_blocks_of
from meantide.offline.score import Score, ScoreNote, ScorePart
from meantide.offline.spectrogram import SILENCE_DB, averaging_s, decibels, level_over_time
from meantide.offline.timeline import lay_out
from meantide.perform.event import Pitch, PitchKind
from meantide.perform.performance import Performance
from meantide.pitch import Tuning
from meantide.voice.description import MOST_PARTIALS, AdditiveVoice, Drift, Unison
from meantide.voice.envelope import check_range
from meantide.voice.kernel import Kernel
from meantide.voice.touch import Vibrato
from meantide.voice.voices import Voice

HELD_S, LONGEST_S = 4.0, 8.0
STEADY_S = 0.5
FAINTEST_DB = -80.0
"""Lines are told down to there, re the strongest."""
_HOP_S = 0.005
_BLOCK = 4096
_NOTES = 4


@dataclass(frozen=True, slots=True)
class Struck:
    """A note to be looked at: where it lies in which tuning, how hard and how long it is held."""

    tuning: Tuning
    degree: int
    velocity: float = 0.7
    held_s: float = HELD_S
    longest_s: float = LONGEST_S
    rate: int = 48_000

    def __post_init__(self) -> None:
        check_range("velocity", self.velocity, 0.01, 1.0)

    @property
    def hz(self) -> float:
        """The note's frequency."""
        return self.tuning.hz_of_degree(self.degree)

    @property
    def name(self) -> str:
        """The note's name, or its degree in words."""
        name = self.tuning.name_of_degree(self.degree)
        return f"degree {self.degree}" if name is None else str(name)


@dataclass(frozen=True, slots=True)
class Course:
    """The level of a note over time: `times_s` and `levels_db` (points,), and what stands out.

    `falls_s` is how long after it is let go it stands 60 dB lower than then; None if it is not
    seen to.
    """

    times_s: Reals
    levels_db: Reals
    loudest_s: float
    loudest_db: float
    let_go_db: float
    falls_s: float | None


@dataclass(frozen=True, slots=True)
class Spectrum:
    """The steady spectrum: lines (lines,) by rising frequency, down to `FAINTEST_DB`.

    Levels are re the strongest line, which has `strongest_db`.

    It is that of the `STEADY_S` seconds from `from_s` on, when the note is loudest and moves
    least: the level's mean less its span is highest there.
    """

    from_s: float
    strongest_db: float
    hz: Reals
    levels_db: Reals


@dataclass(frozen=True, slots=True)
class VoiceStudy:
    """What was measured of a note; `samples` (size,) is its mono sound, `peak_db` of all of it.

    `steady` (size,) is the part that the spectrum is of, `rms_db` how loud the note is there;
    `highest_hz` is the highest line that comes at any time within 80 dB of the note's strongest.
    """

    voice: Voice
    struck: Struck
    samples: Reals
    steady: Reals
    peak_db: float
    rms_db: float
    highest_hz: float
    course: Course
    spectrum: Spectrum


def sound_of(voice: Voice, struck: Struck, kernel: Kernel) -> Reals:
    """Return the mono sound of a note, from its beginning until it is over, or `longest_s`.

    Raises InvalidValue for a note that cannot sound at this rate.
    """
    pitch = Pitch(PitchKind.DEGREE, float(struck.degree))
    asked = {"degree": struck.degree}
    held = Fraction(struck.held_s)
    note = ScoreNote(Fraction(0), held, pitch, asked, struck.velocity, field="note")
    score = Score(voice.name, struck.tuning, (ScorePart("study", voice, (note,)),))
    timeline = lay_out(score, struck.rate)
    performance = Performance(struck.rate, _BLOCK, _NOTES, 0.0, [], kernel)
    timeline.hand_over_to(performance)
    most = round(struck.longest_s * struck.rate)
    heard: list[Reals] = []
    for block in dry_blocks_of(performance, timeline.events, _BLOCK):
        heard.append(block.sum(axis=0, dtype=np.float64))  # of a note in the middle: √2 of it
        if performance.sample >= most:
            break
    samples: Reals = np.concatenate(heard)[:most] / 2.0**0.5
    return samples


def study(voice: Voice, struck: Struck, kernel: Kernel) -> VoiceStudy:
    """Sound a note of `voice` and measure it; the lines of its spectrum are those of it stilled.

    Raises InvalidValue for a note that cannot sound, or that makes no sound at all.
    """
    samples = sound_of(voice, struck, kernel)
    if not np.any(np.abs(samples) > 1e-6):
        raise InvalidValue("note", f"{struck.name} at {struck.hz:g} Hz", "a note that is heard")
    course = _course(samples, struck)
    still = stilled(voice)
    at_rest = samples if still == voice else sound_of(still, struck, kernel)
    begin = _steadiest(course, struck)
    piece = slice(begin, begin + round(STEADY_S * struck.rate))
    steady = at_rest[piece]
    spectrum = _spectrum(steady, struck.rate, begin)
    rms = np.sqrt(2.0 * np.mean(samples[piece] ** 2))
    return VoiceStudy(
        voice,
        struck,
        samples,
        steady,
        float(decibels(np.abs(samples).max(keepdims=True))[0]),
        float(decibels(rms)),
        _highest_hz(at_rest, struck),
        course,
        spectrum,
    )


def stilled(voice: Voice) -> Voice:
    """Return a voice without what smears or splits its lines: vibrato, drift and unison."""
    if isinstance(voice, AdditiveVoice):
        return replace(voice, vibrato=Vibrato(), drift=Drift(), unison=Unison())
    return replace(voice, vibrato=Vibrato())


def _course(samples: Reals, struck: Struck) -> Course:
    times_s, levels_db = level_over_time(samples, struck.rate, struck.hz, _HOP_S)
    loudest = int(levels_db.argmax())
    averaged_s = 0.5 * averaging_s(struck.hz)  # so long before, nothing of the release is in it
    go = int(np.searchsorted(times_s, struck.held_s - averaged_s, side="right")) - 1
    fallen = np.flatnonzero(levels_db[go:] <= levels_db[go] - 60.0)
    return Course(
        times_s,
        levels_db,
        float(times_s[loudest]),
        float(levels_db[loudest]),
        float(levels_db[go]),
        float(times_s[go + fallen[0]] - struck.held_s) if len(fallen) else None,
    )


def _spectrum(steady: Reals, rate: int, begin: int) -> Spectrum:
    """Return the lines of a steady part that begins at a sample, their places found by phase."""
    peaks = find_peaks(steady, rate, FAINTEST_DB, MOST_PARTIALS)
    reach_hz = 2.0 * peaks.bin_hz
    lines = Stretch(steady, rate).lines(
        peaks.hz, peaks.hz - reach_hz, peaks.hz + reach_hz, np.zeros_like(peaks.hz)
    )
    levels = decibels(peaks.amplitude)
    strongest_db = float(levels.max(initial=SILENCE_DB))
    hz: Reals = np.where(lines.found, lines.hz, peaks.hz)
    return Spectrum(begin / rate, strongest_db, hz, levels - strongest_db)


def _highest_hz(samples: Reals, struck: Struck) -> float:
    """Return the highest line there is while the note is held, looked for at every half of a piece.

    A sound too short for lines has the note's own frequency.
    """
    span = round(STEADY_S * struck.rate)
    held = samples[: round(struck.held_s * struck.rate)]
    pieces = [held[at : at + span] for at in range(0, max(len(held) - span, 0) + 1, span // 2)]
    found = [find_peaks(piece, struck.rate, FAINTEST_DB, MOST_PARTIALS) for piece in pieces]
    strongest = max(float(peaks.amplitude.max(initial=0.0)) for peaks in found)
    least = strongest * 10.0 ** (FAINTEST_DB / 20.0)
    return max(float(peaks.hz[peaks.amplitude >= least].max(initial=struck.hz)) for peaks in found)


def _steadiest(course: Course, struck: Struck) -> int:
    """Return the sample from which the held note is loudest and moves least, to 0.1 dB."""
    span = round(STEADY_S / _HOP_S)
    held = course.levels_db[: max(round(struck.held_s / _HOP_S), span)]
    if len(held) <= span:
        return 0
    pieces = np.lib.stride_tricks.sliding_window_view(held, span)
    score = pieces.mean(axis=1) - (pieces.max(axis=1) - pieces.min(axis=1))
    return round(int(np.round(score, 1).argmax()) * _HOP_S * struck.rate)
