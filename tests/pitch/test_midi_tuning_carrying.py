"""Tunings into messages: the bytes against the standard, what it costs, and what cannot go.

The words in the bytes are read by hand (`midi_tuning.cents_above_key_0`), and the pitches they
should have come from mpmath and the definition of the scale.
"""

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue, NotFound
from meantide.pitch import (
    Anchor,
    Interval,
    KeyboardLayout,
    LinearLayout,
    Scale,
    TableLayout,
    Tuning,
)
from meantide.pitch.midi_tuning import FORMS, Address, ascii_name, carry
from midi_tuning import HALF_STEP_CENTS, cents_above_key_0, equal, meantone

FIVE_STEPS_OF_3 = Scale.equal(5, Interval.ratio(3))


@given(st.integers(1, 400), st.floats(1, 10_000), st.integers(-60, 140))
def test_every_key_lies_within_half_a_step_of_its_word(parts: int, hz: float, root: int) -> None:
    tuning = Tuning(Scale.equal(parts), Anchor(hz, degree=0), LinearLayout(root))
    carried = carry(tuning, "bulk")
    words = carried.to_bytes()[22:406]
    for key in range(128):
        sent = cents_above_key_0(words[3 * key : 3 * key + 3])
        with mpmath.workdps(40):
            octaves = mpmath.log(mpmath.mpf(hz) / 440, 2) + mpmath.mpf(key - root) / parts
            wanted = 6900 + 1200 * octaves
        told = carried.keys[key]
        # A float logarithm may choose the other side of a tie, 1e-9 cents away.
        if sent is None:
            assert told.why
            reach = 1200 * mpmath.log(mpmath.mpf("13289.656616092") / 440, 2) + 6900
            assert wanted < -HALF_STEP_CENTS + 1e-9 or wanted > reach + HALF_STEP_CENTS - 1e-6
            continue
        off = mpmath.mpf(sent.numerator) / sent.denominator - wanted
        assert abs(off) <= HALF_STEP_CENTS + 1e-9
        assert told.error_cents == pytest.approx(float(off), abs=1e-8)
        assert told.why == ""
    worst = carried.worst
    errors = [abs(key.error_cents) for key in carried.keys if key.error_cents is not None]
    assert (worst is None) == (not errors)
    assert worst is None or abs(worst.error_cents or 0) == max(errors)


@pytest.mark.parametrize(
    ("anchor", "low"), [("A4=415", [0, 1]), ("A4=392", [0, 1]), ("A4=435", [0]), ("A4=440", [])]
)
def test_anchors_below_440_push_the_lowest_keys_out_of_reach(anchor: str, low: list[int]) -> None:
    # Key 0 at A4 = 440 is the lowest word there is, 8.1758 Hz.
    carried = carry(equal(12, anchor), "bulk")
    assert [key.key for key in carried.left_out] == low
    data = carried.to_bytes()
    for key in range(128):
        assert (data[22 + 3 * key : 25 + 3 * key] == b"\x7f\x7f\x7f") == (key in low)
    assert all("below 8.1758 Hz" in key.why for key in carried.left_out)


def test_keys_above_the_highest_word_and_keys_that_play_nothing() -> None:
    carried = carry(equal(12, "A4=480"), "bulk")
    # A4 = 480 is 151 cents above 440; words end 99.99 cents above key 127 at 440.
    assert [key.key for key in carried.left_out] == [127]
    assert carried.left_out[0].why == "above 13289.6566 Hz, where words end"
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=440"), TableLayout(((60, 0), (69, 9))))
    carried = carry(tuning, "bulk-bank")
    assert [key.key for key in carried.keys if not key.why] == [60, 69]
    assert {key.why for key in carried.left_out} == {"plays nothing"}
    assert carried.to_bytes()[23 + 3 * 69 :][:3] == b"\x45\x00\x00"
    assert carried.to_bytes().count(b"\x7f\x7f\x7f") >= 126


def test_keys_beyond_all_sound_are_listed_with_the_reason() -> None:
    tuning = Tuning(Scale.from_degrees([], Interval.ratio(10**12)), Anchor.parse("0=440"))
    carried = carry(tuning, "bulk")
    assert len(carried.left_out) == 127
    assert carried.keys[127].why == "plays what cannot sound (degrees within 64 octaves only)"


