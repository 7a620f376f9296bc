"""The numbers of a voice by name: all can be set, and nothing else can."""

import math

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from meantide.errors import InvalidValue, NotFound
from meantide.pitch import Interval
from meantide.voice.description import (
    AdditiveVoice,
    Breath,
    Formant,
    Law,
    Partial,
    SecondTable,
    Unison,
)
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator, Path
from meantide.voice.parameters import parameters, with_parameter
from meantide.voice.touch import Answer, Response, Vibrato
from voice_strategies import additive_voices, as_found, fm_voices

# Voices of Saltmarsh Quay's harbour installation, invented.
FOG = AdditiveVoice(
    "fog signal",
    (Partial(1.0), Partial(2.5, -7.0, decay_s=1.25)),
    decay=Law(2.0, -0.5),
    second=SecondTable((-1.0, -2.0)),
    formants=(Formant(600.0, 80.0, 12.0), Formant(1_400.0, 120.0, 6.0)),
    unison=Unison(3, 8.0),
    breath=Breath(-30.0),
    vibrato=Vibrato(4.5, 20.0),
    response=Response(pressure=Answer(level_db=6.0)),
    about="invented",
)
BUOY = FmVoice(
    "buoy",
    (
        Operator(1.0, level_db=-1.0, feedback=0.25),
        Operator(Interval.ratio(7, 2)),
        Operator(DegreesUp(7), key_db=-6.0),
        Operator(hz=33.0),
    ),
    (Path(2, 1, 1.5), Path(3, 1, 2.5), Path(4, 3, 0.5)),
)

any_voices = additive_voices() | fm_voices()
voices_and_names = any_voices.flatmap(
    lambda voice: st.tuples(st.just(voice), st.sampled_from(sorted(parameters(voice))))
)


@pytest.mark.parametrize(
    ("voice", "name", "value"),
    [
        (FOG, "tilt_db", 0.0),
        (FOG, "partial.2.level_db", -7.0),
        (FOG, "partial.2.decay_s", 1.25),
        (FOG, "decay.power", -0.5),
        (FOG, "second.levels_db.2", -2.0),
        (FOG, "formant.2.hz", 1_400.0),
        (FOG, "drift.cents", 0.0),
        (FOG, "unison.spread_cents", 8.0),
        (FOG, "breath.level_db", -30.0),
        (FOG, "vibrato.depth_cents", 20.0),
        (FOG, "response.pressure.level_db", 6.0),
        (FOG, "envelope.attack_s", 0.01),
        (FOG, "velocity_exponent", 1.5),
        (BUOY, "operator.1.ratio", 1.0),
        (BUOY, "operator.1.level_db", -1.0),
        (BUOY, "operator.1.feedback", 0.25),
        (BUOY, "operator.3.key_db", -6.0),
        (BUOY, "operator.4.hz", 33.0),
        (BUOY, "operator.4.envelope.release_s", 0.1),
        (BUOY, "path.3.index", 0.5),
        (BUOY, "level_db", 0.0),
    ],
)
def test_numbers_have_the_names_of_the_way_to_them(
    voice: AdditiveVoice | FmVoice, name: str, value: float
) -> None:
    assert parameters(voice)[name] == value


@pytest.mark.parametrize(
    ("voice", "name"),
    [
        (FOG, "name"),
        (FOG, "about"),
        (FOG, "unison.count"),
        (FOG, "partial.1.decay_s"),  # it has none: the law gives it
        (FOG, "partial.0.ratio"),
        (FOG, "partial.3.ratio"),
        (FOG, "partials"),
        (FOG, "attack.seconds"),
        (FOG, "envelope.repeats"),
        (FOG, "envelope.attack_curve"),
        (BUOY, "operator.1.hz"),
        (BUOY, "operator.2.ratio"),  # an interval
        (BUOY, "operator.2.ratio.octaves"),
        (BUOY, "operator.2.level_db"),  # it is not heard
        (BUOY, "operator.3.ratio"),  # a degree
        (BUOY, "operator.3.ratio.degrees"),
        (BUOY, "path.1.source"),
        (BUOY, "path.1"),
        (BUOY, ""),
        (BUOY, "."),
    ],
)
def test_the_build_of_a_voice_and_what_is_not_there_cannot_be_set(
    voice: AdditiveVoice | FmVoice, name: str
) -> None:
    assert name not in parameters(voice)
    with pytest.raises(NotFound):
        with_parameter(voice, name, 1.0)


@as_found
@given(any_voices)
def test_every_number_set_to_what_it_is_gives_an_equal_voice(
    voice: AdditiveVoice | FmVoice,
) -> None:
    for name, value in parameters(voice).items():
        assert with_parameter(voice, name, value) == voice


@as_found
@given(voices_and_names)
def test_setting_one_number_moves_that_one_only(
    chosen: tuple[AdditiveVoice | FmVoice, str],
) -> None:
    voice, name = chosen
    before = parameters(voice)
    value = before[name] * 0.5 if before[name] else 0.25
    try:
        after = with_parameter(voice, name, value)
    except InvalidValue:
        reject()  # half of it is below what it may be
    assert parameters(after) == before | {name: value}
    assert type(after) is type(voice)
    assert (after.name, after.about, after.source) == (voice.name, voice.about, voice.source)


@as_found
@given(
    voices_and_names,
    st.sampled_from([math.nan, math.inf, -math.inf, "1.0", True, None, 1e300, 10**400, [1.0]]),
)
def test_what_is_no_number_is_refused_and_changes_nothing(
    chosen: tuple[AdditiveVoice | FmVoice, str], value: object
) -> None:
    voice, name = chosen
    before = parameters(voice)
    with pytest.raises(InvalidValue) as caught:
        with_parameter(voice, name, value)  # type: ignore[arg-type]
    assert (caught.value.field, caught.value.got) == (name, value)
    assert caught.value.allowed.startswith("a number from")
    assert parameters(voice) == before


@pytest.mark.parametrize(
    ("voice", "name", "value"),
    [(FOG, "partial.2.decay_s", None), (BUOY, "operator.1.ratio", Interval.ratio(3, 2))],
)
def test_a_number_stays_one_even_where_a_file_may_say_something_else(
    voice: AdditiveVoice | FmVoice, name: str, value: object
) -> None:
    with pytest.raises(InvalidValue, match=r"allowed: a number from 0\.01 to"):
        with_parameter(voice, name, value)  # type: ignore[arg-type]


def test_refusals_say_what_is_allowed_and_what_is_near() -> None:
    with pytest.raises(InvalidValue, match=r"^drift\.cents: got -1\.0; allowed: a number from 0 "):
        with_parameter(FOG, "drift.cents", -1.0)
    with pytest.raises(InvalidValue, match=r"^path\.2\.index: got 51; allowed: a number from 0 to"):
        with_parameter(BUOY, "path.2.index", 51)
    with pytest.raises(NotFound, match=r"^parameter: got 'vibrato\.depth'; allowed: did you mean"):
        with_parameter(FOG, "vibrato.depth", 1.0)
