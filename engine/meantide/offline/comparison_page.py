"""A comparison as one HTML page that is whole in itself: sound, pictures and tables, no request."""

import base64
import html
import io
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile

from meantide.offline.comparison import Comparison, label
from meantide.offline.comparison_words import (
    MOST_ROWS,
    NOTES,
    Table,
    intervals_table,
    notes_table,
    order_sentence,
    sentence,
    takes_table,
)
from meantide.offline.picture_axes import PicturedTake
from meantide.offline.pitch_picture import draw_pitches
from meantide.offline.recording import LONGEST_S
from meantide.offline.spectrogram_picture import draw_spectrograms
from meantide.whole_file import whole_file

_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 system-ui, sans-serif; color: #111; background: #fff; margin: 0 auto;
  padding: 1rem; max-width: 68rem; }
h1 { font-size: 1.6rem; line-height: 1.25; } h2 { font-size: 1.25rem; margin-top: 2.2rem; }
.wide { overflow-x: auto; } .wide:focus-visible { outline: 3px solid #0072B2; }
.wide img { display: block; width: 100%; min-width: 42rem; height: auto; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: .92rem; }
th, td { padding: .2rem .7rem; text-align: right; white-space: nowrap;
  border-bottom: 1px solid #ccc; }
th.word, td.word { text-align: left; }
audio { display: block; width: 100%; max-width: 40rem; }
figure { margin: 1rem 0; } figcaption { font-size: .92rem; }
summary { cursor: pointer; padding: .5rem 0; min-height: 1.5rem; }
.sound { margin: 1rem 0; }
"""
_POLICY = "default-src 'none'; img-src data:; media-src data:; style-src 'unsafe-inline'"
"""The browser itself refuses whatever would ask the network."""
_MOST_LOSSLESS_S = 600.0
"""Of sound in all, in FLAC some 60 MB; beyond it the page takes Ogg Vorbis, a tenth of that."""
_PIECE = 1 << 16  # frames
_CAUTION = (
    "Begin with the volume down: the loudness told is of the file, not of the room you sit in."
)


def write_page(path: Path, found: Comparison, turns: Path, moves: Path) -> None:
    """Write the page, with the sound file `turns` and the PNG file `moves` in it.

    Raises InvalidValue where it cannot be written.
    """
    title = html.escape(f"{found.title}: a comparison")
    parts = [
        f"<h1>{title}</h1>",
        "<p>All takes have the loudness of the quietest (BS.1770), and each was proved by "
        f"measuring its sound. {_CAUTION}</p>",
        _table(takes_table(found), "the takes"),
        "<h2>Listen</h2>",
        *_sounds(found, turns),
        "<details><summary>Which take plays when</summary>",
        f"<p>{html.escape(order_sentence(found))}</p></details>",
        *_changes(found, moves),
        "<h2>The takes as pictures</h2>",
        *_take_pictures(found),
    ]
    page = "\n".join(
        [
            '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<link rel="icon" href="data:,">',
            f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>",
            *parts,
            "</main>\n</body>\n</html>\n",
        ]
    )
    with whole_file(path) as partial:
        partial.write_text(page, encoding="utf-8")


def _changes(found: Comparison, moves: Path) -> Sequence[str]:
    parts = ["<h2>What moves</h2>"]
    said = " ".join(
        f"Take 1 to {number}: {sentence(change)}" for number, change in enumerate(found.changes, 2)
    )
    parts.append(_picture(moves, "How far notes and intervals move", said))
    for number, change in enumerate(found.changes, 2):
        parts += [
            f"<h2>From take 1 to take {number}</h2>",
            f"<p>{html.escape(sentence(change))}</p>",
            _table(notes_table(change), f"notes, take 1 to {number}"),
        ]
        if change.moves.intervals:
            parts += ["<p></p>", _table(intervals_table(change), f"intervals, take 1 to {number}")]
        if len(change.moves.intervals) > MOST_ROWS:
            parts.append(f"<p>{MOST_ROWS} of {len(change.moves.intervals)} are shown.</p>")
    return [*parts, f"<p>{html.escape(NOTES)}</p>"]


def _take_pictures(found: Comparison) -> Sequence[str]:
    parts = []
    with tempfile.TemporaryDirectory() as folder:
        for number, take in enumerate(found.takes, 1):
            pitches, over = Path(folder) / "pitches.png", Path(folder) / "spectrogram.png"
            pictured = [PicturedTake(take.wav, take.log, take.proof)]
            named = f"Take {number}, {label(take)}"
            words = draw_pitches(pitches, pictured)
            parts.append(_picture(pitches, f"{named}: pitch over time", words))
            if take.log.frames > LONGEST_S * take.log.rate:
                parts.append("<p>No spectrogram: the take is longer than ten minutes.</p>")
                continue
            words = draw_spectrograms(over, pictured)
            parts.append(_picture(over, f"{named}: spectrogram", words))
    return parts


def _picture(path: Path, caption: str, twin: str) -> str:
    """Return a picture, its caption, and what it shows in words."""
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    alt = html.escape(caption)
    return (
        f'<figure><div class="wide" tabindex="0" role="region" aria-label="{alt}">'
        f'<img alt="{alt}; in words below" src="data:image/png;base64,{data}"></div>'
        f"<figcaption>{alt}<details><summary>In words</summary>"
        f'<p style="white-space:pre-line">{html.escape(twin)}</p></details></figcaption></figure>'
    )


def _sounds(found: Comparison, turns: Path) -> Sequence[str]:
    """Return players: without loss but for 16 bits, or compressed where they would be too long."""
    named = [
        (take.wav, f"Take {number}: {label(take)}") for number, take in enumerate(found.takes, 1)
    ]
    named.append((turns, "The takes in turn, phrase by phrase"))
    small = sum(soundfile.info(wav).duration for wav, _ in named) <= _MOST_LOSSLESS_S
    encode, kind = (_flac, "audio/flac") if small else (_vorbis, "audio/ogg")
    players = []
    for wav, caption in named:
        data = base64.b64encode(encode(wav)).decode("ascii")
        told = html.escape(caption)
        players.append(
            f'<div class="sound"><div>{told}</div><audio controls preload="metadata" '
            f'aria-label="{told}" src="data:{kind};base64,{data}"></audio></div>'
        )
    if not small:
        players.append("<p>The sound in this page is compressed; the files beside it are not.</p>")
    return players


def _flac(wav: Path) -> bytes:
    """Return a sound file as FLAC of 16 bits, with triangular dither of one step either way."""
    samples, rate = soundfile.read(wav, dtype="float64", always_2d=True)
    steps = np.random.default_rng(0).triangular(-1.0, 0.0, 1.0, samples.shape)
    sixteen = np.clip(np.rint(samples * 2.0**15 + steps), -(2.0**15), 2.0**15 - 1.0)
    held = io.BytesIO()
    soundfile.write(held, sixteen.astype(np.int16), rate, "PCM_16", format="FLAC")
    return held.getvalue()


def _vorbis(wav: Path) -> bytes:
    """Return a sound file compressed, read and written in pieces."""
    held = io.BytesIO()
    with soundfile.SoundFile(wav) as source, soundfile.SoundFile(
        held, "w", source.samplerate, source.channels, "VORBIS", format="OGG"
    ) as packed:  # fmt: skip
        for block in source.blocks(_PIECE, dtype="float32", always_2d=True):
            packed.write(block)
    return held.getvalue()


def _table(table: Table, name: str) -> str:
    def row(cells: Sequence[str], tag: str) -> str:
        marked = (
            f"<{tag}{' class=word' if place < table.words else ''}>{html.escape(cell)}</{tag}>"
            for place, cell in enumerate(cells)
        )
        return "<tr>" + "".join(marked) + "</tr>"

    body = "\n".join(row(cells, "td") for cells in table.rows)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{html.escape(name)}"><table>'
        f"<thead>{row(table.headings, 'th')}</thead><tbody>\n{body}</tbody></table></div>"
    )
