"""Envelopes as mappings: read back equal, short where they are usual, and strict."""

import json

import pytest
import yaml
from hypothesis import given

from envelope_strategies import envelopes
from meantide.envelope_files import envelope_to_mapping, read_envelope
from meantide.errors import InvalidValue
from meantide.reading import value_of
from meantide.voice.envelope import Curve, Envelope


@given(envelopes())
def test_what_is_written_reads_back_equal(envelope: Envelope) -> None:
    mapping = envelope_to_mapping(envelope)
    for copy in (mapping, json.loads(json.dumps(mapping)), yaml.safe_load(yaml.safe_dump(mapping))):
        assert read_envelope(value_of(copy)) == envelope


def test_only_what_is_not_as_usual_is_written() -> None:
    assert envelope_to_mapping(Envelope()) == {}
    # A fog signal for the harbour installation, invented.
    fog = Envelope(1.5, sustain_db=-100.0, decay_curve=Curve.DECIBEL, delay_s=0.25, repeats=True)
    assert envelope_to_mapping(fog) == {
        "delay_s": 0.25,
        "attack_s": 1.5,
        "sustain_db": -100.0,
        "decay_curve": "decibel",
        "repeats": True,
    }


def test_the_four_fields_that_older_files_hold_mean_what_they_meant() -> None:
    older = {"attack_s": 0.002, "decay_s": 1.0, "sustain_db": -3.0, "release_s": 1.2}
    assert read_envelope(value_of(older)) == Envelope(0.002, 1.0, -3.0, 1.2)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"attack": 1.0}, "envelope: unknown field: got 'attack'"),
        ({"delay_s": -1}, "envelope.delay_s: got -1.0; allowed: a number from 0 to 120"),
        ({"hold_s": True}, "envelope.hold_s: got True"),
        ({"decay_s": float("nan")}, "envelope.decay_s: got nan"),
        (
            {"attack_curve": "approach"},
            "envelope.attack_curve: got 'approach'; allowed: one of eased, level, decibel",
        ),
        ({"decay_curve": 3}, "envelope.decay_curve: got 3"),
        ({"release_curve": ["level"]}, "envelope.release_curve: got 'a list'"),
        ({"repeats": 1}, "envelope.repeats: got 1; allowed: true or false"),
    ],
)
def test_what_is_wrong_is_refused_by_place_and_name(change: object, message: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        read_envelope(value_of(change, "ebb.yaml:7", "envelope"))
    assert str(caught.value).startswith(f"ebb.yaml:7: {message}")
