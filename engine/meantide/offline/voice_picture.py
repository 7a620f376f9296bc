"""A voice as a picture: one note of it over time and frequency, its level, and its partials.

The panels share their axes: time runs under the level and the spectrogram, frequency beside the
spectrogram and the spectrum, and the spectrum's dB are also the key to the colours. The colours
(cividis: Nuñez, Anderton and Renslow, PLOS ONE 13 (2018) e0199239, from memory) grow lighter
evenly, and are the same to readers who do not tell red from green; copied in grey they read alike.
"""

import math
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.label_places import spread
from meantide.offline.partials import Reals
from meantide.offline.spectrogram import Spectrogram, on_log_axis, spectrogram
from meantide.offline.voice_components import Component, components_of
from meantide.offline.voice_study import STEADY_S, VoiceStudy
from meantide.offline.voice_words import words_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = "cividis"
SPAN_DB = 80.0
_INCHES = (11.0, 7.6)
_LEFT, _TIME_WIDTH, _SPECTRUM, _SPECTRUM_WIDTH = 0.075, 0.475, 0.575, 0.17
_BOTTOM, _HEIGHT, _LEVEL, _LEVEL_HEIGHT = 0.115, 0.565, 0.70, 0.145
_COLUMNS = (0.835, 0.91, 0.975)  # where the partials' Hz, cents and dB end
_KEY_HEIGHT = 0.014
_LABEL_POINTS, _LABEL_GAP_POINTS = 8.0, 11.0
_NAME_POINTS, _NAME_ROOM, _BOLD_WIDTH = 17.0, 0.48, 0.72  # of the page; of a letter's height
_ABOUT_WIDTH, _ABOUT_LINES = 115, 2  # letters, lines
_FACTS_TOP, _FACTS_LINE, _FACTS_WIDTH, _FACTS_LINES = 0.847, 0.0178, 62, 8
_ROOM_AFTER = 0.12  # of the time held, for the words beside its end
_TICKS_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
_PERIODS = 24.0  # of the note, in a spectrogram's window
_SHORTEST_S, _LONGEST_S = 0.04, 0.25
_BANDS, _FRAMES = 480, 600
_RULE: dict[str, Any] = {"color": "0.35", "linewidth": 0.9, "linestyle": (0, (4, 2))}


def window_s(hz: float) -> float:
    """Return the length of the window, in s, that suits a note."""
    return min(max(_PERIODS / hz, _SHORTEST_S), _LONGEST_S)


def draw_voice(path: Path, study: VoiceStudy) -> None:
    """Draw what was found of a voice to a PNG, SVG or PDF file.

    Raises InvalidValue for another ending, or a file that cannot be written.
    """
    check_figure_path(path)
    save_figure(path, figure_of(study))


def figure_of(study: VoiceStudy) -> "Figure":
    """Return the picture."""
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    with our_style():
        figure = Figure(figsize=_INCHES, facecolor="white")
        _write_head(figure, study)
        _write_facts(figure, study)
        top_db = 10.0 * math.ceil(_loudest_db(study) / 10.0)
        low, high = _frequencies(study)
        picture = on_log_axis(_spectrogram(study), low, high, _BANDS)
        middle = figure.add_axes((_LEFT, _BOTTOM, _TIME_WIDTH, _HEIGHT))
        _draw_spectrogram(middle, picture, study, top_db)
        above = figure.add_axes((_LEFT, _LEVEL, _TIME_WIDTH, _LEVEL_HEIGHT), sharex=middle)
        _draw_level(above, study)
        beside = figure.add_axes((_SPECTRUM, _BOTTOM, _SPECTRUM_WIDTH, _HEIGHT), sharey=middle)
        components = _components_above(study, top_db - SPAN_DB)
        _draw_spectrum(beside, study, components, top_db)
        _draw_key(figure)
        _write_components(figure, beside, study, components)
    return figure


def _components_above(study: VoiceStudy, floor_db: float) -> list[Component]:
    """Return the components that were measured and are seen in the spectrum."""
    least_db = floor_db - study.spectrum.strongest_db
    return [
        each
        for each in components_of(study)
        if each.level_db is not None and each.level_db > least_db
    ]


def _loudest_db(study: VoiceStudy) -> float:
    return max(study.spectrum.strongest_db, study.course.loudest_db)


def _frequencies(study: VoiceStudy) -> tuple[float, float]:
    """Return the ends of the frequency axis: what sounds lies well within, up to half the rate."""
    lines = study.spectrum.hz
    lowest = float(lines.min(initial=study.struck.hz))
    highest = max(float(lines.max(initial=study.struck.hz)), study.highest_hz)
    half = study.struck.rate / 2.0
    return max(lowest / 1.6, 10.0), min(max(1.6 * highest, 3000.0), half)


