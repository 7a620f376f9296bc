"""Voices as mappings: read back equal, short where they are usual, and strict."""

import json
import math

import pytest
from hypothesis import given

from meantide.command.definition_file import to_yaml
from meantide.document import parse_document, parse_json
from meantide.errors import InvalidValue
from meantide.pitch import Interval
from meantide.reading import value_of
from meantide.voice.description import (
    AdditiveVoice,
    Breath,
    Drift,
    Formant,
    Law,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.envelope import Curve, Envelope
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator, Path
from meantide.voice.touch import Answer, Response, Vibrato
from meantide.voice_files import read_voice, voice_to_mapping
from voice_strategies import additive_voices, as_found, fm_voices

# Sounds of Saltmarsh Quay, invented.
CHAPEL = """\
name: chapel flue
source: invented
about: what a stopped pipe does, and more
kind: additive
partials: {count: 4, odd_only: true, attack_s: 0.02}
tilt_db: -9
even_db: -12
stretch: 2.01
inharmonicity: 0.0002
drawn: 0.5
decay: {seconds: 4, power: -0.7}
attack: {seconds: 0.1, power: 0.5}
second: {levels_db: [0, -6, -9, -20], tilt_db: -3, even_db: 2}
colour: 0.25
formants:
  - {hz: 700, width_hz: 100, gain_db: 9}
  - {hz: 1100, width_hz: 120, gain_db: 6}
drift: {cents: 1.5, level_db: 1, rate_hz: 0.2}
unison: {count: 3, spread_cents: 8}
breath: {level_db: -36, hz: 1800, octaves: 2}
vibrato: {rate_hz: 5, depth_cents: 12, delay_s: 0.4, rise_s: 0.6}
response:
  velocity: {colour: 0.5}
  pressure: {level_db: 6, vibrato_cents: 20, breath_db: 12}
  timbre: {colour: -1}
envelope: {attack_s: 0.08, release_s: 0.3, release_curve: eased}
velocity_exponent: 1
level_db: -3
trims_db: [-2, 0, 1.5]
family: pipe
range: [A2, 1318.5]
"""
BUOY = """\
name: buoy
kind: fm
operators:
  - {ratio: 1, level_db: 0, feedback: 0.3, phase: 0.25, envelope: {decay_s: 3, sustain_db: -100}}
  - {ratio: 7/2, velocity_db: 12, key_db: -3}
  - {ratio: {degree: 9}, level_db: -6}
  - {ratio: 9/31 of 2/1}
  - {hz: 33.5}
paths:
  - [2, 1, 1.5]
  - {from: 4, to: 3, index: 2}
  - [5, 4, 0.5]
vibrato: {depth_cents: 5}
response: {timbre: {colour: 0.5}}
range: [55, 1500]
velocity_exponent: 2
level_db: -6
"""


def test_every_field_of_an_additive_voice_is_read() -> None:
    assert read_voice(parse_document(CHAPEL, "chapel.yaml")) == AdditiveVoice(
        "chapel flue",
        tuple(Partial(float(n), attack_s=0.02) for n in (1, 3, 5, 7)),
        Envelope(0.08, release_s=0.3, release_curve=Curve.EASED),
        tilt_db=-9.0,
        even_db=-12.0,
        stretch=2.01,
        inharmonicity=0.0002,
        drawn=0.5,
        decay=Law(4.0, -0.7),
        attack=Law(0.1, 0.5),
        second=SecondTable((0.0, -6.0, -9.0, -20.0), -3.0, 2.0),
        colour=0.25,
        formants=(Formant(700.0, 100.0, 9.0), Formant(1100.0, 120.0, 6.0)),
        drift=Drift(1.5, 1.0, 0.2),
        unison=Unison(3, 8.0),
        breath=Breath(-36.0, 1800.0, 2.0),
        vibrato=Vibrato(5.0, 12.0, 0.4, 0.6),
        response=Response(
            Answer(colour=0.5), Answer(6.0, 20.0, breath_db=12.0), Answer(colour=-1.0)
        ),
        velocity_exponent=1.0,
        level_db=-3.0,
        trims_db=(-2.0, 0.0, 1.5),
        family="pipe",
        lowest_hz=110.0,
        highest_hz=1318.5,
        about="what a stopped pipe does, and more",
        source="invented",
    )


def test_every_field_of_an_fm_voice_is_read() -> None:
    dying = Envelope(decay_s=3.0, sustain_db=-100.0)
    assert read_voice(parse_document(BUOY, "buoy.yaml")) == FmVoice(
        "buoy",
        (
            Operator(1.0, level_db=0.0, feedback=0.3, phase=0.25, envelope=dying),
            Operator(Interval.ratio(7, 2), velocity_db=12.0, key_db=-3.0),
            Operator(DegreesUp(9), level_db=-6.0),
            Operator(Interval.parse("9/31 of 2/1")),
            Operator(hz=33.5),
        ),
        (Path(2, 1, 1.5), Path(4, 3, 2.0), Path(5, 4, 0.5)),
        Vibrato(depth_cents=5.0),
        Response(timbre=Answer(colour=0.5)),
        velocity_exponent=2.0,
        level_db=-6.0,
        lowest_hz=55.0,
        highest_hz=1500.0,
    )


@as_found
@given(additive_voices() | fm_voices())
def test_what_is_written_reads_back_equal(voice: AdditiveVoice | FmVoice) -> None:
    mapping = voice_to_mapping(voice)
    for written in (
        value_of(mapping),
        parse_json(json.dumps(mapping), "ebb.jsonl:2"),
        parse_document(to_yaml(mapping), "ebb.yaml"),
    ):
        assert read_voice(written) == voice


@pytest.mark.parametrize(
    ("voice", "mapping"),
    [
        (AdditiveVoice("", (Partial(1.0),)), {"kind": "additive", "partials": {"count": 1}}),
        (
            AdditiveVoice(
                "a", tuple(Partial(n, 0.0, 2.0) for n in (1.0, 3.0)), second=SecondTable()
            ),
            {
                "name": "a",
                "kind": "additive",
                "partials": {"count": 2, "decay_s": 2.0, "odd_only": True},
                "second": {},
            },
        ),
        (
            AdditiveVoice("a", (Partial(2.0), Partial(3.0, -1.0)), response=Response()),
            {"name": "a", "kind": "additive",
             "partials": [{"ratio": 2.0}, {"ratio": 3.0, "level_db": -1.0}]},
        ),
        (
            FmVoice("b", (Operator(1.0, level_db=0.0), Operator(hz=2.0)), (Path(2, 1, 0.0),)),
            {
                "name": "b",
                "kind": "fm",
                "operators": [{"ratio": 1.0, "level_db": 0.0}, {"hz": 2.0}],
                "paths": [[2, 1, 0.0]],
            },
        ),
    ],
)  # fmt: skip
def test_only_what_is_not_as_usual_is_written(
    voice: AdditiveVoice | FmVoice, mapping: dict[str, object]
) -> None:
    assert voice_to_mapping(voice) == mapping


ADDITIVE = "kind: additive\npartials: {count: 2}\n"
FM = "kind: fm\noperators:\n- {ratio: 1, level_db: 0}\n- {ratio: 2}\n"  # paths follow in line 5


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("- 1\n", 1, "value: got 'a list'; allowed: a mapping of names to values"),
        ("partials: {count: 2}\n", 1, "kind: got 'nothing'; allowed: one of additive, fm"),
        ("\nkind: organ\n", 2, "kind: got 'organ'; allowed: one of additive, fm"),
        ("kind: additive\n", 1, "partials: got 'nothing'; allowed: this field is needed"),
        (ADDITIVE + "tilt: 3\n", 3, "unknown field: got 'tilt'; allowed: did you mean tilt_db"),
        (ADDITIVE + "operators: []\n", 3, "unknown field: got 'operators'; allowed: did you me"),
        (ADDITIVE + "tilt_db: -49\n", 3, "tilt_db: got -49.0; allowed: a number from -48 to 48"),
        (ADDITIVE + "tilt_db: .nan\n", 3, "tilt_db: got nan; allowed: a number from -48 to 48"),
        (ADDITIVE + "tilt_db: -.inf\n", 3, "tilt_db: got -inf; allowed: a number from -48 to"),
        (ADDITIVE + "tilt_db: 1e400\n", 3, "tilt_db: got inf; allowed: a number from -48 to"),
        (ADDITIVE + "tilt_db: steep\n", 3, "tilt_db: got 'steep'; allowed: a number from -48"),
        (ADDITIVE + "tilt_db: true\n", 3, "tilt_db: got True; allowed: a number from -48 to"),
        (ADDITIVE + "tilt_db:\n", 3, "tilt_db: got 'nothing'; allowed: a number from -48 to"),
        (ADDITIVE + "tilt_db: [3]\n", 3, "tilt_db: got 'a list'; allowed: a number from -48"),
        (ADDITIVE + "tilt_db: {a: 3}\n", 3, "tilt_db: got 'a mapping'; allowed: a number from"),
        (f"{ADDITIVE}tilt_db: {'9' * 40}\n", 3, "tilt_db: got 99999"),
        (ADDITIVE + "stretch: 1\n", 3, "stretch: got 1.0; allowed: a number from 1.5 to 3"),
        (ADDITIVE + "drawn: 2\n", 3, "drawn: got 2.0; allowed: a number from 0 to 1"),
        (ADDITIVE + "decay: {power: 1}\n", 3, "decay.seconds: got 'nothing'; allowed: this fie"),
        (ADDITIVE + "decay:\n  seconds: 1\n  power: 9\n", 5, "decay.power: got 9.0; allowed: a"),
        (ADDITIVE + "attack: 2\n", 3, "attack: got 2; allowed: a mapping with seconds, power"),
        (ADDITIVE + "second: {tilt: 2}\n", 3, "second: unknown field: got 'tilt'; allowed: did"),
        (
            ADDITIVE + "second:\n  levels_db:\n  - 0\n  - 25\n", 6,
            "second.levels_db item 2: got 25.0; allowed: a number from -120 to 24",
        ),
        (
            ADDITIVE + "second:\n  levels_db: [0, [1]]\n", 4,
            "second.levels_db item 2: got 'a list'; allowed: a number from -120 to 24",
        ),
        (
            ADDITIVE + "second: {levels_db: [0]}\n", 3,
            "second: got '1 levels'; allowed: 2, one for each partial",
        ),
        (ADDITIVE + "formants: {hz: 1}\n", 3, "formants: got 'a mapping'; allowed: a list"),
        (
            ADDITIVE + "formants:\n- {hz: 500, width_hz: 0, gain_db: 3}\n", 4,
            "formants item 1.width_hz: got 0.0; allowed: a number from 1 to 24000",
        ),
        (ADDITIVE + "formants: [{hz: 500}]\n", 3, "formants item 1.width_hz: got 'nothing'"),
        (f"{ADDITIVE}formants: {[1] * 9}\n", 3, "formants: got '9 items'; allowed: a list of"),
        (ADDITIVE + "drift: {cents: -1}\n", 3, "drift.cents: got -1.0; allowed: a number from"),
        (ADDITIVE + "unison: {count: 2.0}\n", 3, "unison.count: got 2.0; allowed: a whole num"),
        (ADDITIVE + "unison: {count: true}\n", 3, "unison.count: got True; allowed: a whole "),
        (ADDITIVE + "unison: {count: 17}\n", 3, "unison.count: got 17; allowed: a number from"),
        (ADDITIVE + "breath: {hz: 20}\n", 3, "breath.hz: got 20.0; allowed: a number from 40"),
        (ADDITIVE + "vibrato: {depth: 9}\n", 3, "vibrato: unknown field: got 'depth'; allowed"),
        (ADDITIVE + "response: {touch: {}}\n", 3, "response: unknown field: got 'touch'; allow"),
        (
            ADDITIVE + "response:\n  pressure:\n    level_db: loud\n", 5,
            "response.pressure.level_db: got 'loud'; allowed: a number from -48 to 48",
        ),
        (ADDITIVE + "envelope: {attack_s: 0}\n", 3, "envelope.attack_s: got 0.0; allowed: a nu"),
        (ADDITIVE + "name: 5\n", 3, "name: got 5; allowed: text"),
        ("kind: additive\npartials: {}\n", 2, "partials.count: got 'nothing'; allowed: this fi"),
        ("kind: additive\npartials: []\n", 2, "partials: got 0; allowed: 1 to 256 partials"),
        ("kind: additive\npartials: {count: 100000}\n", 2, "partials.count: got 100000; allow"),
        ("kind: additive\npartials: {count: 2, odd_only: 1}\n", 2, "partials.odd_only: got 1; "),
        ("kind: additive\npartials: {count: 2, decay_s: 0}\n", 2, "partials.decay_s: got 0.0; "),
        ("kind: additive\npartials:\n- ratio: 1\n- level_db: 1\n", 4, "partials item 2.ratio: "),
        ("kind: additive\npartials:\n- ratio: 3/2\n", 3, "partials item 1.ratio: got '3/2'; al"),
        (
            "kind: additive\npartials: {count: 100}\nunison: {count: 3}\n", 2,
            "partials: got '100 times 3'; allowed: 1 to 256 partials",
        ),
        ("kind: fm\n", 1, "operators: got 'nothing'; allowed: this field is needed"),
        ("kind: fm\noperators: []\n", 2, "operators: got 0; allowed: 1 to 6 operators"),
        (f"kind: fm\noperators: {[1] * 7}\n", 2, "operators: got '7 items'; allowed: a list of"),
        ("kind: fm\noperators: [{ratio: 1}]\n", 2, "operators: got 'none that is heard'; allow"),
        ("kind: fm\noperators: [{}]\n", 2, "operators item 1: got 'neither'; allowed: one of r"),
        ("kind: fm\noperators: [{ratio: 1, hz: 2}]\n", 2, "operators item 1: got 'both'; allow"),
        (
            "kind: fm\noperators:\n- ratio: loud\n", 3,
            "operators item 1.ratio: got 'loud'; allowed: a number, an interval such as 3/2 or",
        ),
        ("kind: fm\noperators:\n- ratio: 3/0\n", 3, "operators item 1.ratio: got '3/0'; allowed"),
        ("kind: fm\noperators:\n- ratio: true\n", 3, "operators item 1.ratio: got True; allowed"),
        ("kind: fm\noperators:\n- ratio: [1]\n", 3, "operators item 1.ratio: got 'a list'; all"),
        ("kind: fm\noperators:\n- ratio: .inf\n", 3, "operators item 1.ratio: got inf; allowed"),
        ("kind: fm\noperators:\n- ratio: 257/1\n", 3, "operators item 1.ratio: got '257/1'; al"),
        (
            "kind: fm\noperators:\n- ratio: {degree: 1.5}\n", 3,
            "operators item 1.ratio.degree: got 1.5; allowed: a whole number from -1024",
        ),
        (
            "kind: fm\noperators:\n- {ratio: 1, level_db: 0, feedback: 1.01}\n", 3,
            "operators item 1.feedback: got 1.01; allowed: a number from -1 to 1",
        ),
        (FM + "paths: [[2, 1]]\n", 5, "paths item 1: got '2 items'; allowed: [from, to, index]"),
        (FM + "paths: [[3, 1, 2]]\n", 5, "paths item 1 item 1: got 3; allowed: a whole number"),
        (FM + "paths:\n- [2, 1, 51]\n", 6, "paths item 1 item 3: got 51.0; allowed: a number f"),
        (FM + "paths:\n- [2, 1, [3]]\n", 6, "paths item 1 item 3: got 'a list'; allowed: a num"),
        (FM + "paths:\n- [2, 2, 1]\n", 6, "paths item 1 item 2: got 2; allowed: another operator"),
        (FM + "paths:\n- {from: 2, to: 1}\n", 6, "paths item 1.index: got 'nothing'; allowed: t"),
        (FM + "paths:\n- {from: 2, to: 0, index: 1}\n", 6, "paths item 1.to: got 0; allowed: a"),
        (FM + "paths:\n- {from: 1, to: 1, index: 1}\n", 6, "paths item 1.to: got 1; allowed: anot"),
        (FM + "paths:\n- {from: 2, to: 1, index: much}\n", 6, "paths item 1.index: got 'much'; a"),
        (FM + "paths:\n- [2, 1, 1]\n- [2, 1, 1]\n", 5, "paths: got '2 to 1 twice'; allowed: o"),
        (FM + "paths:\n- [2, 1, 1]\n- [1, 2, 1]\n", 5, "paths: got '1 -> 2 -> 1'; allowed: pa"),
        (FM, 4, "operators item 2: got 'neither heard nor moving one'; allowed: a level_db, or a"),
        (FM + "tilt_db: 3\n", 5, "unknown field: got 'tilt_db'; allowed: did you mean trims_"),
        (FM + "range: [1, 100]\n", 5, "range item 1: got 1; allowed: a number from 20 to 20000"),
        (FM + "range: [true, 100]\n", 5, "range item 1: got True; allowed: a number from 20"),
        (FM + "range: [100, .inf]\n", 5, "range item 2: got inf; allowed: a number from 20"),
        (FM + "range: [100, .nan]\n", 5, "range item 2: got nan; allowed: a number from 20"),
        (FM + "range: [C4, H5]\n", 5, "range item 2: got 'H5'; allowed: a note name such as"),
        (FM + "range: [C4, C20]\n", 5, "range item 2: got 'C20'; allowed: a number from 20"),
        (FM + "range: [C4, B3]\n", 5, "range item 2: got 'B3'; allowed: a note no lower than"),
        (FM + "range: [C4]\n", 5, "range: got 'a list'; allowed: [lowest, highest], each in"),
        (FM + "range: C4\n", 5, "range: got 'C4'; allowed: [lowest, highest], each in Hz"),
        (FM + "family: horn\n", 5, "family: got 'horn'; allowed: one of reed, pipe, bowed"),
        (FM + "trims_db: [0, 25]\n", 5, "trims_db item 2: got 25.0; allowed: a number from -24"),
        (FM + "trims_db: [true]\n", 5, "trims_db item 1: got True; allowed: a number from -24"),
        (FM + "trims_db: 3\n", 5, "trims_db: got 3; allowed: a list"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_by_line_and_field(text: str, line: int, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        read_voice(parse_document(text, "quay.yaml"))
    assert str(caught.value).startswith(f"quay.yaml:{line}: {message}")


def test_a_voice_takes_the_name_it_is_found_by_where_it_gives_none() -> None:
    assert read_voice(parse_document(ADDITIVE, "quay.yaml"), "quay").name == "quay"
    assert read_voice(parse_document(FM + "paths: [[2, 1, 1]]\nname: tide\n", ""), "quay").name == (
        "tide"
    )


def test_numbers_come_out_as_floats_however_they_were_written() -> None:
    voice = read_voice(parse_document(CHAPEL, "chapel.yaml"))
    assert isinstance(voice, AdditiveVoice)
    assert type(voice.tilt_db) is type(voice.second.levels_db[0]) is float  # type: ignore[union-attr]
    assert type(voice.unison.count) is int
    assert not math.isnan(voice.level_db)
