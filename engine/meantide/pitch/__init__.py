"""Pure tuning arithmetic: exact intervals, scales, note names, anchors, layouts, tunings."""

from meantide.pitch.anchor import Anchor
from meantide.pitch.interval import OCTAVE, UNISON, Interval
from meantide.pitch.layout import GridLayout, KeyMap, Layout, LinearLayout, TableLayout
from meantide.pitch.notation import degree_of, name_of
from meantide.pitch.note_name import NoteName
from meantide.pitch.repeating import KeyboardLayout, RepeatLayout
from meantide.pitch.scale import Scale
from meantide.pitch.tuning import Tuning

__all__ = [
    "OCTAVE",
    "UNISON",
    "Anchor",
    "GridLayout",
    "Interval",
    "KeyMap",
    "KeyboardLayout",
    "Layout",
    "LinearLayout",
    "NoteName",
    "RepeatLayout",
    "Scale",
    "TableLayout",
    "Tuning",
    "degree_of",
    "name_of",
]