def _spectrogram(study: VoiceStudy) -> Spectrogram:
    hop_s = max(len(study.samples) / study.struck.rate / _FRAMES, 1.0 / study.struck.rate)
    return spectrogram(study.samples, study.struck.rate, window_s(study.struck.hz), hop_s)


def _write_head(figure: "Figure", study: VoiceStudy) -> None:
    voice, struck = study.voice, study.struck
    points = min(_NAME_POINTS, _NAME_ROOM * _INCHES[0] * 72.0 / (len(voice.name) * _BOLD_WIDTH))
    figure.text(_LEFT, 0.965, voice.name, size=points, weight="bold", va="center", parse_math=False)
    told = textwrap.wrap(voice.about, _ABOUT_WIDTH, max_lines=_ABOUT_LINES, placeholder=" …")
    figure.text(
        _LEFT, 0.935, "\n".join(told), size=10, va="top", linespacing=1.25, parse_math=False
    )
    note = (
        f"{struck.name} = {struck.hz:.6g} Hz in {struck.tuning.scale.label}, "
        f"{struck.tuning.anchor.label}; velocity {struck.velocity:g}, held {struck.held_s:g} s"
    )
    figure.text(_COLUMNS[-1], 0.965, note, size=9, ha="right", va="center", parse_math=False)


def _write_facts(figure: "Figure", study: VoiceStudy) -> None:
    """Write what the table says beside the level, as much as there is room for."""
    lines: list[tuple[str, str]] = []
    rows = words_of(study)
    for number, (label, text) in enumerate(rows):
        wrapped = textwrap.wrap(text, _FACTS_WIDTH)
        room = _FACTS_LINES - (0 if number == len(rows) - 1 else 1)
        if len(lines) + len(wrapped) > room:
            lines.append(("", "… and more in its table"))
            break
        lines += zip([label, *[""] * (len(wrapped) - 1)], wrapped, strict=True)
    for number, (label, line) in enumerate(lines):
        place = _FACTS_TOP - number * _FACTS_LINE
        kind: dict[str, Any] = {"size": _LABEL_POINTS, "va": "top", "parse_math": False}
        figure.text(_SPECTRUM + 0.055, place, label, ha="right", color="0.35", **kind)
        figure.text(_SPECTRUM + 0.062, place, line, **kind)


def _draw_spectrogram(axes: "Axes", picture: Spectrogram, study: VoiceStudy, top_db: float) -> None:
    from matplotlib import colormaps  # noqa: PLC0415

    half = 0.5 * math.log2(picture.hz[1] / picture.hz[0])
    low, high = math.log2(picture.hz[0]) - half, math.log2(picture.hz[-1]) + half
    axes.imshow(
        picture.levels_db,
        extent=(0.0, float(picture.times_s[-1]), low, high),
        origin="lower",
        aspect="auto",
        cmap=COLOURS,
        vmin=top_db - SPAN_DB,
        vmax=top_db,
        interpolation="bilinear",
        interpolation_stage="data",
    )
    ticks = [hz for hz in _TICKS_HZ if low <= math.log2(hz) <= high]
    axes.set_yticks([math.log2(hz) for hz in ticks], [str(hz) for hz in ticks])
    axes.set_ylabel("frequency, Hz")
    axes.set_xlabel("time, seconds")
    axes.axvline(study.struck.held_s, **{**_RULE, "color": "white"})
    axes.set_facecolor(colormaps[COLOURS](0))
    end_s = max(float(picture.times_s[-1]), (1.0 + _ROOM_AFTER) * study.struck.held_s)
    axes.set_xlim(0.0, end_s)
    axes.set_xticks(np.arange(math.floor(end_s) + 1.0))


