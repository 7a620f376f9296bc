"""What a voice is, in words: the same beside its picture and in its table."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

from meantide.offline.voice_components import whole_to_hz
from meantide.offline.voice_study import FAINTEST_DB, VoiceStudy
from meantide.pitch import Interval
from meantide.voice.description import AdditiveVoice, Law
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import DegreesUp, Operator
from meantide.voice.touch import Source
from meantide.voice.voices import Voice

Row = tuple[str, str]
"""What is told, and what of it."""

_UNITS = {"s": "s", "db": "dB", "hz": "Hz", "cents": "cents", "octaves": "octaves"}
_TOLD_APART = frozenset({
    "name", "about", "source", "partials", "operators", "paths", "envelope", "response",
    "velocity_exponent", "second", "family", "lowest_hz", "highest_hz", "trims_db",
})  # fmt: skip
"""Fields of voices that rows of their own tell of, or that are no sound."""


def words_of(study: VoiceStudy) -> tuple[Row, ...]:
    """Return what a voice is and what was measured of its note, a row for each matter."""
    voice = study.voice
    return (
        ("kind", kind_of(voice)),
        ("level", _level(study)),
        ("let go", _let_go(study)),
        ("reach", _reach(study)),
        *_sources(voice),
        *_settings(voice),
        *_touch(voice),
    )


def kind_of(voice: Voice) -> str:
    """Return which form a voice has, and of how many parts."""
    if not isinstance(voice, AdditiveVoice):
        paths = f", {counted(len(voice.paths), 'path')}" if voice.paths else ""
        return f"fm: {counted(len(voice.operators), 'operator')}{paths}"
    copies = f", each {voice.unison.count} times" if voice.unison.count > 1 else ""
    return f"additive: {counted(len(voice.partials), 'partial')}{copies}"


def counted(number: int, what: str) -> str:
    """Return a number of things in words."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _sources(voice: Voice) -> Iterator[Row]:
    """Give what the sound is made of and how it comes and goes."""
    if isinstance(voice, AdditiveVoice):
        yield "envelope", envelope_words(voice.envelope)
        return
    for number, each in enumerate(voice.operators, 1):
        yield f"operator {number}", f"{operator_words(each)}; {envelope_words(each.envelope)}"
    if voice.paths:
        moves = (f"{each.source} moves {each.target} by {each.index:g}" for each in voice.paths)
        yield "paths", ", ".join(moves)


def operator_words(operator: Operator) -> str:
    """Return where an operator lies, how loud it is, and what else it has."""
    ratio = operator.ratio
    if ratio is None:
        place = f"at {operator.hz:g} Hz"
    elif isinstance(ratio, DegreesUp):
        place = f"{ratio.degrees:+d} degrees of the scale"
    else:
        place = f"ratio {ratio if isinstance(ratio, Interval) else format(ratio, 'g')}"
    heard = "not heard" if operator.level_db is None else f"level {operator.level_db:g} dB"
    rest = settings_words(operator, frozenset({"ratio", "hz", "level_db", "envelope"}))
    return ", ".join(filter(None, (place, heard, rest)))


def envelope_words(envelope: Envelope) -> str:
    """Return the stages of an envelope in their order, each with its curve."""
    stages = []
    if envelope.delay_s:
        stages.append(f"delay {envelope.delay_s:g} s")
    stages.append(f"attack {envelope.attack_s:g} s ({envelope.attack_curve})")
    if envelope.hold_s:
        stages.append(f"hold {envelope.hold_s:g} s")
    stages.append(f"decay {envelope.decay_s:g} s ({envelope.decay_curve})")
    stages.append(f"sustain {envelope.sustain_db:g} dB" if envelope.sustain else "no sustain")
    if envelope.repeats:
        stages.append("again while held")
    stages.append(f"release {envelope.release_s:g} s ({envelope.release_curve})")
    return ", ".join(stages)


