"""Voices of either form: what is played, without asking which form it is."""

from meantide.voice.additive import AdditiveBank
from meantide.voice.description import AdditiveVoice
from meantide.voice.kernel import Kernel
from meantide.voice.prepared import PreparedVoice, prepare_additive

Voice = AdditiveVoice
Prepared = PreparedVoice


def prepare(voice: Voice, rate: int) -> Prepared:
    """Make `voice` ready for `rate` samples a second: control side."""
    return prepare_additive(voice, rate)


def make_bank(prepared: Prepared, notes: int, rate: int, kernel: Kernel) -> AdditiveBank:
    """Make a bank for `notes` notes of voices such as `prepared`: control side."""
    return AdditiveBank(notes, prepared.count, rate, kernel)