def _draw_level(axes: "Axes", study: VoiceStudy) -> None:
    course = study.course
    top_db = 10.0 * math.ceil((course.loudest_db + 1.0) / 10.0)
    axes.axvspan(study.spectrum.from_s, study.spectrum.from_s + STEADY_S, color="0.88", linewidth=0)
    axes.plot(course.times_s, course.levels_db, color="black", linewidth=1.3)
    axes.axvline(study.struck.held_s, **_RULE)
    for text, at_s, height, va in (
        ("let go", study.struck.held_s, 1.0, "top"),
        ("spectrum", study.spectrum.from_s, 0.0, "bottom"),
    ):
        axes.annotate(
            text,
            (at_s, height),
            (3.0, 3.0 - 7.0 * height),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="left",
            va=va,
            size=_LABEL_POINTS,
        )
    axes.set_ylim(top_db - SPAN_DB, top_db)
    axes.set_yticks(np.arange(top_db - SPAN_DB, top_db + 1.0, 20.0))
    axes.set_ylabel("level, dB")
    axes.tick_params(labelbottom=False)
    axes.grid(axis="y", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def _draw_spectrum(
    axes: "Axes", study: VoiceStudy, components: Sequence[Component], top_db: float
) -> None:
    low, high = (2.0**end for end in axes.get_ylim())
    rate = study.struck.rate
    found = spectrogram(study.steady, rate, STEADY_S, STEADY_S / 2.0)
    bands = on_log_axis(found, low, min(high, rate / 2.0), 2 * _BANDS)
    levels: Reals = bands.levels_db[:, 1].astype(np.float64)  # the frame with all of it
    places = np.log2(bands.hz)
    floor_db = top_db - SPAN_DB
    axes.fill_betweenx(places, floor_db, np.maximum(levels, floor_db), color="0.8", linewidth=0)
    strongest_db = study.spectrum.strongest_db
    ends = [max((each.level_db or 0.0) + strongest_db, floor_db) for each in components]
    axes.hlines([math.log2(each.hz) for each in components], floor_db, ends, "black", linewidth=1.2)
    axes.set_xlim(floor_db, top_db)
    axes.set_xticks(np.arange(floor_db, top_db + 1.0, 20.0))
    axes.tick_params(labelleft=False, pad=0.03 * 72.0 * _KEY_HEIGHT * _INCHES[1] + 9.0)
    axes.tick_params(axis="x", length=0.0)
    axes.set_xlabel("level, dB")
    axes.grid(axis="x", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def _draw_key(figure: "Figure") -> None:
    """Draw the colours along the spectrum's dB."""
    place = (_SPECTRUM, _BOTTOM - _KEY_HEIGHT, _SPECTRUM_WIDTH, _KEY_HEIGHT)
    axes = figure.add_axes(place)
    axes.imshow(np.linspace(0.0, 1.0, 256)[None, :], aspect="auto", cmap=COLOURS)
    axes.set_axis_off()


def _write_components(
    figure: "Figure", axes: "Axes", study: VoiceStudy, components: Sequence[Component]
) -> None:
    """Write the strongest partials beside their lines, as many as there is room for."""
    points = figure.get_figheight() * 72.0
    bottom, top = _BOTTOM * points, (_BOTTOM + _HEIGHT) * points
    room = int((top - bottom) / _LABEL_GAP_POINTS)
    shown = sorted(components, key=lambda each: -(each.level_db or 0.0))[:room]
    shown.sort(key=lambda each: each.hz)
    low, high = axes.get_ylim()
    marks = [bottom + (math.log2(e.hz) - low) / (high - low) * (top - bottom) for e in shown]
    half = _LABEL_GAP_POINTS / 2.0
    places = spread(marks, _LABEL_GAP_POINTS, bottom + half, top - half)
    edge = _SPECTRUM + _SPECTRUM_WIDTH
    for each, mark, place in zip(shown, marks, places, strict=True):
        _lead(
            figure, (edge, edge + 0.003, edge + 0.03, edge + 0.034), mark / points, place / points
        )
        cells = (f"{each.hz:.1f}", f"{round(each.cents, 1) + 0.0:.1f}", f"{each.level_db:.1f}")
        _write_cells(figure, place / points, cells)
    _write_cells(figure, _BOTTOM + _HEIGHT + 0.009, ("Hz", "cents", "dB"))
    which = "" if len(shown) == len(components) else f"the strongest {len(shown)} of "
    feet = (
        f"{which}{len(components)} components:",
        f"cents over {study.struck.name}, dB re the strongest",
    )
    for number, text in enumerate(feet):
        place = _BOTTOM - 0.022 - 0.02 * number
        figure.text(_COLUMNS[-1], place, text, size=_LABEL_POINTS, ha="right")


def _write_cells(figure: "Figure", place: float, cells: Sequence[str]) -> None:
    for column, cell in zip(_COLUMNS, cells, strict=True):
        shown = cell.replace("-", "\N{MINUS SIGN}")
        figure.text(column, place, shown, size=_LABEL_POINTS, ha="right", va="center_baseline")


def _lead(figure: "Figure", turns: Sequence[float], mark: float, place: float) -> None:
    """Lead from a line to its label: level, slanting, level."""
    from matplotlib.lines import Line2D  # noqa: PLC0415

    line = Line2D(turns, (mark, mark, place, place), color="0.5", linewidth=0.6)
    figure.add_artist(line)
