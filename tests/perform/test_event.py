"""Event records: fixed size, and the same event after the crossing."""

from hypothesis import given
from hypothesis import strategies as st

from meantide.perform.event import RECORD, Event, Held, Kind, Pitch, PitchKind

SIXTY_FOUR_BITS = st.integers(-(2**63), 2**63 - 1)
THIRTY_TWO_BITS = st.integers(-(2**31), 2**31 - 1)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
EVENTS = st.builds(
    Event,
    st.sampled_from(Kind),
    SIXTY_FOUR_BITS,
    THIRTY_TWO_BITS,
    SIXTY_FOUR_BITS,
    st.builds(Pitch, st.sampled_from(PitchKind), FINITE, THIRTY_TWO_BITS),
    FINITE,
    SIXTY_FOUR_BITS,
    SIXTY_FOUR_BITS,
    st.sampled_from(Held),
)


@given(EVENTS)
def test_an_event_crosses_as_a_record_of_fixed_size(event: Event) -> None:
    record = event.pack()
    assert len(record) == RECORD.size
    assert Event.unpack(record) == event
