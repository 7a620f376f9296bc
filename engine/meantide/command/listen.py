"""`meantide listen`: the pitch of a recording or an input, and the tuning its tones make."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import click

from meantide import __version__
from meantide.catalogue import Catalogue
from meantide.command.definition_file import write_definition
from meantide.command.listen_words import doubt_text, print_answer
from meantide.errors import CheckFailed, InvalidValue
from meantide.offline.listen import REACH_CENTS, Tone, listen_again
from meantide.offline.listen import listen as hear_tones
from meantide.offline.listen_scale import MeasuredScale, measured_scale
from meantide.offline.listen_tuning import AnchorFit, cents_between, fit_anchor
from meantide.offline.recording import Recording, one_channel, read_recording
from meantide.pitch import Anchor, NoteName, Scale, Tuning
from meantide.pitch.anchor import ABSOLUTE_ZERO_CELSIUS, HOTTEST_CELSIUS

MOST_TONES = 1000
DEFAULT_INPUT_S = 4.0
USUAL = Anchor(440.0, note=NoteName.parse("A4"))
NAMELESS = Anchor(261.6256, degree=0)  # C4 of twelve equal notes at A4 = 440 Hz
RATE, BLOCK = 48_000, 256  # asked of a sound card; JACK overrules them


@dataclass(frozen=True, slots=True)
class HeardTone:
    """A tone and the name of the recording it was heard in."""

    recording: Recording
    tone: Tone


@click.command("listen")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--note", help="The note all tones play, such as A4.")
@click.option("--degree", type=int, help="The degree all tones play, in place of a note.")
@click.option("--notes", metavar="LIST", help="The notes or degrees in order, such as C4,E4,G4.")
@click.option("--scale", default="12-equal", show_default=True, help="A scale's name or path.")
@click.option(
    "--anchor", help="The anchor to compare with: NOTE=HZ, DEGREE=HZ, a name or a path.  [A4=440]"
)
@click.option("--near-hz", type=float, help="Where to listen: within a semitone of so many Hz.")
@click.option("--celsius", type=float, help="The temperature, to be written into the anchor.")
@click.option(
    "--write-anchor", type=click.Path(path_type=Path), help="A file for the anchor that fits."
)
@click.option(
    "--write-scale", type=click.Path(path_type=Path), help="A file for the scale as it sounded."
)
@click.option(
    "--input",
    "input_s",
    is_flag=False,
    flag_value=DEFAULT_INPUT_S,
    type=click.FloatRange(0.2, 120.0),
    metavar="[SECONDS]",
    help=f"Record so long, {DEFAULT_INPUT_S:g} s by default, in place of FILES.",
)
@click.option(
    "--audio",
    type=click.Choice(["auto", "jack", "portaudio"]),
    default="auto",
    show_default=True,
    help="Where to record from.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def listen(
    *,
    files: tuple[Path, ...],
    note: str | None,
    degree: int | None,
    notes: str | None,
    scale: str,
    anchor: str | None,
    near_hz: float | None,
    celsius: float | None,
    write_anchor: Path | None,
    write_scale: Path | None,
    input_s: float | None,
    audio: str,
    as_json: bool,
) -> None:
    """Find the pitch of the tones in FILES, and the anchor that they make.

    A file may hold several tones, with silence between. Without --note, --degree or --notes each
    tone is taken to be the nearest degree. A recording is no better than its sound card's clock,
    which may well be 0.1 cent off.

    \b
    meantide listen organ-a.wav --note A4 --scale 31-equal --write-anchor organ.yaml
    meantide listen bells.wav --write-scale bells.yaml
    meantide listen --input 4 --note A4

    Exit code 0: tones were heard. 1: none, or not where they were to be. 2: bad input. 3: no input.
    """
    if bool(files) == (input_s is not None):
        got = "both" if files else "neither"
        raise InvalidValue("FILES", got, "files to listen to, or --input, one of the two")
    if near_hz is not None and not 20.0 <= near_hz <= 5000.0:
        raise InvalidValue("--near-hz", near_hz, "20 to 5000 Hz")
    if celsius is not None and not ABSOLUTE_ZERO_CELSIUS <= celsius <= HOTTEST_CELSIUS:
        raise InvalidValue("--celsius", celsius, "a temperature of air in degrees Celsius")
    named = _named(note, degree, notes)
    catalogue = Catalogue()
    the_scale = catalogue.scale(scale)
    given = catalogue.anchor(anchor) if anchor is not None else None
    tuning = _tuning(the_scale, given, named)
    degrees = None if named is None else [_degree(tuning, each) for each in named]
    heard = _heard(_recordings(files, input_s, audio, quiet=as_json), near_hz)
    if degrees is not None:
        degrees = _one_each(degrees, heard, "--notes" if notes else "--note")
        if near_hz is None:
            heard = _nearer(heard, degrees, tuning)
    fit = fit_anchor(
        tuning,
        [each.tone.hz for each in heard],
        [each.tone.uncertainty_cents for each in heard],
        degrees,
    )
    source = _source(heard)
    measured = None
    if write_scale is not None:
        measured = measured_scale(
            fit, named=named is not None, source=source, name=write_scale.stem
        )
        write_definition(write_scale, _scale_mapping(measured))
    if write_anchor is not None:
        write_definition(write_anchor, _anchor_mapping(fit, source, celsius, write_anchor.stem))
    if as_json:
        answer = _as_json(heard, fit, measured)
        click.echo(json.dumps(answer, indent=2, allow_nan=False))
        return
    print_answer([(each.recording.name, each.tone) for each in heard], fit, tuning, measured)
    for written in (write_anchor, write_scale):
        if written is not None:
            click.echo(f"written: {written}")


def _named(note: str | None, degree: int | None, notes: str | None) -> list[str] | None:
    """Return what was said of the tones' names: one for all, or a list."""
    said = [str(each) for each in (note, degree) if each is not None]
    if len(said) + (notes is not None) > 1:
        raise InvalidValue("--notes", notes or note, "one of --note, --degree and --notes")
    if notes is None:
        return said or None
    return [each.strip() for each in notes.split(",")]


