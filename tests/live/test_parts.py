"""Parts over OSC: from a socket to the sound, and what is said of addresses that are wrong."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

import tones
from meantide.journal import read_journal
from meantide.live.addresses import ADDRESSES
from meantide.live.state import MOST_PARTS
from meantide.offline.journal_take import render_journal
from meantide.perform.event import Kind, OutcomeKind
from meantide.pitch import Anchor
from meantide.voice.kernel_numpy import NumpyKernel
from playing import RATE
from stage import BLOCK, Stage


@pytest.fixture
def stage() -> Iterator[Stage]:
    built = Stage()
    yield built
    built.close()


def hz_told(stage: Stage) -> list[float]:
    kinds = (OutcomeKind.BEGAN, OutcomeKind.MOVED)
    return [o.hz for o in stage.engine.outcomes if o.kind in kinds]


def test_a_part_is_made_by_what_sets_it_up_and_the_state_tells_of_it(stage: Stage) -> None:
    assert stage.state()["parts"] == "main"
    messages = {
        "voice": ("plain-reed",), "level": (-9.0, 0.5), "pan": (-0.5,), "width": (0.25, 1),
        "mode": ("mono",), "notes": (3,), "glide": (0.125,), "layout": ("keyboard",),
        "sustain": (1,),
    }  # fmt: skip
    assert stage.ask("/scale", "31-equal") == []
    for address, arguments in messages.items():
        assert stage.ask(f"/part/tide-reed/{address}", *arguments) == []
    state = stage.state()
    assert state["parts"] == "main tide-reed"
    said = {key.removeprefix("part/tide-reed/"): value for key, value in state.items()}
    assert said | {
        "voice": "plain-reed", "layout": "keyboard", "level_db": -9.0, "pan": -0.5, "width": 0.25,
        "mode": "mono", "notes": 3, "glide_s": 0.125, "sustain": 1, "sostenuto": 0,
    } == said  # fmt: skip
    assert state["part/main/mode"] == "poly"
    assert state["glide_s"] == 0.0
    assert state["level_db"] == -6.0


def test_parts_sound_each_by_its_own_layout_level_and_pan(stage: Stage) -> None:
    stage.ask("/scale", "31-equal")
    stage.ask("/part/left/pan", -1.0)
    stage.ask("/part/right/pan", 1.0)
    stage.ask("/part/right/layout", "keyboard")
    stage.ask("/part/left/level", -20.0)
    stage.play(0.1)
    stage.ask("/part/left/note/on", 61, 0.5)
    stage.ask("/part/right/note/on", 61, 0.5)  # C#: degree 2, where it is degree 1 by the linear
    out = np.zeros((2, 60 * BLOCK), np.float32)
    for start in range(0, out.shape[1], BLOCK):
        stage.engine.fill(out[:, start : start + BLOCK])
    sides = out[:, 2_000:].astype(np.float64)
    expected = [440.0 * 2.0 ** ((degree - 23) / 31) for degree in (1, 2)]
    fits = [tones.fit_lines(side, RATE, [hz]) for side, hz in zip(sides, expected, strict=True)]
    for fit, hz in zip(fits, expected, strict=True):
        assert abs(tones.cents(fit.hz[0], hz)) < 0.001
        assert fit.residual_db < -100.0
    assert fits[0].level_db[0] - fits[1].level_db[0] == pytest.approx(-20.0, abs=0.01)
    # another layout for all leaves the part that has its own; another scale takes it along
    before = len(stage.engine.outcomes)
    stage.ask("/layout", "keyboard-flats")
    stage.ask("/scale", "19-equal")
    stage.play(0.05)
    told = list(stage.engine.outcomes)[before:]
    assert told[0].hz == pytest.approx(440.0 * 2.0 ** ((3 - 23) / 31))  # Db, the left part alone
    assert {round(o.hz, 6) for o in told[1:]} == {
        round(440.0 * 2.0 ** ((degree - 14) / 19), 6) for degree in (2, 1)
    }


def test_notes_off_and_pedals_are_the_parts_own(stage: Stage) -> None:
    stage.ask("/part/reed/voice", "still-water")
    stage.ask("/note/on", 60, 0.5, 1)
    stage.ask("/part/reed/note/on", 64, 0.5, 2)
    stage.play(0.1)
    assert stage.ask("/part/reed/notes/off") == []
    stage.play(1.5)
    assert [note.id for note in stage.engine._performance.notes] == [1]
    assert stage.ask("/part/reed/sustain", 1) == []
    stage.ask("/note/off", 1)
    stage.play(0.5)
    assert stage.state()["notes"] == 0


def test_a_mono_part_glides_and_returns(stage: Stage) -> None:
    stage.ask("/mode", "mono")
    stage.ask("/glide", 0.02)
    for address, *arguments in (
        ("/hertz/on", 300.0, 0.5, 1), ("/hertz/on", 400.0, 0.5, 2), ("/note/off", 2)
    ):  # fmt: skip
        stage.ask(address, *arguments)
        stage.play(0.1)
    assert hz_told(stage) == [300.0, 400.0, 300.0]
    assert stage.state()["notes"] == 1


@pytest.mark.parametrize(
    ("address", "arguments", "reason"),
    [
        ("/part/Reed/voice", ("plain-reed",), "part: got 'Reed'"),
        ("/part//voice", ("plain-reed",), "part: got ''"),
        (f"/part/{'a' * 33}/pan", (0.0,), "1 to 32"),
        ("/part/reed", (), "address"),
        ("/part/reed/", (), "address"),
        ("/part/reed/scale", ("31-equal",), "not a part's own"),
        ("/part/reed/ask/state", (), "not a part's own"),
        ("/part/reed/part/reed/pan", (0.0,), "address"),
        ("/part/reed/note/on", (60, 0.5), "part: got 'reed'; allowed: one of main"),
        ("/part/reed/voice", ("no-such",), "no-such"),
        ("/part/reed/voice/set", ("no.such", 1.0), "no.such"),
        ("/part/reed/layout", ("../secret",), "no paths"),
        ("/part/reed/pan", (1.5,), "from -1 to 1"),
        ("/part/reed/width", (float("nan"),), "nan"),
        ("/part/reed/mode", ("duo",), "mono or poly"),
        ("/part/reed/notes", (2.5,), "whole number"),
        ("/part/reed/level", (1.0,), "to 0"),
    ],
)
def test_what_is_wrong_is_named_and_makes_no_part(
    stage: Stage, address: str, arguments: tuple[object, ...], reason: str
) -> None:
    [(reply, (about, why))] = stage.ask(address, *arguments)
    assert (reply, about) == ("/error", address) or address not in why
    assert reason in why
    assert stage.state()["parts"] == "main"


def test_there_is_an_end_to_parts(stage: Stage) -> None:
    for number in range(1, MOST_PARTS):
        assert stage.ask(f"/part/p{number}/pan", 0.5) == []
    [(_, (_, reason))] = stage.ask("/part/one-more/pan", 0.5)
    assert "at most 64 parts" in reason
    assert stage.ask("/part/p63/pan", 0.25) == []
    state = stage.state()
    assert len(state["parts"].split()) == MOST_PARTS
    assert state["part/p63/pan"] == 0.25


def test_a_scale_that_a_parts_layout_does_not_fit_is_refused_and_names_it(stage: Stage) -> None:
    stage.control.move_anchor(Anchor(256.0, degree=0), 0.0)  # fits any scale
    stage.control.commit()
    stage.ask("/part/reed/layout", "keyboard")  # goes by note names, and this scale has none
    [(_, (about, reason))] = stage.ask("/scale", "13-equal-of-3")
    assert about == "/scale"
    assert reason.startswith("part reed: ")
    assert stage.state()["degrees"] == 12


def test_every_address_of_parts_means_main_without_a_name(stage: Stage) -> None:
    """One table: what a part has is in it once, with or without the prefix."""
    own = {path for path, address in ADDRESSES.items() if address.part_act is not None}
    assert own == {
        "/note/on", "/note/off", "/note/bend", "/note/pressure", "/note/timbre", "/degree/on",
        "/hertz/on", "/voice", "/voice/set", "/layout", "/level", "/pan", "/width", "/mode",
        "/notes", "/sustain", "/sostenuto", "/glide", "/notes/off", "/ask/pitch",
    }  # fmt: skip
    assert stage.ask("/pan", -1.0) == []
    assert stage.ask("/part/main/pan", -0.5) == []
    assert stage.state()["part/main/pan"] == -0.5
    whole = {path for path in own if ADDRESSES[path].act is not None}
    assert whole == {"/layout", "/level", "/notes/off"}


def test_the_journal_of_parts_plays_again_bit_for_bit_and_its_log_names_them(
    tmp_path: Path,
) -> None:
    path, out = tmp_path / "quay.jsonl", tmp_path / "quay.wav"
    stage = Stage(path)
    try:
        stage.ask("/part/reed/voice", "plain-reed")
        stage.ask("/part/reed/width", 0.5)
        stage.ask("/part/bass/mode", "mono")
        stage.ask("/part/bass/glide", 0.05)
        stage.ask("/part/bass/layout", "white-keys")
        blocks = [stage.both(0.1)]
        stage.ask("/part/reed/note/on", 72, 0.5, 1)
        stage.ask("/part/bass/note/on", 48, 0.5, 2)
        blocks.append(stage.both(0.3))
        stage.ask("/part/reed/level", -12.0, 0.2)
        stage.ask("/part/reed/pan", 0.8, 0.3)
        stage.ask("/part/bass/note/on", 52, 0.5, 3)
        stage.ask("/part/bass/note/off", 2)
        blocks.append(stage.both(0.5))
        stage.ask("/anchor", 432.0, 0.1)
        stage.ask("/notes/off")
        blocks.append(stage.both(0.4))
    finally:
        stage.close()
    played = np.concatenate(blocks, axis=1)
    journal = read_journal(path)
    assert journal.parts == {1: "reed", 2: "bass"}
    log = render_journal(journal, out, "float32", "quay", NumpyKernel())
    replayed = soundfile.read(out, dtype="float32")[0].T
    # a take is without the latency of the line's end; what was played before is not looked at
    start = journal.ended - played.shape[1] - stage.engine.latency_samples
    again = replayed[:, start : start + played.shape[1]]
    assert np.ascontiguousarray(again).tobytes() == played.tobytes()
    assert np.abs(played).max() > 0.01
    reed, bass = log.notes
    assert (reed.part, bass.part) == ("reed", "bass")
    assert reed.pan == pytest.approx(0.5 * (3 / 12) / 3 * 4, abs=1e-6)  # C5: an octave of three
    assert reed.quieter_db > 11.9
    assert bass.quieter_db == 0.0
    assert [turn.pitch for turn in bass.legato] == [{"key": 52}]


def test_a_head_names_what_every_journal_needs(tmp_path: Path) -> None:
    """A part's name stands before its first event."""
    path = tmp_path / "quay.jsonl"
    stage = Stage(path)
    stage.ask("/part/reed/pan", 0.5)
    stage.play(0.1)
    stage.close()
    lines = path.read_text().splitlines()
    named = next(place for place, line in enumerate(lines) if '"named": "reed"' in line)
    first = next(place for place, line in enumerate(lines) if '"PAN"' in line)
    assert named < first
    assert Kind.PAN in {event.kind for event in read_journal(path).events}
