"""Listen to a recording: find its tones and the pitch of each, with no log to help."""

from dataclasses import dataclass, replace

import numpy as np

from meantide.errors import CheckFailed
from meantide.offline.listen_fundamental import (
    FEWEST_BINS,
    HIGHEST_HZ,
    LOWEST_HZ,
    Comb,
    find_comb,
)
from meantide.offline.listen_lines import (
    SWINGING_CENTS,
    RivalLines,
    find_rival,
    is_beating,
    lines_in_full,
    with_hidden,
)
from meantide.offline.listen_partials import HeardPartial, Pitch, measure_pitch
from meantide.offline.listen_peaks import Peaks, find_peaks
from meantide.offline.listen_spans import Span, SteadyPart, find_spans, steady_part
from meantide.offline.listen_track import Motion, Vibrato, follow
from meantide.offline.partials import Reals

NEAR_CENTS = 100.0  # how far to look about a frequency asked for
REACH_CENTS = 600.0  # and about a note named, whose instrument may stand anywhere

Within = tuple[float, float]  # Hz
ANYWHERE = (LOWEST_HZ, HIGHEST_HZ)

_LONGEST_S = 4.0  # of what is measured in one piece
_LONGEST_FOLLOWED_S = 30.0
_COARSE_S = (2.0, 0.4, 0.1)  # a swinging pitch has no lines in a long window, only in a short one
_POOR = 0.6
_BETTER = 0.15
_LEAST_SCORE = 0.1
_WORSE = 0.2  # in score: one tone read as another
_WANDERING_CENTS = 1.0
_AT_ODDS = 4.0  # standard deviations
_AT_ODDS_CENTS = 3.0
_MOST_DOUBT_CENTS = 10.0
_LOUDER_DB = 3.0  # from which a second tone found is the first by right
_CLIPPED_SHARE = 0.01
_EXTREME = 3e-5  # a step of 16 bits


