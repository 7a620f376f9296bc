"""A take as pictures: pitches against time, spectrogram, spectrum; what was asked laid over.

Measured things are drawn by what the assay finds in the samples; what was asked for comes of the
log. Every picture has a text twin that tells the same.
"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from meantide.errors import InvalidValue
from meantide.offline.assay import Assay, Row, assay_file
from meantide.offline.figure_file import check_figure_path, our_style, save_figure
from meantide.offline.listen_peaks import Peaks, find_peaks
from meantide.offline.partials import Reals
from meantide.offline.recording import read_recording
from meantide.offline.spectrogram import on_log_axis, spectrogram
from meantide.offline.take_moves import pitch_text
from meantide.offline.takelog import TakeLog
from meantide.offline.takelog_note import LoggedNote

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_DB = 80.0
MOST_PARTIALS = 12
"""Of a note, the strongest, that are laid over a spectrogram."""
_FAINTEST_DB = -50.0  # re its strongest, of a partial that is laid over
_INCHES = (11.0, 5.8)
_TICKS_HZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
_BANDS, _FRAMES = 420, 800
_WINDOW_S = 0.1
_SPECTRUM_S = 1.0
_NEAR_CENTS = 25.0
_MOST_WORDS = 60


# -- pitch against time --------------------------------------------------------------------------


def draw_pitches(path: Path, wav: Path, log: TakeLog) -> None:
    """Draw pitch against time: what was asked for as lines, what was measured as dots.

    Below, how far each measured note lies from what was asked, in cents, with its uncertainty.
    """
    check_figure_path(path)
    save_figure(path, _pitch_figure(assay_file(wav, log), log))


def pitch_words(log: TakeLog) -> str:
    """Return the notes of a take, one a line: when, what, at how many Hz."""
    lines = []
    for note in sorted(log.notes, key=lambda note: note.start)[:_MOST_WORDS]:
        way = " to ".join(f"{pitch.hz:.3f}" for pitch in note.pitches[:4])
        span = f"{note.start / log.rate:.2f} to {note.release / log.rate:.2f} s"
        lines.append(f"{span}: {note.part}, {pitch_text(note)}, {way} Hz")
    return "\n".join([*lines, *_left_out(len(log.notes))])


def _left_out(count: int) -> list[str]:
    return [f"and {count - _MOST_WORDS} more notes"] if count > _MOST_WORDS else []


def _pitch_figure(found: Assay, log: TakeLog) -> "Figure":
    from matplotlib.figure import Figure  # noqa: PLC0415  takes a second

    with our_style():
        figure = Figure(figsize=_INCHES, facecolor="white")
        above, below = figure.subplots(
            2, 1, sharex=True, gridspec_kw={"height_ratios": [3, 1], "hspace": 0.09}
        )
        parts = list(dict.fromkeys(note.part for note in log.notes))
        for number, part in enumerate(parts):
            notes = [note for note in log.notes if note.part == part]
            _draw_lines(above, notes, log, number, part)
        measured = [row for row in found.rows if row.cents is not None]
        middles = [(row.start_s + row.end_s) / 2.0 for row in measured]
        above.plot(middles, [row.measured_hz or 0.0 for row in measured], "o", color="black",
                   markersize=4.5, markerfacecolor="white", label="measured")  # fmt: skip
        hz_axis(above)
        above.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, frameon=False)
        _draw_deviations(below, measured, middles)
        figure.suptitle(f"{log.title}: pitch over time, {_tuned(log)}", x=0.07, y=0.98, ha="left",
                        size=10.5, parse_math=False)  # fmt: skip
        figure.subplots_adjust(left=0.07, right=0.985, bottom=0.09, top=0.885)
    return figure


def _draw_lines(
    axes: "Axes", notes: Sequence[LoggedNote], log: TakeLog, number: int, part: str
) -> None:
    """Draw one part's notes as asked for; parts are told apart by their dashes and lightness."""
    dashes: list[Any] = ["-", (0, (5, 1.5)), (0, (1.2, 1.2)), (0, (6, 1.5, 1.2, 1.5))]
    shade = ("0.0", "0.45", "0.25", "0.6")[number % 4]
    for place, note in enumerate(notes):
        times, hz = note_course(note, log.rate)
        axes.plot(times, hz, color=shade, linestyle=dashes[number % 4], linewidth=2.2,
                  label=None if place else part)  # fmt: skip


