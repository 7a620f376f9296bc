"""`meantide presets`: the scales, anchors, layouts and voices there are, and which come near."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import click

from meantide.catalogue import KINDS, Catalogue
from meantide.command.near_divisions import read_weights
from meantide.command.near_shared import read_intervals
from meantide.command.presets_facts import TARGETS, Preset, list_presets
from meantide.command.presets_table import print_presets, print_ranking
from meantide.errors import InvalidValue
from meantide.offline.figure_file import check_figure_path
from meantide.pitch import Interval
from meantide.purpose_files import end_hz
from meantide.reading import value_of
from meantide.voice.purpose import FAMILIES

VOICE_KINDS = ("additive", "fm")
_SIZES = re.compile(r"([0-9]{1,6})(?:\.\.([0-9]{1,6}))?")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which scales are asked for, and what they are measured against."""

    targets: tuple[Interval, ...]
    weights: tuple[Fraction, ...] | None
    sizes: range | None
    period: Interval | None

    def has(self, preset: Preset) -> bool:
        """Tell whether a scale that could be read is one of those asked for."""
        if self.sizes is not None and preset.facts["size"] not in self.sizes:
            return False
        return self.period is None or preset.facts["period"] == str(self.period)


@click.command("presets")
@click.argument("kind", type=click.Choice(KINDS), required=False)
@click.argument("words", nargs=-1)
@click.option("--near", metavar="INTERVALS", help="Scales only: sort by error, as 3/2,5/4,7/4.")
@click.option("--weights", help="With --near: a number for each, as 3,2,1; by default all alike.")
@click.option("--size", metavar="LOW..HIGH", help="Scales only: so many degrees in a period.")
@click.option("--period", help="Scales only: those of this period, such as 2/1.")
@click.option("--kind", "voice_kind", type=click.Choice(VOICE_KINDS), help="Voices only.")
@click.option("--family", type=click.Choice(FAMILIES), help="Voices only.")
@click.option(
    "--range",
    "reach",
    metavar="LOW..HIGH",
    help="Voices only: those that serve all of it; notes such as C3..G5, or Hz.",
)
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    help="Voices only: draw a spectrogram of each on one page, .png, .svg or .pdf.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def presets(
    *,
    kind: str | None,
    words: Sequence[str],
    near: str | None,
    weights: str | None,
    size: str | None,
    period: str | None,
    voice_kind: str | None,
    family: str | None,
    reach: str | None,
    sheet: Path | None,
    as_json: bool,
) -> None:
    """List the presets, the user's own and those that come with Meantide.

    WORDS leave only those in whose name, description, source or place all of them stand. Nearness
    is measured above degree 0: the error is the weighted RMS √(Σ w·e² / Σ w) of the intervals'
    errors e. In the list, equal divisions tell how near they come to 3/2, 5/4 and 7/4.

    \b
    meantide presets scales meantone
    meantide presets scales --near 3/2,5/4,7/4 --size 5..31 --period 2/1
    meantide presets anchors london
    meantide presets voices --family bell --sheet bells.png
    meantide presets voices --kind fm --range C2..G5
    """
    catalogue = Catalogue()
    wanted = _read_wanted(kind, near, weights, size, period)
    _check_for_voices(
        kind, {"--kind": voice_kind, "--family": family, "--range": reach, "--sheet": sheet}
    )
    if sheet is not None:
        check_figure_path(sheet, "--sheet")
    ends = None if reach is None else _read_range(reach)
    kinds = KINDS if kind is None else (kind,)
    found = [
        preset
        for each in kinds
        for preset in list_presets(catalogue, each, wanted.targets, wanted.weights)
        if preset.matches(words)
    ]
    if near is not None or size is not None or period is not None:
        broken = sum(bool(preset.error) for preset in found)
        found = [preset for preset in found if not preset.error and wanted.has(preset)]
        if broken:
            told = f"{broken} left out that cannot be read; `meantide presets scales` says why"
            click.echo(f"meantide: {told}", err=True)
    if voice_kind is not None:
        found = [preset for preset in found if preset.facts.get("voice_kind") == voice_kind]
    if family is not None:
        found = [preset for preset in found if preset.facts.get("family") == family]
    if ends is not None:
        found = [preset for preset in found if preset.serves(*ends)]
    if near is not None:
        found.sort(key=lambda preset: preset.facts["error_cents"])
    if sheet is not None:
        from meantide.command.presets_sheet import write_sheet  # noqa: PLC0415  heavy

        write_sheet(sheet, catalogue, found)
    elif as_json:
        click.echo(json.dumps([p.to_mapping() for p in found], indent=2, allow_nan=False))
    elif near is not None:
        print_ranking(found, [str(target) for target in wanted.targets])
    else:
        for each in kinds:
            print_presets(each, [preset for preset in found if preset.kind == each])


def _read_wanted(
    kind: str | None, near: str | None, weights: str | None, size: str | None, period: str | None
) -> Wanted:
    """Return what the options ask for; raises InvalidValue for what does not fit together."""
    options = {"--near": near, "--weights": weights, "--size": size, "--period": period}
    for option, text in options.items():
        if text is not None and kind != "scales":
            raise InvalidValue(option, text, f"presets scales {option} ...; only scales have it")
    if weights is not None and near is None:
        raise InvalidValue("--weights", weights, "weights together with --near")
    targets = TARGETS if near is None else tuple(read_intervals([near]))
    shares = None if weights is None else tuple(read_weights(weights))
    if shares is not None and (len(shares) != len(targets) or not sum(shares)):
        raise InvalidValue("--weights", weights, f"{len(targets)} numbers, not all 0")
    return Wanted(
        targets,
        shares,
        None if size is None else _read_sizes(size),
        None if period is None else Interval.parse(period),
    )


def _check_for_voices(kind: str | None, options: Mapping[str, object]) -> None:
    """Refuse what only voices have where others are asked for."""
    for option, value in options.items():
        if value is not None and kind != "voices":
            allowed = f"presets voices {option} ...; only voices have it"
            raise InvalidValue(option, str(value), allowed)


def _read_range(text: str) -> tuple[float, float]:
    """Return the two ends, in Hz, that `LOW..HIGH` stands for, each a note name or in Hz."""
    ends = [_read_end(part) for part in text.split("..")]
    if len(ends) != 2 or ends[0] > ends[1]:
        raise InvalidValue("--range", text, "LOW..HIGH such as C3..G5 or 100..800")
    return ends[0], ends[1]


def _read_end(text: str) -> float:
    try:
        hz = float(text)
    except ValueError:
        return end_hz(value_of(text, field="--range"))
    return end_hz(value_of(hz, field="--range"))


def _read_sizes(text: str) -> range:
    """Return the numbers of degrees that `LOW..HIGH`, both included, or one number stands for."""
    match = _SIZES.fullmatch(text)
    low, high = (int(match[1]), int(match[2] or match[1])) if match else (1, 0)
    if high < low:
        raise InvalidValue("--size", text, "a number of degrees, or LOW..HIGH such as 5..31")
    return range(low, high + 1)
