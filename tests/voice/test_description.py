"""Additive voices: where their partials lie and how strong they are."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meantide.errors import InvalidValue
from meantide.voice.description import MOST_PARTIALS, AdditiveVoice, Partial
from meantide.voice.prepared import FADE_TO, nyquist_fade
from meantide.voice.prepared import prepare_additive as prepare

# Grand piano, A4: measured partials in Hz and the fitted inharmonicity (standards.md §8, UAH).
PIANO_B = 0.00075145
PIANO_MODEL_CENTS = (0.0, 1.95, 5.18, 9.70, 15.46, 22.46, 30.65, 40.01)


def harmonics(count: int, **more: float) -> AdditiveVoice:
    return AdditiveVoice("test", tuple(Partial(float(n)) for n in range(1, count + 1)), **more)


def test_stiff_string_partials_lie_where_fletcher_puts_them() -> None:
    voice = harmonics(8, inharmonicity=PIANO_B)
    for n, (partial, cents) in enumerate(
        zip(voice.sounding_partials(), PIANO_MODEL_CENTS, strict=True), start=1
    ):
        assert 1200 * math.log2(partial.ratio / n) == pytest.approx(cents, abs=0.006)  # 2 places


def test_first_partial_keeps_the_pitch_asked_for_however_stiff_the_string() -> None:
    assert harmonics(4, inharmonicity=0.01).sounding_partials()[0].ratio == 1.0


def test_tilt_falls_by_the_octave() -> None:
    levels = [p.level_db for p in harmonics(8, tilt_db=-6.0).sounding_partials()]
    assert levels[1] - levels[0] == pytest.approx(-6.0)
    assert levels[7] - levels[0] == pytest.approx(-18.0)


@given(
    st.lists(st.floats(-60, 20), min_size=1, max_size=MOST_PARTIALS),
    st.floats(-12, 6),
)
def test_powers_add_up_to_a_full_scale_sine(levels: list[float], tilt: float) -> None:
    partials = tuple(Partial(1.0 + n / 8, level) for n, level in enumerate(levels))
    sounding = AdditiveVoice("test", partials, tilt_db=tilt).sounding_partials()
    power = sum(10 ** (p.level_db / 10) for p in sounding)
    assert power == pytest.approx(1.0, abs=1e-9)  # those clipped at -120 dB add nothing


def test_partials_fade_to_exactly_nothing_below_nyquist() -> None:
    shares = np.array([0.5, 0.89, 0.94, FADE_TO, 1.0, 3.0])
    fades = nyquist_fade(shares / 2)
    assert fades[:2].tolist() == [1.0, 1.0]
    assert fades[2] == pytest.approx(0.5)
    assert fades[3:].tolist() == [0.0, 0.0, 0.0]


def test_prepared_tables_are_read_only_and_padded_with_silence() -> None:
    prepared = prepare(harmonics(20), 48_000)
    assert prepared.count == 32
    assert not prepared.levels[20:].any()
    with pytest.raises(ValueError, match="read-only"):
        prepared.levels[0] = 1.0


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"partials": ()}, "partials"),
        ({"partials": (Partial(1.0),) * (MOST_PARTIALS + 1)}, "partials"),
        ({"inharmonicity": -0.1}, "inharmonicity"),
        ({"inharmonicity": math.nan}, "inharmonicity"),
        ({"tilt_db": math.inf}, "tilt_db"),
        ({"velocity_exponent": True}, "velocity_exponent"),
    ],
)
def test_values_out_of_range_are_refused_by_name(change: dict[str, object], field: str) -> None:
    with pytest.raises(InvalidValue) as caught:
        AdditiveVoice(**{"name": "test", "partials": (Partial(1.0),), **change})  # type: ignore[arg-type]
    assert caught.value.field == field
