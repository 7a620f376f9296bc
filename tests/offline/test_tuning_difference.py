"""Two tunings side by side: what an anchor moves, what a scale changes, and how chords fare."""

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.catalogue import Catalogue
from meantide.errors import InvalidValue, NotFound
from meantide.offline.chord_difference import (
    MAJOR,
    MINOR,
    Chord,
    ChordDifference,
    chord_differences,
    read_chord,
    triads,
)
from meantide.offline.tuning_difference import difference
from meantide.pitch import Anchor, Interval, Scale, Tuning


def tuning(scale: str | Scale, anchor: str = "A4=440") -> Tuning:
    catalogue = Catalogue()
    return Tuning(
        scale if isinstance(scale, Scale) else catalogue.scale(scale), catalogue.anchor(anchor)
    )


def chord(text: str, first: Tuning, other: Tuning) -> ChordDifference:
    (found,) = chord_differences(first, other, [read_chord(text)])
    return found


def test_another_anchor_moves_every_note_alike_and_no_interval() -> None:
    found = difference(tuning("31-equal"), tuning("31-equal", "A4=435"), range(32))
    # 435 Hz lies 19.79 cents below 440, calculated.
    assert found.common_cents == pytest.approx(-19.79, abs=5.1e-3)
    assert {note.interval_cents for note in found.notes} == {0.0}
    assert {note.paired_by for note in found.notes} == {"name"}
    a4 = next(note for note in found.notes if note.name == "A4")
    assert (a4.hz, a4.other_hz, a4.difference_hz) == (440, 435, -5)


@given(
    st.lists(st.integers(1, 1_199_999), max_size=12, unique=True),
    st.floats(1, 5000),
    st.floats(1, 5000),
    st.integers(-20, 20),
    st.integers(-20, 20),
)
def test_anchors_on_any_degrees_change_no_interval(
    thousandths: list[int], hz: float, other_hz: float, degree: int, other_degree: int
) -> None:
    cents = [Interval.parse(f"{each / 1000:.3f} cents") for each in sorted(thousandths)]
    scale = Scale.from_degrees(cents)
    first = Tuning(scale, Anchor(hz, degree=degree))
    other = Tuning(scale, Anchor(other_hz, degree=other_degree))
    found = difference(first, other, range(-10, 30))
    assert found.common_cents is not None
    for note in found.notes:
        ratio = other.hz_of_degree(note.degree) / first.hz_of_degree(note.degree)
        # Floats of up to 40 octaves of 1200 cents.
        assert abs(1200 * math.log2(ratio) - found.common_cents) < 1e-9
        assert note.cents == pytest.approx(found.common_cents, abs=1e-9)
        assert note.interval_cents == 0


def test_the_same_tuning_anchored_by_another_note_is_the_same() -> None:
    # A lies 5/3 above C, so C4 = 264 and A4 = 440 are one tuning.
    found = difference(tuning("just-five-limit"), tuning("just-five-limit", "C4=264"), range(13))
    assert found.common_cents == pytest.approx(0, abs=1e-9)


# Quarter-comma meantone from C, Eb to G#, in cents, calculated to three decimals from its
# definition: fifths of 3/2 less a quarter of 81/80.
QUARTER_COMMA = [0, 76.049, 193.157, 310.265, 386.314, 503.422, 579.471, 696.578, 772.627,
                 889.735, 1006.843, 1082.892]  # fmt: skip


def test_another_scale_changes_intervals_by_the_tables() -> None:
    found = difference(tuning("12-equal"), tuning("meantone-quarter-comma"), range(12))
    assert found.common_cents is None
    for degree, (note, cents) in enumerate(zip(found.notes, QUARTER_COMMA, strict=True)):
        expected = (cents - QUARTER_COMMA[9]) - (100 * degree - 900)
        assert note.interval_cents == pytest.approx(expected, abs=1.1e-3)
        assert note.cents == note.interval_cents  # the anchored note stays
    # 263.1814, 275, 328.9767, 352 and 393.5480 Hz, calculated.
    assert [round(found.notes[degree].other_hz, 4) for degree in (0, 1, 4, 5, 7)] == [
        263.1814, 275.0, 328.9767, 352.0, 393.548,
    ]  # fmt: skip


def test_notes_are_paired_by_name_then_degree_then_pitch() -> None:
    named = difference(tuning("19-equal"), tuning("31-equal"), [1, 2])
    assert [(note.name, note.other_degree) for note in named.notes] == [("C#4", 2), ("Db4", 3)]
    nameless = Scale.from_degrees([Interval.ratio(5, 4), Interval.ratio(3, 2)])
    other = Scale.from_degrees([Interval.ratio(6, 5), Interval.ratio(3, 2)])
    by_degree = difference(tuning(nameless, "0=256"), tuning(other, "0=256"), [0, 1, 4])
    assert {note.paired_by for note in by_degree.notes} == {"degree"}
    # 5/4 to 6/5 is 25/24 down, 70.672 cents, calculated.
    assert [round(note.cents, 3) for note in by_degree.notes] == [0, -70.672, -70.672]
    by_pitch = difference(tuning("13-equal-of-3", "0=256"), tuning("12-equal", "C4=256"), range(14))
    assert {note.paired_by for note in by_pitch.notes} == {"nearest"}
    assert all(abs(note.cents) <= 50 for note in by_pitch.notes)
    # Six steps of 146.304 cents are 877.825: nearest is 900.
    assert by_pitch.notes[6].other_degree == 9


