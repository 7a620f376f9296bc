"""What a comparison says in words and tables: on the terminal, as Markdown, and in the page."""

from dataclasses import dataclass

from meantide.offline.assay import Verdict
from meantide.offline.comparison import Comparison, TakeChange, label
from meantide.offline.take_moves import SAME_CENTS, IntervalMove

MOST_ROWS = 24


@dataclass(frozen=True, slots=True)
class Table:
    """Headings and rows of text; `words` is how many columns from the left are words."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 1


def takes_table(found: Comparison) -> Table:
    """Return the takes: tuning, loudness, what was taken off, and their proof."""
    rows = []
    for number, take in enumerate(found.takes, 1):
        counts = ", ".join(f"{take.proof.count(verdict)} {verdict.value}" for verdict in Verdict)
        worst = "" if take.proof.worst_cents is None else f"{take.proof.worst_cents:+.4f}"
        lufs, gain = f"{take.log.loudness_lufs:.2f}", f"{round(take.gain_db, 2) + 0.0:+.2f}"
        rows.append((str(number), label(take), lufs, gain, worst, counts))
    headings = ("take", "tuning", "LUFS", "gain dB", "worst cents", "proof")
    return Table(headings, tuple(rows), 2)


def sentence(change: TakeChange) -> str:
    """Return what a change comes to."""
    moves = change.moves
    said = f"Change of {change.kind}. " if change.kind != "same" else "The same tuning. "
    if not moves.notes:
        return said + "No note is in both takes."
    if moves.common_cents is not None:
        cents = round(moves.common_cents, 3) + 0.0  # never minus nought
        said += (
            f"Every note moves by {cents:+.3f} cents; no interval moves "
            f"({len(moves.notes)} notes, {len(moves.intervals)} intervals)."
        )
    else:
        each_cents = [note.cents for note in moves.notes]
        still = sum(abs(each) < SAME_CENTS for each in each_cents)
        said += (
            f"Notes move by {min(each_cents):+.3f} to {max(each_cents):+.3f} cents "
            f"({still} of {len(each_cents)} "
            f"stay); {len(moves.moved)} of {len(moves.intervals)} intervals move"
        )
        said += f", at most by {moves.moved[0].change_cents:+.3f} cents." if moves.moved else "."
    if moves.unpaired:
        said += f" {moves.unpaired} notes are in one of the takes only."
    return said


def intervals_table(change: TakeChange) -> Table:
    """Return the intervals of a change, those that move the most first."""
    headings = (
        "interval", "held s", "cents 1", "cents 2", "change", "beats 1", "beats 2",
        "roughness 1", "roughness 2",
    )  # fmt: skip
    rows = tuple(_interval_row(each) for each in change.moves.intervals[:MOST_ROWS])
    return Table(headings, rows)


def _interval_row(each: IntervalMove) -> tuple[str, ...]:
    return (
        f"{each.lower} – {each.upper}",
        f"{each.seconds:.1f}",
        f"{each.first.cents:.2f}",
        f"{each.other.cents:.2f}",
        f"{round(each.change_cents, 3) + 0.0:+.3f}",
        _beats(each.first.beats_hz),
        _beats(each.other.beats_hz),
        f"{each.first.roughness:.3f}",
        f"{each.other.roughness:.3f}",
    )


def _beats(hz: float | None) -> str:
    return "–" if hz is None else f"{hz:.2f}"


NOTES = (
    "1 is the first take, 2 the other. Beats a second: of the strongest two partials, one of each "
    "note, within 20 Hz of each other; – where there are none. Roughness: Plomp and Levelt 1965, "
    "as fitted by Sethares 1993, of both notes with the partials of their voices; no unit."
)


def notes_table(change: TakeChange) -> Table:
    """Return how far each pitch moves, each once, from the lowest."""
    seen = {(note.pitch, round(note.hz, 6), round(note.other_hz, 6)): note
            for note in change.moves.notes}  # fmt: skip
    rows = tuple(
        (note.pitch, f"{note.hz:.3f}", f"{note.other_hz:.3f}", f"{note.cents + 0.0:+.3f}")
        for note in sorted(seen.values(), key=lambda note: note.hz)
    )
    return Table(("pitch", "Hz 1", "Hz 2", "cents moved"), rows)


def order_sentence(found: Comparison) -> str:
    """Return in which order the takes play in turns.wav, phrase by phrase."""
    phrases: dict[int, list[str]] = {}
    for turn in found.turns:
        phrases.setdefault(turn.phrase, []).append(str(turn.take + 1))
    how = "as listed" if found.seed is None else f"shuffled, seed {found.seed}"
    told = "; ".join(f"phrase {phrase + 1}: {' '.join(each)}" for phrase, each in phrases.items())
    return f"The takes in turn ({how}). {told}."


def summary_lines(found: Comparison) -> list[str]:
    """Return a few lines for the terminal."""
    lines = [
        f"take {row[0]}: {row[1]}; {row[2]} LUFS ({row[3]} dB); {row[5]}"
        for row in takes_table(found).rows
    ]
    for number, change in enumerate(found.changes, 2):
        lines.append(f"1 to {number}: {sentence(change)}")
    return lines


def markdown(found: Comparison) -> str:
    """Return the whole report as Markdown."""
    title = found.title.replace("\n", " ")
    lines = [f"# {title}: a comparison", "", *_markdown_table(takes_table(found))]
    lines += ["", "All takes have the loudness of the quietest (BS.1770).", ""]
    lines += [f"[{take.wav.name}]({take.wav.name})" for take in found.takes]
    lines += ["", f"[turns.wav](turns.wav): {order_sentence(found)}"]
    lines += ["", "![How far notes and intervals move; the tables tell the same](moves.png)"]
    for number, change in enumerate(found.changes, 2):
        lines += ["", f"## From take 1 to take {number}", "", sentence(change), ""]
        lines += _markdown_table(notes_table(change))
        if change.moves.intervals:
            lines += ["", *_markdown_table(intervals_table(change))]
            lines += ["", *_cut(change)]
    return "\n".join([*lines, "", NOTES])


def _cut(change: TakeChange) -> list[str]:
    """Return a line that says how many intervals are not shown, if any are not."""
    count = len(change.moves.intervals)
    if count <= MOST_ROWS:
        return []
    return [f"{MOST_ROWS} of {count} intervals are shown; `--json` gives all."]


def _markdown_table(table: Table) -> list[str]:
    rules = ["---" if place < table.words else "---:" for place in range(len(table.headings))]
    rows = [table.headings, tuple(rules), *table.rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