def settings_words(value: Any, apart: frozenset[str] = frozenset()) -> str:
    """Return the fields of a dataclass that are not as they are by default, with their units.

    Units come from the names: `depth_cents` 20 is "depth 20 cents". Those `apart` are left out.
    """
    changed = [pair for pair in _changed(value) if pair[0] not in apart]
    return ", ".join(_setting_words(field, inner) for field, inner in changed)


def _setting_words(field: str, inner: Any) -> str:
    name, _, unit = field.rpartition("_")
    if unit not in _UNITS:
        name, unit = field, ""
    if is_dataclass(inner):
        return f"{_spaced(name)} ({settings_words(inner)})"
    shown = str(inner) if isinstance(inner, Enum | bool | str) else f"{inner:g}"
    return " ".join(filter(None, (_spaced(name), shown, _UNITS.get(unit))))


def _changed(value: Any) -> Iterator[tuple[str, Any]]:
    """Give those fields that differ from their defaults; those that have none always."""
    for field in fields(value):
        inner = getattr(value, field.name)
        usual = field.default_factory() if callable(field.default_factory) else field.default
        if inner != usual:
            yield field.name, inner


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _settings(voice: Voice) -> Iterator[Row]:
    """Give a row for each of the voice's own settings that is not as it is by default."""
    plain = []
    for field, inner in _changed(voice):
        if field in _TOLD_APART:
            continue
        if isinstance(inner, tuple):
            yield field, "; ".join(settings_words(item) for item in inner)
        elif isinstance(inner, Law):
            yield f"partials' {field}", f"{inner.seconds:g} s · ratio^{inner.power:g}"
        elif is_dataclass(inner):
            yield _spaced(field), settings_words(inner)
        else:
            plain.append(_setting_words(field, inner))
    if isinstance(voice, AdditiveVoice) and voice.second is not None:
        second = voice.second
        told = [f"{len(second.levels_db)} levels of its own"] if second.levels_db else []
        told += [f"tilt {second.tilt_db:g} dB", f"even {second.even_db:g} dB"]
        yield "second table", ", ".join(told)
    if plain:
        yield "settings", ", ".join(plain)


def _touch(voice: Voice) -> Iterator[Row]:
    """Give what each thing a player does to a note changes, if it changes anything."""
    half_db = -6.0206 * voice.velocity_exponent
    for source in Source:
        told = [f"level {half_db:.1f} dB at half"] if source == Source.VELOCITY else []
        if answer := settings_words(voice.response.of(source)):
            told.append(f"{answer} at full")
        if told:
            yield source.name.lower(), ", ".join(told)


def serves_words(voice: Voice) -> str:
    """Return the notes that a voice is meant for, its family, and its trims over them."""
    told = [f"{voice.lowest_hz:.0f} to {voice.highest_hz:.0f} Hz"]
    if voice.family:
        told.insert(0, voice.family)
    if voice.trims_db:
        trims = ", ".join(f"{each:+g}" for each in voice.trims_db)
        told.append(f"trims evenly over it {trims} dB")
    return "; ".join(told)


def _level(study: VoiceStudy) -> str:
    course = study.course
    return (
        f"peak {study.peak_db:.1f} dB, steady {study.rms_db:.1f} dB; "
        f"loudest after {course.loudest_s:.2g} s"
    )


def _let_go(study: VoiceStudy) -> str:
    course = study.course
    falls_s = course.falls_s
    gone = "not 60 dB less by the end" if falls_s is None else f"60 dB less {falls_s:.2g} s later"
    return f"at {course.let_go_db:.1f} dB after {study.struck.held_s:g} s, {gone}"


def _reach(study: VoiceStudy) -> str:
    whole = "whole" if isinstance(study.voice, AdditiveVoice) else "clean"
    return (
        f"to {study.highest_hz:.0f} Hz within {-FAINTEST_DB:g} dB; "
        f"{whole} up to a note of {whole_to_hz(study):.0f} Hz"
    )
