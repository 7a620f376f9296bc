"""How slowly a voice comes and goes, whichever its form: by the envelopes that are heard."""

from meantide.voice.description import AdditiveVoice
from meantide.voice.envelope import Envelope
from meantide.voice.voices import Voice


def envelopes_of(voice: Voice) -> tuple[Envelope, ...]:
    """Return the envelope of an additive voice, or those of the operators that are heard."""
    if isinstance(voice, AdditiveVoice):
        return (voice.envelope,)
    return tuple(each.envelope for each in voice.operators if each.level_db is not None)


def rise_s(voice: Voice) -> float:
    """Return the seconds until the last of them has risen."""
    return max(each.delay_s + each.attack_s for each in envelopes_of(voice))


def gone_s(voice: Voice) -> float:
    """Return the seconds from a note's release until it is silent."""
    return max(each.gone_s for each in envelopes_of(voice))