def note_course(note: LoggedNote, rate: int) -> tuple[list[float], list[float]]:
    """Return the corners of a note's way, s and Hz, straight in cents between them."""
    times, hz = [note.start / rate], [note.pitches[0].hz]
    for step in note.pitches[1:]:
        times += [step.sample / rate, (step.sample + step.glide_samples) / rate]
        hz += [hz[-1], step.hz]
    return [*times, note.release / rate], [*hz, hz[-1]]


def _draw_deviations(axes: "Axes", rows: Sequence[Row], middles: Sequence[float]) -> None:
    cents = [row.cents or 0.0 for row in rows]
    doubt = [2.0 * (row.uncertainty_cents or 0.0) for row in rows]
    axes.axhline(0.0, color="0.5", linewidth=0.8)
    if rows:
        axes.errorbar(middles, cents, doubt, fmt="o", color="black", markersize=3.5,
                      linewidth=0.9, capsize=2.0)  # fmt: skip
        most = max(abs(each) + more for each, more in zip(cents, doubt, strict=True))
        axes.set_ylim(-1.25 * max(most, 0.001), 1.25 * max(most, 0.001))
    axes.set_ylabel("off, cents")
    axes.set_xlabel("time, seconds (dots: measured; bars: two standard deviations)")
    axes.grid(axis="x", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def hz_axis(axes: "Axes") -> None:
    """Make the upright axis one of Hz, even in cents, with ticks enough for what it spans."""
    axes.set_yscale("log")
    low, high = axes.get_ylim()
    finer = high / low < 8.0
    ticks = [hz for hz in ((*_TICKS_HZ, 150, 250, 300, 400, 600, 700, 800) if finer else _TICKS_HZ)
             if low <= hz <= high]  # fmt: skip
    axes.set_yticks(sorted(ticks))
    axes.yaxis.set_major_formatter("{x:.0f}")
    axes.yaxis.set_minor_formatter("")
    axes.set_ylabel("frequency, Hz")
    axes.grid(color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)


def _tuned(log: TakeLog) -> str:
    first = log.tunings[0]
    scale = first.scale.get("name") or (f"{first.scale['equal']}-equal" if "equal" in first.scale
                                        else "a scale")  # fmt: skip
    anchor = first.anchor
    return f"{scale}, {anchor.get('note', anchor.get('degree'))}={anchor['hz']:.6g} Hz"


# -- spectrogram with expected partials -----------------------------------------------------------


def expected_lines(note: LoggedNote, log: TakeLog) -> list[tuple[float, float]]:
    """Return (Hz over the note's own, offset Hz) of the strongest partials a note is to have."""
    partials = log.voices[note.voice].partials
    if note.pitches[0].spectrum is not None:
        partials = log.spectra[note.pitches[0].spectrum]
    strongest = max((each.level_db for each in partials), default=0.0)
    loud = [each for each in partials if each.level_db >= strongest + _FAINTEST_DB]
    kept = sorted(loud, key=lambda each: -each.level_db)[:MOST_PARTIALS]
    return sorted((each.ratio, each.offset_hz) for each in kept)


def draw_spectrogram(path: Path, wav: Path, log: TakeLog) -> None:
    """Draw the spectrogram of a take with the partials that its log leads one to expect over it."""
    check_figure_path(path)
    recording = read_recording(wav)
    save_figure(path, _spectrogram_figure(recording.samples, log))


def spectrogram_words(log: TakeLog) -> str:
    """Return the expected partials of each note, one note a line, in Hz."""
    lines = []
    for note in sorted(log.notes, key=lambda note: note.start)[:_MOST_WORDS]:
        hz = note.pitches[0].hz
        told = ", ".join(
            f"{hz * ratio + offset:.1f}" for ratio, offset in expected_lines(note, log)
        )
        lines.append(f"{note.start / log.rate:.2f} s, {note.part}, {pitch_text(note)}: {told} Hz")
    return "\n".join([*lines, *_left_out(len(log.notes))])


def _spectrogram_figure(samples: Reals, log: TakeLog) -> "Figure":
    from matplotlib.figure import Figure  # noqa: PLC0415

    lines = [(note, *each) for note in log.notes for each in expected_lines(note, log)]
    reached = [note.pitches[0].hz * ratio + offset for note, ratio, offset in lines]
    low = max(min(reached, default=100.0) / 1.3, 20.0)
    high = min(max(reached, default=4000.0) * 1.15, log.rate / 2.0)
    hop_s = max(len(samples) / log.rate / _FRAMES, 1.0 / log.rate)
    found = on_log_axis(spectrogram(samples, log.rate, _WINDOW_S, hop_s), low, high, _BANDS)
    top_db = 10.0 * math.ceil(float(found.levels_db.max(initial=-200.0)) / 10.0)
    with our_style():
        figure = Figure(figsize=_INCHES, facecolor="white")
        axes = figure.add_axes((0.07, 0.1, 0.82, 0.8))
        image = axes.imshow(found.levels_db, origin="lower", aspect="auto", cmap="gray_r",
                            extent=(0.0, float(found.times_s[-1]), math.log2(low), math.log2(high)),
                            vmin=top_db - SPAN_DB, vmax=top_db)  # fmt: skip
        for note, ratio, offset in lines:
            times, hz = note_course(note, log.rate)
            logged = [math.log2(max(each * ratio + offset, 1e-3)) for each in hz]
            axes.plot(times, logged, color="white", linewidth=2.4, alpha=0.75)
            axes.plot(times, logged, color="#0072B2", linewidth=0.9, linestyle=(0, (4, 2)))
        axes.set_ylim(math.log2(low), math.log2(high))
        axes.set_xlim(0.0, float(found.times_s[-1]))
        ticks = [hz for hz in _TICKS_HZ if low <= hz <= high]
        axes.set_yticks([math.log2(hz) for hz in ticks], [str(hz) for hz in ticks])
        axes.set_ylabel("frequency, Hz")
        axes.set_xlabel("time, seconds (dashes: the partials that the log leads one to expect)")
        bar = figure.colorbar(image, cax=figure.add_axes((0.905, 0.1, 0.018, 0.8)))
        bar.set_label("level, dB")
        figure.suptitle(f"{log.title}: spectrogram, {_tuned(log)}", x=0.07, y=0.965, ha="left",
                        size=10.5, parse_math=False)  # fmt: skip
    return figure


# -- spectrum with expected lines and deviations --------------------------------------------------


def spectrum_at(wav: Path, log: TakeLog, at_s: float) -> tuple[Reals, Peaks, list[dict[str, Any]]]:
    """Return the samples about `at_s`, the lines found there, and each expected line's deviation.

    Raises InvalidValue where no note of the log sounds all that time.
    """
    recording = read_recording(wav)
    size = round(_SPECTRUM_S * log.rate)
    first = round(at_s * log.rate) - size // 2
    sounding = [n for n in log.notes if n.start <= first and first + size <= n.release]
    if not sounding:
        raise InvalidValue("--at", at_s, f"a second of which a note is held for {_SPECTRUM_S:g} s")
    samples = recording.samples[first : first + size]
    peaks = find_peaks(samples, log.rate, -SPAN_DB)
    rows: list[dict[str, Any]] = []
    for note in sounding:
        steps = [step.hz for step in note.pitches if step.sample <= first + size // 2]
        for ratio, offset in expected_lines(note, log):
            expected = steps[-1] * ratio + offset
            cents = 1200.0 * np.log2(peaks.hz / expected) if len(peaks) else np.array([np.inf])
            near = int(np.argmin(np.abs(cents)))
            seen = bool(abs(cents[near]) <= _NEAR_CENTS)
            rows.append(
                {
                    "part": note.part,
                    "pitch": pitch_text(note),
                    "ratio": ratio,
                    "expected_hz": expected,
                    "found_hz": float(peaks.hz[near]) if seen else None,
                    "cents": float(cents[near]) if seen else None,
                    "level_db": float(20.0 * np.log10(peaks.amplitude[near])) if seen else None,
                }
            )
    return samples, peaks, sorted(rows, key=lambda row: row["expected_hz"])


def spectrum_words(rows: Sequence[dict[str, Any]]) -> str:
    """Return the expected lines, one a line, with what was found."""
    lines = []
    for row in rows:
        found = "nothing found within 25 cents"
        if row["cents"] is not None:
            found = f"found at {row['found_hz']:.3f} Hz, {row['cents']:+.2f} cents, "
            found += f"{row['level_db']:.1f} dB"
        name = f"{row['part']}, {row['pitch']}, partial {row['ratio']:.4g}"
        lines.append(f"{name}: expected {row['expected_hz']:.3f} Hz; {found}")
    return "\n".join(lines)


def draw_spectrum(path: Path, wav: Path, log: TakeLog, at_s: float) -> str:
    """Draw the spectrum about `at_s`, expected lines and deviations; return the text twin."""
    from matplotlib.figure import Figure  # noqa: PLC0415

    check_figure_path(path)
    samples, _, rows = spectrum_at(wav, log, at_s)
    found = spectrogram(samples, log.rate, _SPECTRUM_S, _SPECTRUM_S / 2.0)
    low = rows[0]["expected_hz"] / 1.3
    high = min(rows[-1]["expected_hz"] * 1.2, log.rate / 2.0)
    bands = on_log_axis(found, low, high, 1400)
    levels = bands.levels_db[:, 1]
    top_db = 10.0 * math.ceil(float(levels.max()) / 10.0)
    seen = [row for row in rows if row["cents"] is not None]
    with our_style():
        figure = Figure(figsize=_INCHES, facecolor="white")
        above, below = figure.subplots(
            2, 1, sharex=True, gridspec_kw={"height_ratios": [3, 1], "hspace": 0.09}
        )
        above.fill_between(bands.hz, top_db - SPAN_DB, levels, color="0.55", linewidth=0)
        for row in rows:
            above.axvline(row["expected_hz"], color="0.3" if row["cents"] is not None else "0.7",
                          linewidth=0.7, linestyle=(0, (4, 2)), zorder=0)  # fmt: skip
        above.plot([row["found_hz"] for row in seen], [row["level_db"] for row in seen], "v",
                   color="black", markersize=4.5, label="line found")  # fmt: skip
        above.plot([], [], color="0.3", linewidth=0.7, linestyle=(0, (4, 2)), label="expected")
        above.set_ylim(top_db - SPAN_DB, top_db + 5.0)
        above.set_ylabel("level, dB")
        above.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False)
        below.axhline(0.0, color="0.5", linewidth=0.8)
        below.stem([row["found_hz"] for row in seen], [row["cents"] for row in seen],
                   linefmt="0.3", markerfmt="ko", basefmt=" ")  # fmt: skip
        most = max((abs(row["cents"]) for row in seen), default=1.0)
        below.set_ylim(-1.3 * max(most, 0.1), 1.3 * max(most, 0.1))
        below.set_ylabel("off, cents")
        below.set_xscale("log")
        below.set_xlim(low, high)
        below.set_xticks([hz for hz in _TICKS_HZ if low <= hz <= high])
        below.xaxis.set_major_formatter("{x:.0f}")
        below.xaxis.set_minor_formatter("")
        below.set_xlabel("frequency, Hz")
        figure.suptitle(f"{log.title}: spectrum of the second about {at_s:g} s, {_tuned(log)}",
                        x=0.07, y=0.98, ha="left", size=10.5, parse_math=False)  # fmt: skip
        figure.subplots_adjust(left=0.07, right=0.985, bottom=0.09, top=0.885)
    save_figure(path, figure)
    return spectrum_words(rows)
