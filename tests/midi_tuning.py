"""Tuning messages read by hand in tests, and random ones; nothing here calls our decoder."""

from fractions import Fraction

from hypothesis import strategies as st

from meantide.pitch import OCTAVE, Anchor, Interval, Scale, Tuning
from meantide.pitch.midi_tuning import FORMS, Form, Message

HALF_STEP_CENTS = 50 / 16384  # of a frequency word: 100/16384 of a semitone, halved


def cents_above_key_0(word: bytes) -> Fraction | None:
    """Read a frequency word as the standard says: a semitone and 14 bits of 100 cents."""
    if word == b"\x7f\x7f\x7f":
        return None
    semitone, high, low = word
    return 100 * semitone + Fraction(100 * (128 * high + low), 16384)


def meantone(anchor: str) -> Tuning:
    """Make quarter-comma meantone from Eb to G#, its C being C4 on key 60."""
    fifth = Interval.parse("3/2 - 1/4 of 81/80")
    chain = [fifth * place for place in range(-3, 9)]
    folded = sorted(each - OCTAVE * each.floor_div(OCTAVE) for each in chain)
    scale = Scale.from_degrees(folded[1:], fifth=7, name="meantone")
    return Tuning(scale, Anchor.parse(anchor))


def equal(parts: int, anchor: str = "A4=440", name: str = "") -> Tuning:
    return Tuning(Scale.equal(parts, name=name), Anchor.parse(anchor))


sevens = st.integers(0, 127)
words = st.none() | st.integers(0, 2**21 - 2)
names = st.text(st.characters(min_codepoint=0, max_codepoint=127), max_size=16).filter(
    lambda text: not text.endswith(" ")
)


def _values(form: Form) -> dict[str, st.SearchStrategy[object]]:
    offsets = form.offsets
    low, high = (0, 0) if offsets is None else (offsets.lowest, offsets.highest)
    every: dict[str, st.SearchStrategy[object]] = {
        "program": sevens,
        "bank": sevens,
        "name": names,
        "words": st.lists(words, min_size=128, max_size=128).map(tuple),
        "changes": st.lists(st.tuples(sevens, words), max_size=127).map(tuple),
        "channels": st.frozensets(st.integers(1, 16)),
        "offsets": st.tuples(*[st.integers(low, high)] * 12),
    }
    return {name: values for name, values in every.items() if form.has(name)}


def messages_of(form: Form) -> st.SearchStrategy[Message]:
    """Make any message of a form."""
    return st.builds(
        Message,
        st.just(form.name),
        sevens,
        st.sampled_from(form.realtime),
        **_values(form),  # type: ignore[arg-type]
    )


messages = st.one_of(*[messages_of(form) for form in FORMS])
