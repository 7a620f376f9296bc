"""Hypothesis strategies: voices of both kinds, with all they may have."""

from hypothesis import Phase, settings
from hypothesis import strategies as st

from envelope_strategies import envelopes
from interval_strategies import intervals
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
from meantide.voice.fm_description import DegreesUp, FmVoice, Operator, Path
from meantide.voice.purpose import FAMILIES
from meantide.voice.touch import Answer, Response, Vibrato

as_found = settings(phases=(Phase.explicit, Phase.reuse, Phase.generate))
"""For tests of whole voices: of a hundred numbers each, they take minutes to shrink."""

texts = st.just("") | st.text(
    st.characters(categories=["L", "N", "P", "Zs"], include_characters="\U0001f514"), max_size=20
).filter(lambda text: text.isprintable()).map(str.strip)

times = st.none() | st.floats(0.01, 60.0)
tilts = {"tilt_db": st.floats(-48.0, 48.0), "even_db": st.floats(-60.0, 24.0)}
laws = st.none() | st.builds(Law, st.floats(0.001, 600.0), st.floats(-4.0, 4.0))
vibratos = st.builds(
    Vibrato, st.floats(0.01, 20.0), st.floats(0.0, 1200.0), st.floats(0.0, 60.0), st.floats(0.0, 9)
)
answers = st.just(Answer()) | st.builds(
    Answer,
    st.floats(-48.0, 48.0),
    st.floats(-1200.0, 1200.0),
    st.floats(-4.0, 4.0),
    st.floats(-48.0, 48.0),
)
responses = st.builds(Response, answers, answers, answers)
common = {
    "vibrato": st.just(Vibrato()) | vibratos,
    "response": responses,
    "velocity_exponent": st.just(1.5) | st.floats(0.0, 4.0),
    "level_db": st.floats(-60.0, 12.0),
    "trims_db": st.just(()) | st.lists(st.floats(-24.0, 24.0), max_size=5).map(tuple),
    "family": st.sampled_from(("", *FAMILIES)),
    "lowest_hz": st.just(20.0),
    "highest_hz": st.just(2000.0) | st.floats(20.0, 20e3),
    "about": texts,
    "source": texts,
}

lists_of_partials = st.lists(
    st.builds(Partial, st.floats(0.01, 1024.0), st.floats(-120.0, 24.0), times, times),
    min_size=1,
    max_size=6,
).map(tuple)
series_of_partials = st.builds(
    lambda count, step, decay_s, attack_s: tuple(
        Partial(1.0 + step * n, 0.0, decay_s, attack_s) for n in range(count)
    ),
    st.integers(1, 16),
    st.sampled_from([1, 2, 3]),
    times,
    times,
)


@st.composite
def additive_voices(draw: st.DrawFn) -> AdditiveVoice:
    """Draw additive voices of up to 16 partials."""
    partials = draw(lists_of_partials | series_of_partials)
    levels = st.floats(-120.0, 24.0)
    tables = st.lists(levels, min_size=len(partials), max_size=len(partials)).map(tuple)
    seconds = st.builds(SecondTable, st.just(()) | tables, **tilts)
    formants = st.builds(
        Formant, st.floats(10.0, 24e3), st.floats(1.0, 24e3), st.floats(-48.0, 48.0)
    )
    return draw(
        st.builds(
            AdditiveVoice,
            texts,
            st.just(partials),
            st.just(AdditiveVoice("", partials).envelope) | envelopes(),
            **tilts,
            stretch=st.just(2.0) | st.floats(1.5, 3.0),
            inharmonicity=st.floats(0.0, 0.1),
            drawn=st.floats(0.0, 1.0),
            decay=laws,
            attack=laws,
            second=st.none() | st.just(SecondTable()) | seconds,
            colour=st.floats(0.0, 1.0),
            formants=st.lists(formants, max_size=8).map(tuple),
            drift=st.builds(
                Drift, st.floats(0.0, 100.0), st.floats(0.0, 12.0), st.floats(0.001, 10.0)
            ),
            unison=st.just(Unison()) | st.builds(Unison, st.integers(1, 16), st.floats(0.0, 200.0)),
            breath=st.just(Breath())
            | st.builds(Breath, st.floats(-120.0, 12.0), st.floats(40.0, 20e3), st.floats(0.5, 10)),
            **common,
        )
    )


ratios = (
    st.floats(0.01, 256.0)
    | intervals(3).filter(lambda interval: -6.6 < interval.octaves < 8.0)
    | st.builds(DegreesUp, st.integers(-1024, 1024))
)


def operators(*, heard: bool) -> st.SearchStrategy[Operator]:
    """Draw operators at ratios and at fixed frequencies."""
    rest = {
        "level_db": st.floats(-120.0, 24.0) if heard else st.none(),
        "envelope": envelopes(),
        "feedback": st.just(0.0) | st.floats(-1.0, 1.0),
        "phase": st.floats(-1.0, 1.0),
        "velocity_db": st.floats(0.0, 96.0),
        "key_db": st.floats(-48.0, 12.0),
    }
    return st.builds(Operator, ratio=ratios, **rest) | st.builds(
        Operator, hz=st.floats(0.01, 20e3), **rest
    )


@st.composite
def fm_voices(draw: st.DrawFn) -> FmVoice:
    """Draw FM voices of one to six operators, numbered in any order, moving each other or not."""
    numbers = draw(st.permutations(range(1, draw(st.integers(1, 6)) + 1)))
    chosen: dict[int, Operator] = {}
    paths = []
    for place, number in enumerate(numbers):
        targets = draw(st.sets(st.sampled_from(numbers[:place]))) if place else set()
        chosen[number] = draw(operators(heard=not targets or draw(st.booleans())))
        paths += [Path(number, target, draw(st.floats(0.0, 50.0))) for target in sorted(targets)]
    return draw(
        st.builds(
            FmVoice,
            texts,
            st.just(tuple(chosen[number] for number in sorted(chosen))),
            st.just(tuple(paths)),
            **common,
        )
    )
