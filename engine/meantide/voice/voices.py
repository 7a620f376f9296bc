"""Voices of either form: what is played, without asking which form it is."""

from typing import Any

from meantide.voice.additive import AdditiveBank
from meantide.voice.bank import Bank
from meantide.voice.description import AdditiveVoice
from meantide.voice.fm import FmBank
from meantide.voice.fm_description import FmVoice
from meantide.voice.fm_prepared import PreparedFm, prepare_fm
from meantide.voice.kernel import Kernel
from meantide.voice.prepared import PreparedVoice, prepare_additive

Voice = AdditiveVoice | FmVoice
Prepared = PreparedVoice | PreparedFm


def prepare(voice: Voice, rate: int) -> Prepared:
    """Make `voice` ready for `rate` samples a second: control side."""
    if isinstance(voice, FmVoice):
        return prepare_fm(voice, rate)
    return prepare_additive(voice, rate)


def make_bank(prepared: Prepared, notes: int, rate: int, kernel: Kernel) -> Bank[Any]:
    """Make a bank for `notes` notes of voices such as `prepared`: control side.

    It takes what has the same `bank` as `prepared`, and nothing else.
    """
    if isinstance(prepared, PreparedFm):
        return FmBank(notes, rate, kernel)
    return AdditiveBank(notes, prepared.count, rate, kernel)
