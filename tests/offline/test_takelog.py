"""The take log: written, read back, refused."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.offline.takelog import (
    LoggedTuning,
    TakeLog,
    read,
)
from meantide.offline.takelog_note import LoggedDepth, LoggedNote, LoggedPitch
from meantide.offline.takelog_voice import LoggedDrift, LoggedPartial, LoggedVibrato, LoggedVoice
from takes import Asked, make_log

SAMPLE = make_log([Asked(440.0), Asked(550.0, 0.5, voice="struck")], 96_000)


def changed(path: str, value: object) -> str:
    """Return the sample as JSON with one field set, or left out where `value` is `...`."""
    tree = json.loads(SAMPLE.to_json())
    *way, last = [int(key) if key.isdigit() else key for key in path.split("/")]
    place = tree
    for key in way:
        place = place[key]
    if value is ...:
        del place[last]
    else:
        place[last] = value
    return json.dumps(tree)


levels = st.floats(-1e6, 1e3)
positive = st.floats(1e-6, 1e9)
levels_up = st.floats(0.0, 4800.0)
finite_hz = st.floats(-1e9, 1e9)
finite = st.floats(allow_nan=False, allow_infinity=False)
keys = st.text(max_size=5).filter(str.isprintable)
opaque = st.dictionaries(
    keys, st.integers() | finite | st.text() | st.lists(st.none() | st.booleans()), max_size=3
)


cents = st.floats(-4800.0, 4800.0)
maybe = st.none() | positive
lesser = st.floats(0.0, 1e6)
partials = st.builds(
    LoggedPartial, positive, levels, maybe, maybe, lesser, finite_hz, maybe, st.booleans()
)
vibratos = st.builds(LoggedVibrato, positive, cents, positive, positive, st.just(0.0) | levels_up)
drifts = st.builds(LoggedDrift, levels_up, positive)


def spectra(count: int) -> st.SearchStrategy[tuple[LoggedPartial, ...]]:
    return st.lists(partials, min_size=count, max_size=count).map(tuple)


def voices(count: int) -> st.SearchStrategy[LoggedVoice]:
    moving = (st.none() | vibratos, st.none() | drifts, st.integers(1, 16), st.booleans())
    return st.builds(LoggedVoice, spectra(count), *moving)


@st.composite
def logs(draw) -> TakeLog:
    frames = draw(st.integers(0, 2**40))
    count = draw(st.integers(0, 3))
    spectrum = st.sampled_from([None, "drawn"])
    notes = []
    for number in range(draw(st.integers(0, 4))):
        start, release, end = sorted(draw(st.lists(st.integers(0, frames), min_size=3, max_size=3)))
        later = sorted(draw(st.lists(st.integers(start, end), max_size=3)))
        pitches = [LoggedPitch(start, 0, draw(positive), draw(spectrum))]
        pitches += [
            LoggedPitch(sample, draw(st.integers(0, 10**6)), draw(positive), draw(spectrum))
            for sample in later
        ]
        depths = [LoggedDepth(start, 0, 3.0), *(LoggedDepth(at, 5, draw(cents)) for at in later)]
        notes.append(
            LoggedNote(
                number,
                draw(st.text()),
                "v",
                draw(opaque),
                draw(st.floats(0.0, 1.0)),
                draw(levels),
                start,
                release,
                end,
                tuple(pitches),
                draw(st.sampled_from([0.0, 6.5])),
                draw(st.sampled_from([(), tuple(depths)])),
                draw(st.sampled_from([(), (0.25,) * count])),
                draw(st.none() | st.integers(start, end)),
            )
        )
    tuning = st.builds(
        LoggedTuning,
        st.integers(0, 2**40),
        opaque,
        opaque,
        opaque,
        st.integers(0, 10**6),
        st.sampled_from(["follow", "stay"]),
    )
    return TakeLog(
        "0.1.0",
        draw(st.sampled_from(["compiled", "numpy"])),
        draw(st.text()),
        draw(st.integers(1, 400_000)),
        frames,
        draw(st.integers(1, 8)),
        draw(st.sampled_from(["float32", "pcm24", "pcm16"])),
        draw(st.text()),
        draw(st.text()),
        draw(levels),
        draw(st.integers(0, 100)),
        tuple(draw(st.lists(tuning, max_size=2))),
        {"v": draw(voices(count))},
        tuple(notes),
        {"drawn": draw(spectra(count))},
    )


@given(logs())
def test_a_log_written_is_read_back_the_same_to_the_last_bit(log):
    assert TakeLog.from_json(log.to_json(), "take.json") == log


def test_the_text_is_one_note_a_line_and_plain_json():
    text = SAMPLE.to_json()
    assert sum('"pitches"' in line for line in text.splitlines()) == len(SAMPLE.notes)
    tree = json.loads(text)
    assert tree["kind"] == "take"
    assert tree["voices"]["struck"]["partials"][0]["decay_s"] == 6.0
    assert tree["voices"]["reed"]["partials"][0]["decay_s"] is None


def test_a_log_cannot_be_written_with_what_is_no_number():
    bad = LoggedNote(1, "a", "v", {}, 0.5, math.nan, 0, 1, 1, (LoggedPitch(0, 0, 440.0),))
    with pytest.raises(ValueError, match="JSON compliant"):
        make_log([], 10).__class__(
            "0",
            "numpy",
            "w",
            8000,
            1,
            1,
            "pcm16",
            "",
            "",
            0.0,
            0,
            (),
            {"v": LoggedVoice(())},
            (bad,),
        ).to_json()


def test_an_older_take_that_names_no_kernel_was_made_by_numpys():
    assert TakeLog.from_json(changed("kernel", ...), "take.json").kernel == "numpy"


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("rate", 0, "rate"),
        ("rate", 48_000.0, "rate"),
        ("rate", True, "rate"),
        ("frames", ..., "frames"),
        ("format", "float64", "format"),
        ("kind", "score", "kind"),
        ("kernel", "abacus", "kernel"),
        ("title", 3, "title"),
        ("level_db", "loud", "level_db"),
        ("surprise", 1, "unknown field"),
        ("notes", {}, "notes"),
        ("notes/1", 7, "notes item 2"),
        ("notes/1/start", -1, "notes item 2.start"),
        ("notes/1/start", "0", "notes item 2.start"),
        ("notes/1/velocity", 1.5, "notes item 2.velocity"),
        ("notes/1/velocity", False, "notes item 2.velocity"),
        ("notes/1/release", 0, "notes item 2.release"),
        ("notes/1/end", 100, "notes item 2.end"),
        ("notes/1/end", 10**9, "notes item 2.end"),
        ("notes/1/id", 1, "notes item 2.id"),
        ("notes/1/pitch", "A4", "notes item 2.pitch"),
        ("notes/1/part", None, "notes item 2.part"),
        ("notes/1/level_db", 10**400, "notes item 2.level_db"),
        ("notes/1/voice", "gong", "notes item 2.voice"),
        ("notes/1/extra", None, "notes item 2: unknown field"),
        ("notes/1/pitches", [], "notes item 2.pitches"),
        ("notes/1/pitches/0/hz", 0, "notes item 2.pitches item 1.hz"),
        ("notes/1/pitches/0/hz", -440.0, "notes item 2.pitches item 1.hz"),
        ("notes/1/pitches/0/hz", 10**400, "notes item 2.pitches item 1.hz"),
        ("notes/1/pitches/0/sample", 3, "notes item 2.pitches item 1.sample"),
        ("notes/1/pitches/0/glide_samples", 3, "notes item 2.pitches item 1.glide_samples"),
        ("notes/1/pitches/0/more", 3, "notes item 2.pitches item 1: unknown field"),
        ("voices/reed/partials/2/ratio", 0.0, "voices.reed.partials item 3.ratio"),
        ("voices/reed/partials/2/decay_s", 0.0, "voices.reed.partials item 3.decay_s"),
        ("voices/reed/partials/2/decay_s", ..., "voices.reed.partials item 3.decay_s"),
        ("voices/reed/more", 1, "voices.reed: unknown field"),
    ],
)
def test_a_bad_field_is_named_with_its_file_and_path(path, value, field):
    with pytest.raises(InvalidValue) as caught:
        TakeLog.from_json(changed(path, value), "harbour.json")
    assert caught.value.field == field
    assert caught.value.where == "harbour.json"
    assert str(caught.value).startswith(f"harbour.json: {field}: got ")


def test_pitches_out_of_order_are_refused():
    pitches = [
        {"sample": 24_000, "glide_samples": 0, "hz": 550.0},
        {"sample": 30_000, "glide_samples": 0, "hz": 550.0},
        {"sample": 29_999, "glide_samples": 0, "hz": 550.0},
    ]
    with pytest.raises(InvalidValue) as caught:
        TakeLog.from_json(changed("notes/1/pitches", pitches), "x")
    assert caught.value.field == "notes item 2.pitches item 3.sample"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        "null",
        '{"rate": NaN}',
        '{"rate": Infinity}',
        '{"rate": 1e999}',
        '{"rate": 1, "rate": 2}',
        "[" * 100_000,
        '{"rate": ' + "9" * 5_000 + "}",
    ],
)
def test_what_is_no_strict_json_object_is_refused(text):
    with pytest.raises(InvalidValue):
        TakeLog.from_json(text, "x.json")


def test_a_syntax_error_names_its_line():
    with pytest.raises(InvalidValue) as caught:
        TakeLog.from_json('{\n"rate": 1,\n"at" 2}', "x.json")
    assert caught.value.where == "x.json:3"


def test_a_file_that_cannot_be_read_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # a short name, told whole
    with pytest.raises(InvalidValue, match=r"nowhere\.json"):
        read(Path("nowhere.json"))
    (tmp_path / "bytes.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InvalidValue, match=r"bytes\.json"):
        read(Path("bytes.json"))


def test_a_log_on_disk_is_read(tmp_path):
    (tmp_path / "take.json").write_text(SAMPLE.to_json(), encoding="utf-8")
    assert read(tmp_path / "take.json") == SAMPLE
