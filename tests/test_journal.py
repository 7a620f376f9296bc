"""Journals: what is written is read back equal, and what is wrong names its file and line."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.journal import (
    AMOUNTS,
    Journal,
    JournalHead,
    Run,
    end_line,
    event_line,
    head_line,
    read_journal,
    value_line,
)
from meantide.perform.event import Event, Held, Kind, Pitch, PitchKind
from meantide.pitch import Anchor, Interval, LinearLayout, NoteName, Scale, Tuning
from meantide.voice import fm_description
from meantide.voice.description import AdditiveVoice, Partial
from meantide.voice.envelope import Envelope
from meantide.voice.fm_description import FmVoice, Operator
from meantide.voice.voices import Voice

HEAD = JournalHead(48_000, 256, 64, "compiled")

# The tide gauge's bell of the Saltmarsh Quay festival: the place, its pitch and sound invented.
TUNING = Tuning(
    Scale.equal(31, name="tide"),
    Anchor(432.0, note=NoteName.parse("A4"), celsius=11.5, about="evening ebb"),
    LinearLayout(62, 3),
)
VOICE = AdditiveVoice(
    "buoy bell",
    (Partial(1.0), Partial(2.76, -7.5, 1.25)),
    Envelope(0.002),
    tilt_db=-3.0,
    inharmonicity=4e-4,
)
LINES = (
    head_line(HEAD),
    value_line(1, TUNING),
    event_line(0, Event(Kind.TUNING, 0, value=1)),
    value_line(2, VOICE),
    event_line(0, Event(Kind.VOICE, 0, value=2)),
    event_line(
        256, Event(Kind.NOTE_ON, 300, note=7, pitch=Pitch(PitchKind.NAME, 3.0, 4), amount=0.7)
    ),
    event_line(48_128, Event(Kind.NOTE_OFF, 48_000, note=7)),
    end_line(96_000),
)

samples = st.integers(0, 2**62)
pitches = st.builds(
    Pitch,
    st.sampled_from([kind for kind in PitchKind if kind != PitchKind.NONE]),
    st.floats(-1e12, 1e12),
    st.integers(-1000, 1000),
)
events = st.sampled_from(Kind).flatmap(
    lambda kind: st.builds(
        Event,
        st.just(kind),
        samples,
        st.integers(-1, 4096),
        st.integers(-(2**62), 2**62),
        st.just(Pitch(PitchKind.NONE, 0.0)) | pitches,
        st.floats(*AMOUNTS.get(kind, (0.0, 0.0))),
        samples,
        samples,
        st.sampled_from(Held),
    )
)
heard_events = st.lists(st.tuples(samples, events), max_size=6)


# That every mapping reads back is proved where scales and voices are; here it is the lines.
tunings = st.builds(
    Tuning,
    st.builds(Scale.equal, st.integers(1, 400))
    | st.just(Scale.from_degrees([Interval.ratio(7, 6), Interval.parse("1/2 of 3/2 + 81/80")])),
    st.builds(Anchor, st.floats(0.01, 20_000), degree=st.integers(-99, 99)),
    st.builds(LinearLayout, st.integers(0, 127), st.integers(-99, 99)),
)
partials = st.builds(
    Partial, st.floats(0.01, 1024), st.floats(-120, 24), st.none() | st.floats(0.01, 600)
)
heard, moving = Operator(1.0, level_db=0.0), Operator(Interval.ratio(7, 2))
voices = st.builds(
    AdditiveVoice,
    st.just("buoy bell"),
    st.lists(partials, min_size=1, max_size=4).map(tuple),
    tilt_db=st.floats(-48, 48),
) | st.builds(
    lambda index: FmVoice("buoy horn", (heard, moving), (fm_description.Path(2, 1, index),)),
    st.floats(0, 50),
)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("journals") / "ebb.jsonl"


def write(file: Path, *lines: str) -> Path:
    file.write_text("".join(lines), encoding="utf-8")
    return file


def refusal_of(file: Path) -> str:
    with pytest.raises(InvalidValue) as caught:
        read_journal(file)
    return str(caught.value)


@given(heard_events, samples)
def test_events_written_as_lines_are_read_back_equal(
    file: Path, said: list[tuple[int, Event]], ended: int
) -> None:
    lines = [event_line(heard, event) for heard, event in said]
    run = Run(HEAD, tuple(event for _, event in said), tuple(heard for heard, _ in said), ended)
    assert read_journal(write(file, head_line(HEAD), *lines, end_line(ended))) == Journal(
        (run,), {}, {}
    )


def test_an_engine_that_takes_over_goes_on_and_what_the_one_before_had_ahead_is_void(
    file: Path,
) -> None:
    second = replace(HEAD, block=64, sample=5_000)
    ahead = Event(Kind.PAN, 9_000, amount=0.5)
    early, late = Event(Kind.PAN, 512, amount=-1.0), Event(Kind.PAN, 5_064, amount=1.0)
    lines = [event_line(256, early), event_line(4_096, ahead), head_line(second)]
    journal = read_journal(write(file, head_line(HEAD), *lines, event_line(5_064, late)))
    assert journal.runs == (
        Run(HEAD, (early,), (256,), 5_000), Run(second, (late,), (5_064,), 5_064)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (replace(HEAD, sample=4_000), "a sample from 4096 on"),
        (replace(HEAD, rate=44_100, sample=5_000), "the rate of the set, 48000"),
    ],
)
def test_an_engine_cannot_take_over_in_the_past_or_at_another_rate(
    file: Path, head: JournalHead, said: str
) -> None:
    written = write(
        file, head_line(HEAD), event_line(4_096, Event(Kind.PAN, 4_096)), head_line(head)
    )
    with pytest.raises(InvalidValue, match=said):
        read_journal(written)


@given(st.dictionaries(st.integers(1, 2**62), tunings | voices, max_size=4))
def test_values_written_as_lines_are_read_back_equal(
    file: Path, values: dict[int, Tuning | Voice]
) -> None:
    lines = [value_line(number, value) for number, value in values.items()]
    assert read_journal(write(file, head_line(HEAD), *lines, end_line(0))).values == values


def test_a_set_is_read_whole(file: Path) -> None:
    journal = read_journal(write(file, *LINES))
    assert journal.head == HEAD
    assert journal.values == {1: TUNING, 2: VOICE}
    assert [event.kind.name for event in journal.events] == [
        "TUNING", "VOICE", "NOTE_ON", "NOTE_OFF",
    ]  # fmt: skip
    assert journal.heard == (0, 0, 256, 48_128)
    assert journal.ended == 96_000


def test_an_older_journal_that_names_no_kernel_was_played_with_numpys(file: Path) -> None:
    head = json.loads(head_line(HEAD))
    del head["kernel"]
    assert read_journal(write(file, json.dumps(head) + "\n", *LINES[1:])).head.kernel == "numpy"


def test_a_line_says_only_what_is_not_as_usual() -> None:
    assert json.loads(LINES[5]) == {
        "event": "NOTE_ON",
        "heard": 256,
        "sample": 300,
        "note": 7,
        "amount": 0.7,
        "pitch": ["NAME", 3.0, 4],
    }


@given(st.integers(len(LINES[0]), len("".join(LINES))))
def test_of_a_journal_cut_anywhere_the_whole_lines_are_read(file: Path, length: int) -> None:
    text = "".join(LINES)[:length]
    journal = read_journal(write(file, text))
    whole = [json.loads(line) for line in text.split("\n")[:-1]]
    events = [line for line in whole if "event" in line]
    assert journal.heard == tuple(line["heard"] for line in events)
    assert len(journal.values) == sum("value" in line and "event" not in line for line in whole)
    # Without a last line the set ends with its last event.
    ended = max((line["sample"] for line in events), default=0)
    assert journal.ended == (96_000 if "ended" in whole[-1] else ended)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"kind": "take"}, "kind: got 'take'; allowed: one of journal"),
        ({"kind": ...}, "kind: got 'nothing'; allowed: this field is needed"),
        ({"wav": "ebb.wav"}, "unknown field: got 'wav'; allowed: one of meantide, kind, rate"),
        ({"rate": 48_000.0}, "rate: got 48000.0; allowed: a whole number from 8000 to 192000"),
        ({"block": 0}, "block: got 0; allowed: a whole number from 1 to 8192"),
        ({"notes": True}, "notes: got True; allowed: a whole number from 1 to 4096"),
        ({"kernel": "abacus"}, "kernel: got 'abacus'; allowed: one of compiled, numpy"),
    ],
)
def test_a_journal_of_another_kind_is_refused(
    file: Path, change: dict[str, object], message: str
) -> None:
    first = {k: v for k, v in {**json.loads(LINES[0]), **change}.items() if v is not ...}
    refusal = refusal_of(write(file, json.dumps(first) + "\n", *LINES[1:]))
    assert refusal.startswith(f"{file}:1: {message}")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("", "JSON: got 'Expecting value'; allowed: a JSON document"),
        ('{"ended": 1', "JSON: got"),
        ('{"ended": NaN}', "JSON: got 'NaN'; allowed: finite numbers"),
        ('{"ended": 1, "ended": 2}', "JSON: got 'ended again'; allowed: each key once"),
        ("[" * 100_000, "JSON: got"),
        ("7", "value: got 7; allowed: a mapping with"),
        (
            "{}",
            "fields: got 'none of them'; allowed: exactly one of tuning, voice, event, named",
        ),
        ('{"event": "PAN", "ended": 1}', "fields: got 'event and ended'; allowed: exactly one"),
        ('{"ended": -1}', "ended: got -1; allowed: a whole number from 0"),
        ('{"ended": 1, "heard": 1}', "unknown field: got 'heard'; allowed: one of ended"),
        ('{"event": "PLUCK", "heard": 0, "sample": 0}', "event: got 'PLUCK'; allowed: one of"),
        ('{"event": "PAN", "sample": 0}', "heard: got 'nothing'"),
        ('{"event": "PAN", "heard": 0, "sample": 0.5}', "sample: got 0.5; allowed: a whole"),
        ('{"event": "PAN", "heard": 0, "sample": 0, "amount": true}', "amount: got True"),
        ('{"event": "LEVEL", "heard": 0, "sample": 0, "amount": 6}', "amount: got 6"),
        ('{"event": "TUNING", "heard": 0, "sample": 0, "amount": 1}', "amount: got 1"),
        ('{"event": "PAN", "heard": 0, "sample": 0, "held": 2}', "held: got 2"),
        ('{"event": "BEND", "heard": 0, "sample": 0, "amount": 12001}', "amount: got 12001"),
        ('{"event": "BEND", "heard": 0, "sample": 0, "amount": NaN}', "JSON: got 'NaN'"),
        ('{"event": "TIMBRE", "heard": 0, "sample": 0, "amount": -0.1}', "amount: got -0.1"),
        ('{"event": "PRESSURE", "heard": 0, "sample": 0, "amount": 1.1}', "amount: got 1.1"),
        ('{"event": "SUSTAIN", "heard": 0, "sample": 0, "amount": 2}', "amount: got 2"),
        ('{"event": "GLIDE", "heard": 0, "sample": 0, "amount": 1}', "amount: got 1"),
        ('{"event": "REVOICE", "heard": 0, "sample": 0, "samples": -1}', "samples: got -1"),
        (
            '{"event": "NOTE_ON", "heard": 0, "sample": 0, "pitch": ["KEY", 60]}',
            "pitch: got '2 items'; allowed: [kind, value, octave]",
        ),
        (
            '{"event": "NOTE_ON", "heard": 0, "sample": 0, "pitch": ["KEY", 60, 0, 0]}',
            "pitch: got '4 items'; allowed: a list of at most 3",
        ),
        (
            '{"event": "NOTE_ON", "heard": 0, "sample": 0, "pitch": ["COLOUR", 60, 0]}',
            "pitch item 1: got 'COLOUR'; allowed: one of NONE, KEY",
        ),
        ('{"value": 0, "voice": {}}', "value: got 0; allowed: a whole number from 1"),
        ('{"value": 3, "tuning": {"scale": {"equal": 12}}}', "tuning.anchor: got 'nothing'"),
        (
            '{"value": 3, "tuning": {"scale": {"equal": 0}, "anchor": {}, "layout": {}}}',
            "tuning.scale.equal: got 0",
        ),
        ('{"value": 3, "voice": {"kind": "struck"}}', "voice.kind: got 'struck'"),
    ],
)
def test_a_bad_line_is_named(file: Path, line: str, message: str) -> None:
    refusal = refusal_of(write(file, *LINES[:4], line + "\n", *LINES[4:]))
    assert refusal.startswith(f"{file}:5: {message}")


@pytest.mark.parametrize("data", [b"", b'{"kind": "journal"', b"\xff\n"])
def test_what_holds_no_line_of_text_is_refused(file: Path, data: bytes) -> None:
    file.write_bytes(data)
    assert str(file) in refusal_of(file)


def test_files_that_are_not_there(tmp_path: Path) -> None:
    for name in ("flood.jsonl", "a\0b"):
        with pytest.raises(InvalidValue, match="allowed: a readable file"):
            read_journal(tmp_path / name)
