"""Messages back into scales and anchors: each key where the message puts it."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.pitch import (
    OCTAVE,
    Anchor,
    Interval,
    KeyboardLayout,
    LinearLayout,
    NoteName,
    Scale,
    TableLayout,
    Tuning,
)
from meantide.pitch.midi_tuning import (
    FORMS,
    Message,
    Recovered,
    carry,
    read_messages,
    recover,
)
from midi_tuning import HALF_STEP_CENTS, cents_above_key_0, equal, meantone, words

EVERYWHERE = frozenset(range(1, 17))
FLOAT_CENTS = 1e-8  # Hz as floats, and the logarithm that measures them
WORDS_12 = tuple(16384 * key for key in range(128))
CENT_12 = Interval.parse("100 cents")


def recovered(tuning: Tuning, form: str) -> Recovered:
    (found,) = recover(each.message for each in read_messages(carry(tuning, form).to_bytes()))
    return found


def cents_of(tuning: Tuning, key: int) -> float | None:
    """Return the cents above 8.1758 Hz that a tuning gives a key, or None if it plays nothing."""
    if tuning.degree_of_key(key) is None:
        return None
    return 6900 + 1200 * math.log2(tuning.hz_of_key(key) / 440)


def bulk(words: tuple[int | None, ...], name: str = "", program: int = 0) -> Message:
    return Message("bulk", program=program, name=name, words=words)


def test_twelve_equal_notes_come_back_as_such() -> None:
    for form in FORMS:
        if form.is_request:
            continue
        found = recovered(equal(12), form.name).tuning
        assert found == equal(12)
        assert found.layout == LinearLayout()
        assert found.anchor == Anchor.parse("A4=440")


@pytest.mark.parametrize("form", ["bulk", "bulk-bank", "single", "single-bank"])
def test_a_meantone_comes_back_within_half_a_step(form: str) -> None:
    tuning = meantone("A4=435")
    found = recovered(tuning, form).tuning
    assert found.scale.size == 12
    assert found.scale.period == OCTAVE
    assert found.anchor.note == NoteName.parse("A4")
    assert found.anchor.hz == pytest.approx(435, rel=HALF_STEP_CENTS / 1731)  # cents to a ratio
    for key in range(1, 128):  # key 0 was too low, and comes back by its octave
        assert abs((cents_of(found, key) or 0) - (cents_of(tuning, key) or 0)) <= (
            HALF_STEP_CENTS + FLOAT_CENTS
        )
    for name in ("C#4", "Db4", "Eb5", "G#2", "B3"):
        key = 60 + found.degree_of_name(name)
        assert cents_of(found, key) == pytest.approx(cents_of(tuning, key), abs=0.0031)


@pytest.mark.parametrize("form", ["octave1", "octave2", "octave1-bank", "octave2-bank"])
def test_offsets_come_back_exactly(form: str) -> None:
    message = carry(meantone("A4=440"), form).messages[0]
    kind = message.form.offsets
    assert kind is not None
    found = recovered(meantone("A4=440"), form).tuning
    offsets = [kind.cents(steps) for steps in message.offsets or ()]
    for degree in range(12):
        cents = 100 * degree + offsets[degree] - offsets[0]
        assert found.scale.interval(degree) == OCTAVE * (cents / 1200)
    assert found.anchor == Anchor(440 * 2 ** (float(offsets[9]) / 1200), note=NoteName.parse("A4"))


@given(st.lists(words, min_size=128, max_size=128).map(tuple), st.text("Ebb", max_size=16))
def test_any_dump_gives_each_key_its_word(listed: tuple[int | None, ...], name: str) -> None:
    data = bulk(listed, name).to_bytes()
    found = recover(each.message for each in read_messages(data))
    if not any(word is not None for word in listed):
        assert found == ()
        return
    tuning = found[0].tuning
    assert tuning.scale.name == name
    for key in range(128):
        wanted = cents_above_key_0(data[22 + 3 * key : 25 + 3 * key])
        assert cents_of(tuning, key) == (
            None if wanted is None else pytest.approx(float(wanted), abs=FLOAT_CENTS)
        )
    assert carry(tuning, "bulk").messages[0].words == listed


@given(st.integers(1, 90), st.floats(20, 2000), st.integers(0, 127))
def test_any_tuning_comes_back_within_half_a_step_and_goes_out_the_same(
    parts: int, hz: float, root: int
) -> None:
    tuning = Tuning(Scale.equal(parts), Anchor(hz, degree=0), LinearLayout(root))
    carried = carry(tuning, "bulk")
    found = recover(carried.messages)[0].tuning
    for key in carried.keys:
        if not key.why:
            off = (cents_of(found, key.key) or 0) - (cents_of(tuning, key.key) or 0)
            assert abs(off) <= HALF_STEP_CENTS + FLOAT_CENTS
    again = carry(found, "bulk").messages[0].words or ()
    sent = carried.messages[0].words or ()
    assert all(before is None or before == after for before, after in zip(sent, again, strict=True))


@pytest.mark.parametrize("parts", [5, 7, 19, 31, 53])
def test_an_octave_of_other_than_twelve_keys_is_found(parts: int) -> None:
    found = recovered(equal(parts), "bulk").tuning
    assert found.scale.size == parts
    assert found.scale.period == OCTAVE
    assert found.layout == LinearLayout()
    assert found.anchor.degree == 0
    assert found.anchor.hz == pytest.approx(equal(parts).hz_of_degree(0), rel=2e-6)


def test_keys_without_an_octave_become_a_scale_of_all_keys() -> None:
    tuning = Tuning(Scale.equal(13, Interval.ratio(3)), Anchor.parse("0=440"))
    carried = carry(tuning, "bulk")
    found = recover(carried.messages)[0].tuning
    played = [key.key for key in carried.keys if not key.why]
    assert found.scale.size == len(played)
    assert isinstance(found.layout, TableLayout)  # of the keys that are known, and no others
    assert found.layout.keys == tuple((key, key - played[0]) for key in played)
    assert found.anchor.degree == 60 - played[0]
    assert found.anchor.hz == pytest.approx(440, rel=2e-6)
    # From the lowest key to the octave above the highest.
    span = found.scale.interval(found.scale.size - 1)
    assert found.scale.period - OCTAVE <= span < found.scale.period
    assert found.scale.period.floor_div(OCTAVE) * OCTAVE == found.scale.period


def test_quarter_tones_come_back_as_an_equal_division_with_its_names() -> None:
    found = recovered(equal(24), "bulk").tuning
    assert found.scale == Scale.equal(24)
    assert found.layout == LinearLayout()
    # A4 is degree 18 of 24, which key 78 plays; key 60 is the anchor.
    assert found.anchor.degree == 0
    assert found.hz_of_name("A4") == found.hz_of_key(78) == pytest.approx(440, rel=2e-6)


def test_few_keys_to_an_octave_that_leave_the_range_are_anchored_where_they_are_known() -> None:
    # One key an octave from 20 Hz on key 0: only keys 0 to 9 lie within the range of words.
    tuning = Tuning(Scale.equal(1), Anchor(20, degree=0), LinearLayout(0))
    found = recovered(tuning, "bulk").tuning
    assert found.scale.size == 1
    assert found.hz_of_key(9) == pytest.approx(20 * 2**9, rel=2e-6)
    assert found.anchor.hz == found.hz_of_key(9)


def test_octaves_a_step_apart_are_rounding_and_two_are_not() -> None:
    uneven = tuple(word + (key % 24 >= 12) for key, word in enumerate(WORDS_12))
    found = recover([bulk(uneven)])[0]
    assert found.tuning.scale.interval(1) == CENT_12
    assert found.tuning.scale.period == OCTAVE
    for key, word in enumerate(uneven):
        cents = cents_of(found.tuning, key)
        assert cents == pytest.approx(word * 100 / 16384, abs=HALF_STEP_CENTS + FLOAT_CENTS)
        assert found.heights[key] == Fraction(word, 16384)
    uneven = tuple(word + 2 * (key % 24 >= 12) for key, word in enumerate(WORDS_12))
    assert recover([bulk(uneven)])[0].tuning.scale.size == 128


def test_octaves_that_drift_step_by_step_are_none() -> None:
    drifting = tuple(word + key // 12 for key, word in enumerate(WORDS_12))
    tuning = recover([bulk(drifting)])[0].tuning
    assert tuning.scale.size == 128
    assert carry(tuning, "bulk").messages[0].words == drifting


def test_keys_that_cross_or_meet_are_kept_by_a_table() -> None:
    offsets = (60, -60, *(0,) * 7, 0, 0, 0)  # C is above C#
    crossed = recover([Message("octave1", channels=EVERYWHERE, offsets=offsets)])[0].tuning
    assert isinstance(crossed.layout, TableLayout)
    assert crossed.scale.size == 12
    assert crossed.scale.period == OCTAVE
    assert [cents_of(crossed, key) for key in (60, 61, 72)] == pytest.approx([6060, 6040, 7260])
    offsets = (50, -50, *(0,) * 10)  # C and C# meet
    met = recover([Message("octave1", channels=EVERYWHERE, offsets=offsets)])[0].tuning
    assert met.scale.size == 11
    assert cents_of(met, 60) == cents_of(met, 61) == pytest.approx(6050)


def test_only_the_keys_a_message_names_are_known() -> None:
    data = bytes.fromhex("F0 7F 7F 08 02 00 01 45 44 66 56 F7")
    (one,) = recover(each.message for each in read_messages(data))
    assert one.place == "program 0"
    assert isinstance(one.tuning.layout, TableLayout)
    assert one.tuning.layout.keys == ((69, 0),)
    assert one.tuning.anchor.hz == pytest.approx(435, abs=5.1e-4)  # half a step is 0.0008 Hz


def test_changes_act_on_what_came_before_in_the_same_place() -> None:
    word = 69 * 16384 + 1234
    change = Message("single", realtime=True, program=0, changes=((69, word),))
    leave = Message("single", realtime=True, program=0, changes=((69, None), (70, None)))
    found = recover([bulk(WORDS_12), change, leave, bulk(WORDS_12, "other", program=1)])
    assert [each.place for each in found] == ["program 0", "program 1"]
    assert found[0].heights[69] == Fraction(word, 16384)
    assert found[0].heights[70] == 70
    assert found[1].tuning.scale == Scale.equal(12, name="other")
    # A dump that leaves a key alone leaves what it had.
    again = recover([bulk(WORDS_12), bulk((None, *(word for word in WORDS_12[1:])))])
    assert again[0].heights == tuple(range(128))


def test_a_program_with_a_bank_and_one_without_are_different_places() -> None:
    banked = carry(equal(19), "bulk-bank").messages
    found = recover([bulk(WORDS_12), *banked])
    assert [each.place for each in found] == ["program 0", "bank 0 program 0"]
    assert [each.tuning.scale.size for each in found] == [12, 19]


def test_offsets_are_not_added_up_and_channels_alike_are_one_place() -> None:
    def offsets(channels: set[int], cents: int) -> Message:
        return Message("octave1", channels=frozenset(channels), offsets=(cents,) * 12)

    found = recover([offsets({1, 2, 3}, 10), offsets({2}, 10), offsets({3, 9}, 20)])
    assert [each.place for each in found] == ["channels 1 2", "channels 3 9"]
    # RP-020: offsets count from the preset's own tuning, twelve equal notes here, never added up.
    assert found[0].heights[69] == Fraction(691, 10)
    assert found[1].heights[69] == Fraction(692, 10)


def test_requests_tune_nothing() -> None:
    assert recover([Message("bulk-request", program=0)]) == ()
    assert recover([bulk((None,) * 128)]) == ()


def test_thirty_one_parts_on_twelve_keys_come_back_as_twelve_names() -> None:
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), KeyboardLayout())
    found = recovered(tuning, "bulk").tuning
    assert found.layout == LinearLayout()
    assert found.anchor == Anchor.parse("A4=440")
    for name in ("C4", "C#4", "Eb4", "G#4", "Bb4"):
        assert found.hz_of_name(name) == pytest.approx(tuning.hz_of_name(name), rel=2e-6)