def test_twelve_equal_notes_cost_nothing() -> None:
    for form in ("bulk", "single", "octave1", "octave2"):
        worst = carry(equal(12), form).worst
        assert worst is not None
        assert abs(worst.error_cents or 0) < 1e-9


@pytest.mark.parametrize(
    ("anchor", "offsets"),
    # Quarter-comma meantone, Eb to G#, as offsets of C to B, calculated from its fifth: once with
    # its C on that of twelve equal notes, once with its A there.
    [
        (f"C4={440 * 2 ** (-9 / 12)!r}", "40 28 39 4A 32 43 2B 3D 25 36 47 2F"),
        ("A4=440", "4A 32 43 55 3D 4E 36 47 2F 40 51 39"),
    ],
)
def test_quarter_comma_meantone_as_offsets(anchor: str, offsets: str) -> None:
    head = "F0 7E 7F 08 08 03 7F 7F"
    assert carry(meantone(anchor), "octave1").to_bytes() == bytes.fromhex(f"{head} {offsets} F7")
    fine = carry(meantone(anchor), "octave2").to_bytes()
    assert fine[:8] == bytes.fromhex("F0 7E 7F 08 09 03 7F 7F")
    with mpmath.workdps(30):
        fifth = 300 * mpmath.log(5, 2)  # four of them make 5/1
        # C to B by their places on the chain of fifths, C being 0.
        chain = (0, 7, 2, -3, 4, -1, 6, 1, 8, 3, -2, 5)
        cents = [fifth * place % 1200 for place in chain]
        start = 0 if anchor.startswith("C") else cents[9] - 900
        wanted = [each - start - 100 * place for place, each in enumerate(cents)]
    found = [128 * fine[8 + 2 * place] + fine[9 + 2 * place] - 8192 for place in range(12)]
    assert found == [round(float(each) * 16384 / 200) for each in wanted]


@pytest.mark.parametrize("form", ["octave1", "octave2", "octave1-bank", "octave2-bank"])
def test_offsets_are_the_nearest(form: str) -> None:
    half = 0.5 if "1" in form else 100 / 16384
    carried = carry(meantone("A4=443"), form)
    worst = carried.worst
    assert worst is not None
    assert 0.3 * half < abs(worst.error_cents or 0) <= half + 1e-9
    assert len(carried.keys) == 128
    assert carried.left_out == ()


def test_thirty_one_parts_on_twelve_keys_go_as_offsets() -> None:
    tuning = Tuning(Scale.equal(31), Anchor.parse("A4=440"), KeyboardLayout())
    data = carry(tuning, "octave2").to_bytes()
    # C lies 23 steps of 31 below A, so 890.3226 cents and not 900: 9.6774 above twelve equal.
    assert 128 * data[8] + data[9] - 8192 == round((900 - 23 * 1200 / 31) * 16384 / 200)


def test_offsets_refuse_what_does_not_repeat_at_the_octave_and_name_the_worst_key() -> None:
    keys = tuple((key, key - 60 + (key == 85) - 2 * (key == 40)) for key in range(128))
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=440"), TableLayout(keys))
    with pytest.raises(InvalidValue) as caught:
        carry(tuning, "octave1")
    assert caught.value.field == "key 40"
    assert "-200.000 cents from where the same note in other octaves" in str(caught.value)
    assert "repeats at the octave every twelve keys" in str(caught.value)
    # On 19 equal parts twelve keys are 12/19 of an octave, and the middle octave has five others
    # on its far side.
    with pytest.raises(InvalidValue, match=f"{5 * (1200 - 1200 * 12 / 19):.3f} cents"):
        carry(equal(19), "octave1")
    almost = Tuning(Scale.equal(12, Interval.parse("1200.001 cents")), Anchor.parse("0=440"))
    with pytest.raises(InvalidValue, match="repeats at the octave"):
        carry(almost, "octave2")
    with pytest.raises(InvalidValue, match="repeats at the octave"):
        carry(Tuning(FIVE_STEPS_OF_3, Anchor.parse("0=440")), "octave2-bank")