def _tuning(scale: Scale, given: Anchor | None, named: Sequence[str] | None) -> Tuning:
    """Return the tuning to compare with, anchored where the answer is wanted.

    That is the anchor given; else the one note or degree named; else A4, or degree 0 where the
    scale has no note names.
    """
    if given is not None:
        return Tuning(scale, given)
    usual = Tuning(scale, NAMELESS if scale.fifth is None and scale.names is None else USUAL)
    if named is None or len(named) > 1:
        return usual
    degree = _degree(usual, named[0])
    hz = usual.hz_of_degree(degree)
    if _is_number(named[0]):
        return Tuning(scale, Anchor(hz, degree=degree))
    return Tuning(scale, Anchor(hz, note=NoteName.parse(named[0])))


def _is_number(text: str) -> bool:
    digits = text.removeprefix("-")
    return digits.isascii() and digits.isdigit() and len(digits) <= 9


def _degree(tuning: Tuning, name: str) -> int:
    """Return the degree that a name or a number stands for."""
    return int(name) if _is_number(name) else tuning.degree_of_name(name)


def _recordings(
    files: Sequence[Path], input_s: float | None, audio: str, *, quiet: bool
) -> list[Recording]:
    if input_s is None:
        return [read_recording(path) for path in files]
    from meantide.live.pyo_host import record  # noqa: PLC0415  a device is rarely wanted here

    if not quiet:
        click.echo(f"listening for {input_s:g} s ...")
    backs = ("jack", "portaudio") if audio == "auto" else (audio,)
    frames, rate, name = record(backs, RATE, BLOCK, input_s)
    where = f"input ({name})"
    return [Recording(one_channel(frames.astype("float64"), where), rate, where)]