def test_a_name_the_other_does_not_list_is_paired_by_pitch() -> None:
    found = difference(tuning("31-equal"), tuning("just-five-limit"), [2, 3])
    assert [note.name for note in found.notes] == ["C#4", "Db4"]
    assert [note.paired_by for note in found.notes] == ["name", "nearest"]
    assert found.notes[1].other_degree == 1  # Db4 lies 116 cents up, C#4 in the other 112


# |p f1 - q f2| in twelve equal parts at A4 = 440, calculated.
def test_beats_of_twelve_equal() -> None:
    found = chord("C4,E4,G4=4:5:6", tuning("12-equal"), tuning("just-five-limit"))
    first, second, _ = found.first.beats_hz
    assert first == pytest.approx(10.382, abs=5.1e-4)
    assert second == pytest.approx(0.886, abs=5.1e-4)
    assert found.other.beats_hz == (0, 0, 0)
    assert found.other.from_just_cents == (0, 0)
    # 5/4 and 3/2 are 386.314 and 701.955 cents, calculated.
    assert found.first.from_just_cents == pytest.approx([13.686, -1.955], abs=5.1e-4)
    assert found.change_cents == pytest.approx([-13.686, 1.955], abs=5.1e-4)


@pytest.mark.parametrize("scale", ["31-equal", "werckmeister-3", "just-five-limit"])
def test_beats_are_those_of_the_partials_that_would_be_one(scale: str) -> None:
    first = tuning(scale)
    wanted = triads(first, first, range(12))
    for found in chord_differences(first, first, wanted):
        pairs = combinations(zip(found.first.hz, found.just, strict=True), 2)
        for rate, ((low_hz, low), (high_hz, high)) in zip(found.first.beats_hz, pairs, strict=True):
            common = math.gcd(low, high)
            expected = abs(low_hz * high - high_hz * low) / common
            assert rate == pytest.approx(expected, abs=1e-9)
        assert set(found.change_cents) == {0.0}


def test_triads_stand_on_every_name_and_keep_their_letters() -> None:
    first = tuning("31-equal")
    found = triads(first, first, [0, 3, 23])
    assert [[str(note) for note in each.notes] for each in found] == [
        ["C4", "E4", "G4"], ["C4", "Eb4", "G4"],
        ["Db4", "F4", "Ab4"], ["Db4", "Fb4", "Ab4"],
        ["A4", "C#5", "E5"], ["A4", "C5", "E5"],
    ]  # fmt: skip
    assert [each.just for each in found] == [MAJOR, MINOR] * 3
    assert triads(tuning("13-equal-of-3", "0=256"), first, range(13)) == []


def test_a_keyboard_of_twelve_names_shows_its_wolf() -> None:
    meantone = tuning("meantone-quarter-comma")
    root = meantone.degree_of_name("G#4")
    major, _ = chord_differences(meantone, tuning("12-equal"), triads(meantone, meantone, [root]))
    # G# B# D# is played G# C Eb: eleven fifths of 696.578 down from seven octaves, the wolf of
    # 737.637 cents, and eight of them down from five octaves, 427.373; calculated.
    assert major.notes == ("G#4", "B#4", "D#5")
    assert major.first.cents == pytest.approx([427.373, 737.637], abs=5.1e-4)
    assert major.other.cents == (400, 700)


def test_a_chord_without_proportions_is_taken_for_the_simplest_near_it() -> None:
    first, other = tuning("31-equal"), tuning("12-equal")
    assert chord("C4,E4,G4", first, other).just == (4, 5, 6)
    # 25 steps of 31 lie 1.084 cents below 7/4, calculated.
    seventh = chord("C4,E4,G4,A#4", first, other)
    assert seventh.just == (4, 5, 6, 7)
    assert seventh.first.from_just_cents[2] == pytest.approx(-1.084, abs=5.1e-4)
    # 13 equal parts of 3/1: 6 and 10 steps lie 6.533 and 3.829 cents below 5/3 and 7/3.
    bare = tuning("13-equal-of-3", "0=256")
    found = chord("0,6,10", bare, bare)
    assert found.just == (3, 5, 7)
    assert found.first.from_just_cents == pytest.approx([-6.533, -3.829], abs=6e-4)


def test_a_chord_that_is_near_nothing_simple_asks_for_proportions() -> None:
    first = tuning("12-equal")
    with pytest.raises(InvalidValue, match=r"=4:5:6"):
        chord("C4,C#4,D4,Eb4,E4,F4", first, first)
    with pytest.raises(InvalidValue, match="just proportions"):
        chord("G4,E4,C4", first, first)
    assert chord("G4,C5=3:4", first, first).just == (3, 4)


def test_chords_name_only_notes_that_are_there() -> None:
    with pytest.raises(NotFound, match="E##"):
        chord("C4,E##4=4:5", tuning(Scale.equal(5, names="CDEGA")), tuning("31-equal"))


@pytest.mark.parametrize(
    "text",
    ["", "C4", "C4,", "C4;E4", "C4,E4=", "C4,E4=5:4", "C4,E4=4:5:6", "C4,E4=0:5", "C4,E4=4:4",
     "C4,E4=4:5000", "C4,E4=a:b", "H4,C4", "1.5,2", "C4,D4,E4,F4,G4,A4,B4,C5,D5"],
)  # fmt: skip
def test_what_is_no_chord_is_refused(text: str) -> None:
    with pytest.raises(InvalidValue, match="chord: got"):
        read_chord(text)


def test_chords_are_read() -> None:
    assert read_chord("0, -5,9") == Chord((0, -5, 9))
    read = read_chord("C4,E4=4:5")
    assert [str(note) for note in read.notes] == ["C4", "E4"]
    assert read.just == (4, 5)