@dataclass(frozen=True, slots=True)
class Rival:
    """Another tone that sounds along: its first partial, and its level over the tone's own."""

    hz: float
    level_db: float


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone heard between `start_s` and `end_s`, without its attack and release.

    `hz` is the first partial's frequency, `uncertainty_cents` its standard deviation. `stiffness`
    is B of a string's law, None where nothing speaks for one. `drift_cents` is the way the pitch
    goes from beginning to end. `level_db` is the RMS re full scale, `clipped` the share of samples
    that stand at the extremes, 0 where they do not crowd there.
    """

    start_s: float
    end_s: float
    hz: float
    uncertainty_cents: float
    level_db: float
    partials: tuple[HeardPartial, ...]
    scatter_cents: float
    stiffness: float | None
    stiffness_uncertainty: float | None
    drift_cents: float
    vibrato: Vibrato | None
    dying: bool
    rival: Rival | None
    clipped: float


@dataclass(frozen=True, slots=True)
class _Heard:
    """What was found of a tone: roughly, finely, over time, and what else sounds."""

    comb: Comb
    pitch: Pitch | None
    motion: Motion | None
    rival: RivalLines | None
    beats: bool

    @property
    def swings(self) -> bool:
        """Say whether a vibrato is so wide that partials are no lines."""
        vibrato = None if self.motion is None else self.motion.vibrato
        return vibrato is not None and vibrato.width_cents > SWINGING_CENTS


def listen(samples: Reals, rate: int, near_hz: float | None = None) -> tuple[Tone, ...]:
    """Return the tones of a recording, in order; what has no pitch is left out.

    `samples` is mono, (frames,) float64. `near_hz` says where the first partial is, within 100
    cents. Raises CheckFailed, with the reason, if there is no tone at all.
    """
    samples = samples - samples.mean() if len(samples) else samples
    spans = find_spans(samples, rate)
    if not spans:
        raise CheckFailed("there is only silence, or nothing as long as 0.1 s")
    within = ANYWHERE if near_hz is None else about(near_hz, NEAR_CENTS)
    tones, reasons = [], []
    for span in spans:
        try:
            tones.append(hear(samples, rate, span, within))
        except CheckFailed as error:
            reasons.append(f"{span.first / rate:.2f} s: {error}")
    if not tones:
        raise CheckFailed("; ".join(reasons[:3]))
    return tuple(tones)


def listen_again(samples: Reals, rate: int, tone: Tone, near_hz: float) -> Tone:
    """Return a tone heard before, its first partial sought within half an octave of `near_hz`."""
    span = Span(round(tone.start_s * rate), round(tone.end_s * rate))
    return hear(samples - samples.mean(), rate, span, about(near_hz, REACH_CENTS))


def about(hz: float, cents: float) -> Within:
    """Return what lies so many cents to either side of a frequency, and can be heard at all."""
    reach = 2.0 ** (cents / 1200.0)
    return max(LOWEST_HZ, hz / reach), min(HIGHEST_HZ, hz * reach)


def hear(samples: Reals, rate: int, span: Span, within: Within = ANYWHERE) -> Tone:
    """Return the tone that sounds in `span`, its first partial `within` these Hz.

    Raises CheckFailed, with the reason, if there is none.
    """
    part = steady_part(samples, rate, span)
    heard = _hear_part(samples, rate, part, within)
    settled = 0 if heard.motion is None else round(heard.motion.settled_s * rate)
    if settled:
        part = part.from_sample(part.span.first + settled)
        heard = _hear_part(samples, rate, part, within)
    return _tone(samples[part.span.first : part.span.last], rate, part, heard)


def _hear_part(samples: Reals, rate: int, part: SteadyPart, within: Within) -> _Heard:
    whole = samples[part.span.first : part.span.last]
    if len(whole) < FEWEST_BINS * rate / HIGHEST_HZ:
        raise CheckFailed("the tone is too short to be measured")
    zone = _zone(whole, rate, dying=part.dying)
    rough = _comb(zone, rate, within)
    lines = lines_in_full(zone, rate, *rough)
    rival = find_rival(lines)
    if rival is not None and rival.level_db > _LOUDER_DB and within == ANYWHERE:
        lines = lines_in_full(zone, rate, rival.comb, lines.others)
        rival = find_rival(lines)
    others = with_hidden(lines, rival)
    pitch = measure_pitch(zone, rate, lines.comb, lines.peaks, others, dying=part.dying)
    strong = samples[part.span.first : part.strong_last][: round(_LONGEST_FOLLOWED_S * rate)]
    numbers = lines.comb.numbers.astype(np.float64)
    amplitude = lines.peaks.amplitude[lines.comb.lines]
    motion = follow(strong, rate, numbers, lines.comb.partial_hz(numbers), amplitude)
    beats = False
    if (
        motion is not None
        and motion.vibrato is not None
        and is_beating(lines, rival, motion.vibrato)
    ):
        motion, beats = replace(motion, vibrato=None), True
    return _Heard(lines.comb, pitch, motion, rival, beats)


def _tone(whole: Reals, rate: int, part: SteadyPart, heard: _Heard) -> Tone:
    motion, rival = heard.motion, heard.rival
    hz, doubt = _settled(heard)
    if doubt > _MOST_DOUBT_CENTS:
        raise CheckFailed(f"near {hz:.1f} Hz, but too unsteady or noisy: to {doubt:.0f} cents only")
    pitch = None if heard.swings else heard.pitch  # a swinging pitch has no lines to speak of
    return Tone(
        part.span.first / rate,
        part.span.last / rate,
        hz,
        doubt,
        float(10.0 * np.log10(np.mean(whole**2))),
        pitch.partials if pitch else (),
        pitch.scatter_cents if pitch else 0.0,
        pitch.stiffness if pitch else None,
        pitch.stiffness_uncertainty if pitch else None,
        motion.drift_cents if motion else 0.0,
        motion.vibrato if motion else None,
        part.dying,
        Rival(rival.comb.hz, rival.level_db) if rival and not heard.swings else None,
        _clipped(whole),
    )


def _zone(samples: Reals, rate: int, *, dying: bool) -> Reals:
    """Return the samples to measure in one piece: the middle, or of a dying tone the beginning."""
    size = round(_LONGEST_S * rate)
    if len(samples) <= size:
        return samples
    first = 0 if dying else (len(samples) - size) // 2
    return samples[first : first + size]


def _comb(zone: Reals, rate: int, within: Within) -> tuple[Comb, Peaks]:
    """Return the best comb, and the lines it is of; a shorter window where a long one is poor."""
    best: tuple[Comb, Peaks] | None = None
    for place, seconds in enumerate(_COARSE_S):
        size = round(seconds * rate)
        if place and size >= len(zone):
            continue
        first = max(len(zone) - size, 0) // 2
        peaks = find_peaks(zone[first : first + size], rate)
        if not place and not len(peaks):
            raise CheckFailed("there is only noise: no line stands out of it")
        comb = find_comb(peaks, *within)
        if comb is not None and (best is None or comb.score > best[0].score + _BETTER):
            best = comb, peaks
        if best is not None and best[0].score >= _POOR:
            break
    if best is None or best[0].score < _LEAST_SCORE:
        where = "" if within == ANYWHERE else f" between {within[0]:.1f} and {within[1]:.1f} Hz"
        elsewhere = None if within == ANYWHERE else find_comb(find_peaks(zone, rate))
        why = "too short, or no partials that agree"
        if elsewhere is not None:
            why = f"there is a tone at {elsewhere.hz:.2f} Hz"
        raise CheckFailed(f"no pitch is to be found{where}: {why}")
    if within != ANYWHERE:
        _refuse_another(best[0], best[1])
    return best


def _refuse_another(comb: Comb, peaks: Peaks) -> None:
    """Refuse a comb that is only another reading, and a worse one, of a tone that lies elsewhere.

    Half the frequency of a tone has all its partials, and twice the frequency every other one.
    """
    free = find_comb(peaks)
    if free is not None and free.score > comb.score + _WORSE and set(comb.lines) <= set(free.lines):
        raise CheckFailed(f"the tone is at {free.hz:.2f} Hz, not near {comb.hz:.2f} Hz")


def _settled(heard: _Heard) -> tuple[float, float]:
    """Return the pitch in Hz and its uncertainty: of the whole, or the mean of a moving one."""
    pitch, motion = heard.pitch, heard.motion
    wander = 0.0 if motion is None else motion.wander_cents / 8**0.5
    wanders = wander > _WANDERING_CENTS / 8**0.5 and not heard.beats
    moves = heard.swings or wanders or _at_odds(heard)
    if motion is not None and (pitch is None or moves):
        hz = heard.comb.hz * 2.0 ** (motion.mean_cents / 1200.0)
        return hz, float(np.hypot(motion.mean_uncertainty_cents, wander))
    if pitch is None:
        raise CheckFailed("no pitch is to be found: the tone is too short or too unsteady")
    return pitch.hz, float(np.hypot(pitch.uncertainty_cents, wander))


def _at_odds(heard: _Heard) -> bool:
    """Say whether the strongest line is not where the tone is on the whole: a band of noise."""
    pitch, motion = heard.pitch, heard.motion
    if pitch is None or motion is None or heard.rival is not None:
        return False
    gap = abs(1200.0 * float(np.log2(pitch.hz / heard.comb.hz)) - motion.mean_cents)
    doubt = float(np.hypot(pitch.uncertainty_cents, motion.mean_uncertainty_cents))
    return gap > max(_AT_ODDS * doubt, _AT_ODDS_CENTS)


def _clipped(samples: Reals) -> float:
    """Return the share of samples at either extreme, or 0 where a sine would have as many."""
    step = _EXTREME * float(np.ptp(samples)) / 2.0
    high, low = samples >= samples.max() - step, samples <= samples.min() + step
    share = float(np.mean(high | low))
    return share if share >= _CLIPPED_SHARE else 0.0