def _heard(recordings: Sequence[Recording], near_hz: float | None) -> list[HeardTone]:
    """Return the tones of all recordings in order; an error tells of which it is."""
    heard: list[HeardTone] = []
    for recording in recordings:
        try:
            tones = hear_tones(recording.samples, recording.rate, near_hz)
        except CheckFailed as error:
            raise CheckFailed(f"{recording.name}: {error}") from None
        heard.extend(HeardTone(recording, tone) for tone in tones)
    if len(heard) > MOST_TONES:
        raise InvalidValue("tones", len(heard), f"at most {MOST_TONES} at a time")
    return heard


def _one_each(degrees: list[int], heard: Sequence[HeardTone], option: str) -> list[int]:
    """Return a degree for each tone; one degree serves for all."""
    if len(degrees) == 1:
        return degrees * len(heard)
    if len(degrees) != len(heard):
        places = ", ".join(f"{each.tone.start_s:.1f} s" for each in heard[:12])
        names = ", ".join(dict.fromkeys(each.recording.name for each in heard[:12]))
        raise InvalidValue(
            option,
            f"{len(degrees)} notes",
            f"{len(heard)} of them, as many as tones were heard ({names}: {places})",
        )
    return degrees


def _nearer(heard: Sequence[HeardTone], degrees: Sequence[int], tuning: Tuning) -> list[HeardTone]:
    """Listen again to what is over half an octave from the note it is said to be."""
    found = []
    for each, degree in zip(heard, degrees, strict=True):
        hz = tuning.hz_of_degree(degree)
        tone, recording = each.tone, each.recording
        if abs(cents_between(tone.hz, hz)) > REACH_CENTS:
            try:
                tone = listen_again(recording.samples, recording.rate, tone, hz)
            except CheckFailed:
                raise CheckFailed(
                    f"{recording.name}: the tone at {each.tone.start_s:.2f} s is "
                    f"{each.tone.hz:.2f} Hz; the note named would be near {hz:.2f} Hz"
                ) from None
        found.append(HeardTone(recording, tone))
    return found


def _source(heard: Sequence[HeardTone]) -> str:
    names = list(dict.fromkeys(each.recording.name for each in heard))
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return "measured by meantide listen from " + ", ".join(names[:6]) + more


def _anchor_mapping(
    fit: AnchorFit, source: str, celsius: float | None, name: str
) -> dict[str, object]:
    used = [tone for tone in fit.tones if not tone.outlier]
    count = "one tone" if len(used) == 1 else f"{len(used)} tones"
    anchor = fit.tuning.anchor
    about = (
        f"From {count} in {fit.tuning.scale.label}, ± {doubt_text(fit.uncertainty_cents)} cents."
    )
    made = Anchor(round(anchor.hz, 6), anchor.note, anchor.degree, celsius, name, source, about)
    return made.to_mapping()


def _scale_mapping(measured: MeasuredScale) -> dict[str, object]:
    about = f"Degree 0 sounded at {measured.hz:.6f} Hz; as it sounded, with --anchor "
    about += f"0={measured.hz:.6f}."
    mapping = measured.scale.to_mapping()
    return {"name": mapping.pop("name"), "source": mapping.pop("source"), "about": about} | mapping


def _as_json(
    heard: Sequence[HeardTone], fit: AnchorFit, measured: MeasuredScale | None
) -> dict[str, object]:
    return {
        "meantide": __version__,
        "kind": "listen",
        "tones": [
            {"file": each.recording.name} | asdict(each.tone) | {"placed": asdict(placed)}
            for each, placed in zip(heard, fit.tones, strict=True)
        ],
        "anchor": fit.tuning.anchor.to_mapping(),
        "moved_cents": fit.cents,
        "uncertainty_cents": fit.uncertainty_cents,
        "scatter_cents": fit.scatter_cents,
        "outliers": [place for place, tone in enumerate(fit.tones) if tone.outlier],
        "scale": None
        if measured is None
        else {"degree_0_hz": measured.hz, "spread_cents": measured.spread_cents}
        | measured.scale.to_mapping(),
    }
