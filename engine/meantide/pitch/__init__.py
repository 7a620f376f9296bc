"""Pure tuning arithmetic: exact intervals, scales, note names, anchors, layouts, tunings."""

from meantide.pitch.anchor import Anchor
from meantide.pitch.interval import OCTAVE, UNISON, Interval
from meantide.pitch.layout import Layout, LinearLayout
from meantide.pitch.notation import degree_of, name_of
from meantide.pitch.note_name import NoteName
from meantide.pitch.scale import Scale
from meantide.pitch.tuning import Tuning

__all__ = [
    "OCTAVE",
    "UNISON",
    "Anchor",
    "Interval",
    "Layout",
    "LinearLayout",
    "NoteName",
    "Scale",
    "Tuning",
    "degree_of",
    "name_of",
]
