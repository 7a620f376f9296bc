"""Hypothesis strategies: envelopes of every kind, and the places where their laws change."""

from hypothesis import strategies as st

from meantide.voice.envelope import CURVES, Envelope


def envelopes(longest_s: float = 120.0) -> st.SearchStrategy[Envelope]:
    """Draw envelopes whose stages last at most `longest_s` seconds each."""
    return st.builds(
        Envelope,
        delay_s=st.just(0.0) | st.floats(0.0, longest_s),
        attack_s=st.floats(0.001, longest_s),
        hold_s=st.just(0.0) | st.floats(0.0, longest_s),
        decay_s=st.floats(0.001, longest_s),
        sustain_db=st.sampled_from([0.0, -60.0, -100.0]) | st.floats(-200.0, 0.0),
        release_s=st.floats(0.005, longest_s),
        repeats=st.booleans(),
        **{name: st.sampled_from(allowed) for name, allowed in CURVES.items()},
    )


def corners_s(envelope: Envelope) -> list[float]:
    """Return the ages in seconds at which a held note goes from one law to the next."""
    risen = envelope.delay_s + envelope.attack_s
    held = risen + envelope.hold_s
    decayed = held + envelope.decay_s
    turn = decayed - envelope.delay_s
    rounds = (1, 2, 7) if envelope.repeats else ()
    again = [corner + k * turn for k in rounds for corner in (risen, held, decayed)]
    return [envelope.delay_s, risen, held, decayed, *again]
