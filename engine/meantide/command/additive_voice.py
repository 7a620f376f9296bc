"""The voice of a command that reckons with partials, and so knows what to do with one kind only."""

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue
from meantide.voice.description import AdditiveVoice


def additive_voice(catalogue: Catalogue, reference: str) -> AdditiveVoice:
    """Return the voice with a name or a path; InvalidValue if its partials are not written down."""
    voice = catalogue.voice(reference)
    if not isinstance(voice, AdditiveVoice):
        raise InvalidValue("--voice", reference, "an additive voice: one that says its partials")
    return voice