@pytest.mark.parametrize(
    ("anchor", "form", "message"),
    [
        ("A4=460", "octave1", "key 60: got '+76.956 cents from twelve equal notes at A4=440'"),
        ("A4=460", "octave1", "allowed: -64 to +63 cents in octave1"),
        ("A4=415", "octave2", "got '-101.271 cents"),
        ("A4=415", "octave2", "allowed: -100 to +99.99 cents in octave2"),
    ],
)
def test_offsets_refuse_what_they_cannot_reach(anchor: str, form: str, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        carry(equal(12, anchor), form)
    assert message in str(caught.value)
    assert carry(equal(12, "A4=460"), "octave2").worst is not None


def test_offsets_have_no_way_to_leave_a_key_alone() -> None:
    white = tuple((key, key - 60) for key in range(128) if key % 12 in (0, 2, 4, 5, 7, 9, 11))
    tuning = Tuning(Scale.equal(12), Anchor.parse("A4=441"), TableLayout(white))
    carried = carry(tuning, "octave1")
    assert carried.messages[0].offsets == tuple(4 if key in dict(white) else 0 for key in range(12))
    assert {key.key % 12 for key in carried.left_out} == {1, 3, 6, 8, 10}
    assert carried.left_out[0].sent_hz == pytest.approx(8.6620, abs=1e-4)


def test_single_changes_of_all_keys_go_into_two_messages() -> None:
    carried = carry(meantone("A4=435"), "single")
    counts = [len(message.changes or ()) for message in carried.messages]
    assert counts == [64, 64]
    bulk = carry(meantone("A4=435"), "bulk").messages[0].words
    changes = [change for message in carried.messages for change in message.changes or ()]
    assert changes == list(enumerate(bulk or ()))


def test_addresses() -> None:
    address = Address(device=16, realtime=True, program=5, bank=3)
    data = carry(equal(12), "single-bank", address, keys=[60, 72]).to_bytes()
    assert data == bytes.fromhex("F0 7F 10 08 07 03 05 02 3C 3C 00 00 48 48 00 00 F7")
    data = carry(equal(12), "octave1", Address(channels=frozenset([1, 16]))).to_bytes()
    assert data[5:8] == b"\x02\x00\x01"
    data = carry(equal(12, name="Slack water"), "bulk", Address(program=7)).to_bytes()
    assert data[5:22] == b"\x07Slack water     "
    data = carry(equal(12, name="Slack water"), "bulk", Address(name="Ebb")).to_bytes()
    assert data[6:22] == b"Ebb             "
    for form in FORMS:
        if form.is_request:
            carried = carry(equal(12), form.name, Address(program=9))
            assert carried.messages[0].program == 9
            assert carried.keys == carried.left_out == ()
            assert carried.worst is None


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("31-equal", "31-equal"),
        ("Saltmarsh Quay, low water", "Saltmarsh Quay,"),
        ("Fünf Töne", "Funf Tone"),
        ("音律", ""),
        ("tab\tand\x00null", "tabandnull"),
    ],
)
def test_names_become_sixteen_characters_of_ascii(text: str, name: str) -> None:
    assert ascii_name(text) == name


def test_what_a_form_does_not_have_is_refused() -> None:
    for address, field in (
        (Address(bank=1), "bank"),
        (Address(channels=frozenset([1])), "channels"),
        (Address(realtime=True), "realtime"),
        (Address(name="Saltmarsh Quay 17"), "name"),
        (Address(program=128), "program"),
    ):
        with pytest.raises(InvalidValue) as caught:
            carry(equal(12), "bulk", address)
        assert caught.value.field == field
    with pytest.raises(InvalidValue, match="no keys: bulk tells of all of them"):
        carry(equal(12), "bulk", keys=[60])
    for keys in ([], [128], [-1], [True], [60, 60]):
        with pytest.raises(InvalidValue, match="keys: got"):
            carry(equal(12), "single", keys=keys)
    with pytest.raises(NotFound, match="did you mean single"):
        carry(equal(12), "singel")
