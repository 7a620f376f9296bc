"""Tunings: a scale, an anchor and a layout together, from key, name, degree or interval to Hz."""

import math
from dataclasses import dataclass, field

from meantide.errors import InvalidValue
from meantide.pitch.anchor import Anchor
from meantide.pitch.interval import Interval
from meantide.pitch.layout import KeyMap, Layout, LinearLayout
from meantide.pitch.notation import degree_of, name_of
from meantide.pitch.note_name import NoteName
from meantide.pitch.scale import Scale

MAX_OCTAVES = 64.0  # from the anchor; further away there is no sound, only overflow


@dataclass(frozen=True, slots=True)
class Tuning:
    """A scale, the anchor that gives it frequencies and the layout that gives it keys.

    Changing the anchor multiplies every frequency by one factor; changing the scale moves every
    note but the anchored one. Raises InvalidValue (or NotFound) if the scale does not have the
    anchor's note, or what the layout needs. Every method is plain arithmetic, safe in the audio
    callback, and raises InvalidValue for a pitch over 64 octaves from the anchor.
    """

    scale: Scale
    anchor: Anchor
    layout: Layout = field(default_factory=LinearLayout)
    anchor_degree: int = field(init=False, compare=False)
    """The degree whose frequency is the anchor's."""
    _anchor_octaves: float = field(init=False, repr=False, compare=False)
    _keys: KeyMap = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        anchor = self.anchor
        degree = degree_of(self.scale, anchor.note) if anchor.note is not None else anchor.degree
        assert degree is not None  # noqa: S101  an anchor has one of the two
        object.__setattr__(self, "anchor_degree", degree)
        object.__setattr__(self, "_anchor_octaves", self.scale.octaves(degree))
        object.__setattr__(self, "_keys", self.layout.on(self.scale))

    def hz_of_degree(self, degree: int) -> float:
        """Return the frequency of a degree in Hz."""
        octaves = self.scale.octaves(degree) - self._anchor_octaves
        if not -MAX_OCTAVES <= octaves <= MAX_OCTAVES:
            raise InvalidValue("degree", degree, f"degrees within {MAX_OCTAVES:g} octaves")
        return self.anchor.hz * math.exp2(octaves)

    def hz_of_key(self, key: int) -> float:
        """Return the frequency in Hz that a key plays through the layout.

        Raises InvalidValue for a key that plays nothing.
        """
        degree = self._keys.degree(key)
        if degree is None:
            raise InvalidValue(
                "key", key, f"a key that plays; in {self.layout.label} this one plays nothing"
            )
        return self.hz_of_degree(degree)

    def degree_of_key(self, key: int) -> int | None:
        """Return the degree that a key plays through the layout; None for one that is silent."""
        return self._keys.degree(key)

    def hz_of_name(self, name: NoteName | str) -> float:
        """Return the frequency of a note name in Hz; raises as `degree_of_name`."""
        return self.hz_of_degree(self.degree_of_name(name))

    def hz_of_interval(self, interval: Interval) -> float:
        """Return the frequency in Hz of an interval above the anchored note (or below it)."""
        if not -MAX_OCTAVES <= interval.octaves <= MAX_OCTAVES:
            raise InvalidValue("interval", str(interval), f"less than {MAX_OCTAVES:g} octaves")
        return self.anchor.hz * interval.ratio_value

    def degree_of_name(self, name: NoteName | str) -> int:
        """Return the degree a note name stands for.

        Raises InvalidValue if it is no note name or the scale has none, NotFound if the scale
        lists its names without it.
        """
        return degree_of(self.scale, NoteName.parse(name) if isinstance(name, str) else name)

    def name_of_degree(self, degree: int) -> NoteName | None:
        """Return the simplest note name of a degree, or None if it has none."""
        return name_of(self.scale, degree)

    def interval_of_degree(self, degree: int) -> Interval:
        """Return the exact interval of a degree above the anchored note; not for the callback."""
        return self.scale.interval(degree) - self.scale.interval(self.anchor_degree)
