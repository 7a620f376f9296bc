"""What `meantide presets` knows of each entry of the catalogue, computed from the entry itself."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from meantide.catalogue import Catalogue
from meantide.errors import MeantideError
from meantide.pitch import Anchor, Interval, Layout, Scale, Tuning
from meantide.pitch.nearness import nearest_degree
from meantide.voice.description import AdditiveVoice
from meantide.voice.voices import Voice

TARGETS = tuple(Interval.ratio(*ratio) for ratio in ((3, 2), (5, 4), (7, 4)))
"""What scales are measured against where nothing else is asked for."""
_HERE = Tuning(Scale.equal(12), Anchor.parse("A4=440"))

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Preset:
    """One entry of the catalogue; `error` tells what is wrong with a file that cannot be read.

    `facts` are those of its kind, as JSON takes them; empty where there is an error.
    """

    kind: str
    name: str
    about: str
    source: str
    file: str
    error: str
    facts: Facts = field(default_factory=dict)

    def matches(self, words: Sequence[str]) -> bool:
        """Tell whether every word stands somewhere in what is said of it, in any case."""
        facts = (self.facts.get(key) for key in ("place", "year", "family"))
        told = (self.name, self.about, self.source, *facts)
        text = " ".join(str(each) for each in told if each is not None).casefold()
        return all(word.casefold() in text for word in words)

    def serves(self, lowest_hz: float, highest_hz: float) -> bool:
        """Tell whether it is a voice that is meant for all notes between two."""
        if "lowest_hz" not in self.facts:
            return False
        slack = 1.0 + 1e-9  # the same note may have been reckoned another way
        low, high = self.facts["lowest_hz"], self.facts["highest_hz"]
        return bool(low <= lowest_hz * slack and highest_hz <= high * slack)

    def to_mapping(self) -> dict[str, Any]:
        """Return the entry as JSON takes it."""
        plain = {key: getattr(self, key) for key in self.__slots__ if key != "facts"}
        return plain | dict(self.facts)


@dataclass(frozen=True, slots=True)
class Approximation:
    """The degree of a scale nearest to a target above degree 0; positive errors lie above it."""

    target: str
    degree: int
    error_cents: float


def list_presets(
    catalogue: Catalogue,
    kind: str,
    targets: Sequence[Interval] = TARGETS,
    weights: Sequence[Fraction] | None = None,
) -> list[Preset]:
    """Return the presets of one kind; one that cannot be read is listed with its error.

    Scales are measured against `targets`, with a weight for each. Anchors come in order of pitch,
    the rest in order of name.
    """
    readers: dict[str, Callable[[Path], Facts]] = {
        "scales": lambda file: scale_facts(catalogue.scale(file), targets, weights),
        "anchors": lambda file: anchor_facts(catalogue.anchor(file)),
        "layouts": lambda file: layout_facts(catalogue.layout(file)),
        "voices": lambda file: voice_facts(catalogue.voice(file)),
    }
    found = []
    for name in catalogue.names(kind):
        file = catalogue.find(kind, name)
        about = source = error = ""
        facts: Facts = {}
        try:
            labels = dict(catalogue.definition(kind, file).value.entries())
            about = labels["about"].text() if "about" in labels else ""
            source = labels["source"].text() if "source" in labels else ""
            facts = readers[kind](file)
        except MeantideError as problem:
            error = str(problem)
        found.append(Preset(kind, name, about, source, str(file), error, facts))
    return sorted(found, key=_height) if kind == "anchors" else found


def scale_facts(
    scale: Scale,
    targets: Sequence[Interval] = TARGETS,
    weights: Sequence[Fraction] | None = None,
) -> Facts:
    """Return a scale's size, its period, and how near its degrees come to each target.

    `error_cents` is the weighted RMS √(Σ w·e² / Σ w) of the errors e, all weights being 1 if none
    are given. Raises InvalidValue where a target lies beyond the degrees a scale can have.
    """
    nearest = []
    for target in targets:
        degree, error = nearest_degree(scale, target)
        nearest.append(Approximation(str(target), degree, error.cents))
    shares = [float(weight) for weight in weights or [Fraction(1)] * len(targets)]
    squares = sum(w * each.error_cents**2 for w, each in zip(shares, nearest, strict=True))
    return {
        "size": scale.size,
        "period": str(scale.period),
        "equal": scale.steps is None,
        "nearest": [asdict(each) for each in nearest],
        "error_cents": math.sqrt(squares / sum(shares)),
    }


def anchor_facts(anchor: Anchor) -> Facts:
    """Return an anchor's note or degree, where its A4 lies from 440 Hz, and where it comes from.

    `cents_from_a440` goes through twelve equal notes; an anchor by degree names no note and has
    none.
    """
    cents = None
    if anchor.note is not None:
        here = _HERE.hz_of_name(anchor.note)
        cents = 1200 * math.log2(anchor.hz / here)
    return {
        "note": None if anchor.note is None else str(anchor.note),
        "degree": anchor.degree,
        "hz": anchor.hz,
        "cents_from_a440": cents,
        "celsius": anchor.celsius,
        "year": anchor.year,
        "place": anchor.place or None,
    }


def layout_facts(layout: Layout) -> Facts:
    """Return what kind of layout it is."""
    return {"layout_kind": layout.to_mapping()["kind"]}


def voice_facts(voice: Voice) -> Facts:
    """Return what kind of voice it is, of how many partials or operators, and what for."""
    purpose = {
        "family": voice.family or None,
        "lowest_hz": voice.lowest_hz,
        "highest_hz": voice.highest_hz,
    }
    if isinstance(voice, AdditiveVoice):
        return {"voice_kind": "additive", "partials": len(voice.partials), **purpose}
    return {"voice_kind": "fm", "operators": len(voice.operators), **purpose}


def _height(preset: Preset) -> tuple[bool, float]:
    """Return a key that puts anchors in order of pitch, and those without one last."""
    cents = preset.facts.get("cents_from_a440")
    return (cents is None, cents or 0.0)
