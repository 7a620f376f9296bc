"""Scores read from their YAML form: every error names the file and the line."""

from dataclasses import replace
from pathlib import Path

from meantide.catalogue import Catalogue
from meantide.document import read_document
from meantide.errors import InvalidValue
from meantide.offline.score import (
    DEFAULT_ANCHOR,
    DEFAULT_LAYOUT,
    DEFAULT_SCALE,
    DEFAULT_VOICE,
    Change,
    Overrides,
    Score,
    ScorePart,
)
from meantide.offline.score_parts import PART_FIELDS, read_part
from meantide.offline.score_times import Beats
from meantide.perform.event import Held
from meantide.pitch import Layout, Tuning
from meantide.reading import Fields, Value
from meantide.voice.voices import Voice


def read_score(path: Path, catalogue: Catalogue, overrides: Overrides) -> Score:
    """Read the YAML score in the file `path`; InvalidValue naming file and line if it is none."""
    value = read_document(path)
    fields = value.fields(
        "title", "scale", "anchor", "layout", "voice", "tempo", "parts", "changes", "source"
    )
    with value.placing():
        return _ScoreReader(fields, catalogue, overrides, path.parent).read()


class _ScoreReader:
    """What the parts of one score share while it is read."""

    def __init__(
        self, fields: Fields, catalogue: Catalogue, overrides: Overrides, base: Path
    ) -> None:
        self._fields, self._catalogue, self._overrides = fields, catalogue, overrides
        self._base = base
        """Paths in the score start here; those the caller gives start where the caller stands."""
        self._beats = Beats.at_tempo(fields["tempo"]) if "tempo" in fields else Beats()
        self._notices: list[str] = []

    def read(self) -> Score:
        tuning = self._tuning_at_start()
        changes = self._changes(tuning)
        parts = tuple(
            self._part(name, part, tuning, changes)
            for name, part in self._fields["parts"].entries()
        )
        if not any(part.notes for part in parts):
            raise self._fields["parts"].error("at least one part with notes", "no notes")
        title = self._fields.text("title", "untitled")
        return Score(title, tuning, parts, changes, tuple(self._notices))

    def _tuning_at_start(self) -> Tuning:
        find = self._catalogue
        return Tuning(
            find.scale(*self._reference("scale", DEFAULT_SCALE)),
            find.anchor(*self._reference("anchor", DEFAULT_ANCHOR)),
            find.layout(*self._reference("layout", DEFAULT_LAYOUT)),
        )

    def _reference(self, key: str, default: str, *fields: Fields) -> tuple[str | Value, Path]:
        """Return what to look up for `key`, and where its paths start."""
        override: str | None = getattr(self._overrides, key)
        if override is not None:
            return override, Path()
        for given in (*fields, self._fields):
            value = given.get(key)
            if value is not None:
                return value, self._base
        return default, Path()

    def _changes(self, tuning: Tuning) -> tuple[Change, ...]:
        if "changes" not in self._fields:
            return ()
        changes: list[Change] = []
        for item in self._fields["changes"].items():
            fields = item.fields("at", "scale", "anchor", "layout", "glide", "held")
            with fields.placing():
                tuning = self._changed(tuning, fields)
            change = Change(
                self._beats.seconds(fields["at"]),
                tuning,
                self._beats.seconds_in(fields, "glide"),
                Held[fields.choice("held", ("follow", "stay"), "follow").upper()],
            )
            if changes and change.at_s < changes[-1].at_s:
                raise fields["at"].error("changes in order of time")
            changes.append(change)
        return tuple(changes)

    def _changed(self, tuning: Tuning, fields: Fields) -> Tuning:
        given = [key for key in ("scale", "anchor", "layout") if key in fields]
        if not given:
            raise InvalidValue("change", "nothing to change", "a scale, an anchor or a layout")
        changed = {}
        for key in given:
            if getattr(self._overrides, key):
                self._notices.append(f"the change of {key} in the score gives way to --{key}")
            else:
                changed[key] = getattr(self._catalogue, key)(fields[key], self._base)
        return replace(tuning, **changed)  # at once: they may fit only together

    def _part(
        self, name: str, value: Value, tuning: Tuning, changes: tuple[Change, ...]
    ) -> ScorePart:
        fields = value.fields(*PART_FIELDS)
        voice = self._catalogue.voice(*self._reference("voice", DEFAULT_VOICE, fields))
        layout = self._layout_of(name, fields)
        part = read_part(name, fields, self._beats, voice, layout, self._find_voice)
        with fields.placing():
            for tuned in (tuning, *(change.tuning for change in changes)):
                part.tuned(tuned)
        if part.settings and self._overrides.voice is not None:
            self._notices.append(f"the settings of {name} in the score give way to --voice")
            part = replace(part, settings=())
        return part

    def _layout_of(self, name: str, fields: Fields) -> Layout | None:
        if "layout" not in fields:
            return None
        if self._overrides.layout is not None:
            self._notices.append(f"the layout of {name} in the score gives way to --layout")
            return None
        return self._catalogue.layout(fields["layout"], self._base)

    def _find_voice(self, value: Value) -> Voice:
        return self._catalogue.voice(value, self._base)
