"""What the log of a take says of voices, and of how their notes move: asked of the voices.

The assay knows nothing of voices; it believes what is written here, and checks the sound by it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from meantide.offline.logged_fm import fm_partials, fm_quieter_db
from meantide.offline.takelog_note import LoggedDepth, LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import (
    LoggedDrift,
    LoggedPartial,
    LoggedVibrato,
    LoggedVoice,
)
from meantide.voice.course import NEPERS_PER_DB
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.description import AdditiveVoice
from meantide.voice.fm_description import DegreesUp, FmVoice
from meantide.voice.kernel import F64
from meantide.voice.prepared import PreparedVoice, formant_nepers, prepare_additive
from meantide.voice.touch import Source, Vibrato
from meantide.voice.voices import Voice

_RATE = 48_000  # what is asked of a voice here does not depend on it
_FASTEST_DRIFT = 1.5  # of the rate that the voice states


def logged_voice(voice: Voice) -> LoggedVoice:
    """Return what the log says of a voice."""
    if isinstance(voice, FmVoice):
        return LoggedVoice(fm_partials(voice), _vibrato(voice), sidebands=True)
    prepared = prepare_additive(voice, _RATE)
    drift = voice.drift
    return LoggedVoice(
        _partials(prepared, prepared.ratios_for(1.0, None)),
        _vibrato(voice),
        LoggedDrift(drift.cents, _FASTEST_DRIFT * drift.rate_hz) if drift.cents else None,
        voice.unison.count,
    )


@dataclass(frozen=True, slots=True)
class Moved:
    """How a note of `voice` was struck, and from which samples on it was moved otherwise.

    `seed` is that of its strike; `touched` where pressure or timbre first acted on it, `revoiced`
    where its voice changed; None if they never did.
    """

    voice: Voice
    seed: int
    touched: int | None = None
    revoiced: int | None = None


def with_movement(note: LoggedNote, moved: Moved) -> LoggedNote:
    """Return `note` with all that the log says of its movement and of its level under touch."""
    voice, response = moved.voice, moved.voice.response
    vibrato = _vibrato(voice)
    depths: tuple[LoggedDepth, ...] = ()
    if vibrato is not None and response.velocity.vibrato_cents:
        cents = vibrato.depth_cents + note.velocity * response.velocity.vibrato_cents
        depths = (LoggedDepth(note.start, 0, cents),)
    by_touch = (response.of(Source.PRESSURE), response.of(Source.TIMBRE))
    until = [] if moved.revoiced is None else [moved.revoiced]
    louder_db = note.velocity * response.velocity.level_db
    quieter_db = 0.0
    if moved.touched is not None:
        pressure_db, timbre_db = (answer.level_db for answer in by_touch)
        louder_db += max(pressure_db, 0.0) + abs(timbre_db)
        quieter_db = abs(pressure_db) + 2.0 * abs(timbre_db)
        if any(answer.vibrato_cents for answer in by_touch):
            until.append(moved.touched)
    phases: tuple[float, ...] = ()
    if isinstance(voice, FmVoice):
        quieter_db += fm_quieter_db(voice)
    elif voice.envelope.delay_s:
        quieter_db += 200.0  # it is silent while it waits
    if isinstance(voice, AdditiveVoice) and voice.drift.cents:
        prepared = prepare_additive(voice, _RATE)
        count = len(voice.partials) * voice.unison.count
        phases = tuple(float(each) for each in prepared.drift_phases_for(moved.seed)[:count])
    return replace(
        note,
        level_db=note.level_db + louder_db,
        quieter_db=note.quieter_db + quieter_db,
        depths=depths,
        drift_phases=phases,
        told_until=min(until, default=None),
    )


@dataclass(frozen=True, slots=True)
class Regrid:
    """From `sample` on a note lies at `hz` (without bend) in `grid`, within `glide_samples`."""

    sample: int
    glide_samples: int
    hz: float
    grid: DegreeGrid


@dataclass(slots=True)
class Spectra:
    """The partials of notes that are drawn to their scale, under names; the same only once."""

    found: dict[str, tuple[LoggedPartial, ...]] = field(default_factory=dict)
    _names: dict[tuple[LoggedPartial, ...], str] = field(default_factory=dict)

    @property
    def logged(self) -> Mapping[str, tuple[LoggedPartial, ...]]:
        """What the log says of them."""
        return self.found

    def drawn(self, note: LoggedNote, voice: Voice, regrids: Sequence[Regrid]) -> LoggedNote:
        """Return `note` with its partials as they are drawn; `regrids` begin with its start."""
        if not follows_scale(voice):
            return note
        pitches = list(note.pitches)
        for regrid in regrids:
            name = self._name(voice.name, _partials_at(voice, regrid))
            _give(pitches, regrid, name)
        return replace(note, pitches=tuple(pitches))

    def _name(self, voice: str, partials: tuple[LoggedPartial, ...]) -> str:
        if partials not in self._names:
            name = f"{voice} {len(self.found) + 1}"
            self._names[partials] = name
            self.found[name] = partials
        return self._names[partials]


def follows_scale(voice: Voice) -> bool:
    """Tell whether partials of a voice lie where the scale puts them."""
    if isinstance(voice, FmVoice):
        return any(isinstance(each.ratio, DegreesUp) for each in voice.operators)
    return voice.drawn > 0.0


def _partials_at(voice: Voice, regrid: Regrid) -> tuple[LoggedPartial, ...]:
    if isinstance(voice, FmVoice):
        return fm_partials(voice, regrid.hz, regrid.grid)
    prepared = prepare_additive(voice, _RATE)
    return _partials(prepared, prepared.ratios_for(regrid.hz, regrid.grid))


def _give(pitches: list[LoggedPitch], regrid: Regrid, name: str) -> None:
    """Name the spectrum in the step of that sample; there is one more if there was none."""
    before = [place for place, pitch in enumerate(pitches) if pitch.sample <= regrid.sample]
    for place in before:
        if pitches[place].sample == regrid.sample:
            pitches[place] = replace(pitches[place], spectrum=name)
            return
    last = pitches[before[-1]]
    left = last.sample + last.glide_samples - regrid.sample  # of a glide that it is in
    glide_samples = left if left > 0 else regrid.glide_samples
    pitches.insert(before[-1] + 1, LoggedPitch(regrid.sample, glide_samples, last.hz, name))


def _vibrato(voice: Voice) -> LoggedVibrato | None:
    vibrato: Vibrato = voice.vibrato
    touched = sum(abs(voice.response.of(source).vibrato_cents) for source in Source)
    if not vibrato.depth_cents and not touched:
        return None
    return LoggedVibrato(
        vibrato.rate_hz, vibrato.depth_cents, vibrato.delay_s, vibrato.rise_s, touched
    )


def _partials(prepared: PreparedVoice, ratios: F64) -> tuple[LoggedPartial, ...]:
    """Return the lines of a voice, each copy of a unison by itself, at `ratios`."""
    voice = prepared.voice
    copies = voice.unison.count
    shared_db = 10.0 * float(np.log10(copies))
    spread_db = _formant_depth_db(prepared) + 2.0 * voice.drift.level_db
    first, second = (np.array(table) for table in voice.table_levels())
    coloured = voice.second is not None and any(
        voice.response.of(source).colour for source in Source
    )
    if not coloured:
        first = second = first + (second - first) * voice.colour
    found = []
    for line in range(len(voice.partials) * copies):
        partial = voice.sounding_partials()[line // copies]
        levels_db = [20.0 * float(np.log10(max(t[line // copies], 1e-9))) for t in (first, second)]
        found.append(
            LoggedPartial(
                float(ratios[line]),
                max(levels_db) - shared_db + voice.drift.level_db,
                partial.decay_s,
                partial.attack_s,
                max(levels_db) - min(levels_db) + spread_db,
                drift_hz=float(prepared.drift_rates[line] * _RATE) if voice.drift.cents else None,
            )
        )
    return tuple(found)


def _formant_depth_db(prepared: PreparedVoice) -> float:
    """Return by how many dB the formants may leave a partial below their highest point."""
    if not prepared.voice.formants:
        return 0.0
    everywhere = np.geomspace(10.0, _RATE / 2.0, 4096) / _RATE
    lowest = float(formant_nepers(prepared.formants, everywhere).min())
    return (float(prepared.record["formant_top"]) - lowest) / NEPERS_PER_DB
