"""The settings of a lick: its fields, its file's and its project's, in the order in which one overrides the other.

In: the fields of a file's head and of one lick, as written, and the rules of the project. Out: `Settings`, and the
findings about them. The lick's own field counts, else the file's, else the project's (`lickwright.toml`), else the
default. The command line's tempo comes later, in `performance/note_events.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from lickwright.core.diagnostics import Diagnostic, RelatedInformation
from lickwright.core.source import Span
from lickwright.music.box_area import Area, box_area
from lickwright.music.boxspec import BoxSpec
from lickwright.music.custom_sound import find_sound
from lickwright.music.instruments import InstrumentRow
from lickwright.music.pitch import Key
from lickwright.music.scale import Scale, default_scale, follows_key, parse_scale
from lickwright.report.console import join_words
from lickwright.settings.field_reader import FieldReader, FieldValue
from lickwright.settings.fields import BY_NAME, MISSING, VALUE, Settings, Suppression, WrittenField, rows_with_sounds
from lickwright.settings.project_rules import ProjectRules

_ATTRIBUTES = {"from": "origin"}  # fields that `Settings` holds under another name
_ELSEWHERE = ("notation", "scale")  # fields that it does not hold, or not as they are read


class FileHead(NamedTuple):
    """The fields of a file's head and of its project, read once for all its licks."""

    fields: FieldReader
    required: tuple[tuple[str, RelatedInformation], ...]  # fields that the project requires, and where it says so
    sounds: Mapping[str, InstrumentRow]  # of the project, by name


def read_head(entries: Iterable[WrittenField], project: ProjectRules | None = None) -> FileHead:
    """Return the fields that apply to every lick of a file, with the findings about them."""
    sounds = project.sounds if project is not None else {}
    fields = FieldReader({}, {"note": [], "meant": []}, set(), rows_with_sounds(sounds))
    required: tuple[tuple[str, RelatedInformation], ...] = ()
    if project is not None:
        for name, one in project.fields.items():
            note = project.note(one.span, f"{name} is set here")
            fields.read[name] = FieldValue(one.value, one.span, True, note)
        fields.unread |= project.unread
        required = tuple((name, project.note(at, "it is required here")) for name, at in project.required.items())
    fields.read_fields(entries, of_file=True)
    return FileHead(fields, required, sounds)


def resolve_settings(head: FileHead, own: Iterable[WrittenField], title: Span) -> tuple[Settings, list[Diagnostic]]:
    """Return the settings of a lick, and the findings about its own fields, which override those of the head.

    A value that cannot be read counts as not written. `title` is where a finding stands about what the lick does not
    write.
    """
    fields = head.fields.copy()
    fields.read_fields(own, of_file=False)
    read, unread, found = fields.read, fields.unread, fields.found
    values = {_ATTRIBUTES.get(name, name): one.value for name, one in read.items() if name not in _ELSEWHERE}
    values |= _scale_values(fields, values.get("key"), title)
    if "sound" in values:
        values["instrument"] = find_sound(values["sound"], head.sounds)
    found += _missing(head, fields, title)
    if "box" in read and unread.isdisjoint(("key", "scale", "tuning")):
        values["area"] = _area(values, read["box"], title, found)
    settings = Settings(
        **values,
        notes=tuple(one.value for one in fields.repeated["note"]),
        meant=tuple(_suppression(one) for one in fields.repeated["meant"]),
        unread=frozenset(unread),
        written={name: one.span for name, one in read.items() if one.set_by is None},
        set_by_project={name: one.set_by for name, one in read.items() if one.set_by is not None},
    )
    return settings, found


def _suppression(field: FieldValue) -> Suppression:
    code, bar, reason = field.value
    return Suppression(code, bar, reason, field.span, field.of_file)


def _missing(head: FileHead, fields: FieldReader, title: Span) -> list[Diagnostic]:
    """Return one finding for all required fields that a lick lacks, or none."""
    there = {*fields.read, *fields.unread}
    missing = [(name, note) for name, note in head.required if name not in there and not fields.repeated.get(name)]
    if not missing:
        return []
    names = [f"`{name}`" for name, _ in missing]
    verb = "are" if len(names) > 1 else "is"
    lines = ", ".join(f"`{name} …` ({BY_NAME[name].summary})" for name, _ in missing)
    hint = f"write in the lick or at the top of its file: {lines}"
    message = f"{join_words(names)} {verb} missing, which every lick here must have"
    return [MISSING.at(title, message, hint, tuple(note for _, note in missing))]


def _contradiction(name: str, field: FieldValue, title: Span, message: str) -> Diagnostic:
    """Return the finding for a value that makes no sense in this lick, wherever it was set."""
    hint = f"`{name}` is {BY_NAME[name].summary}"
    span, notes = (title, (field.set_by,)) if field.set_by else (field.span, ())
    return VALUE.at(span, message, hint, notes)


def _scale_values(fields: FieldReader, key: Key | None, title: Span) -> dict[str, Any]:
    """Return the scale, and whether it follows the key; adds to `fields` what is wrong with it."""
    written = fields.read.get("scale")
    if written is None:
        numbered = "box" in fields.read and bool(fields.read["box"].value.numbers)
        return {"scale": default_scale(key, numbered) if key else None, "scale_by_key": False}
    scale: Scale | None = None
    try:
        scale = parse_scale(written.value, key)
    except ValueError as e:
        fields.found.append(_contradiction("scale", written, title, str(e)))
        if key is not None:
            fields.unread.add("scale")
    return {"scale": scale, "scale_by_key": follows_key(written.value)}


def _area(values: Mapping[str, Any], box: FieldValue, title: Span, found: list[Diagnostic]) -> Area | None:
    """Return where the box lies on the neck; None where it cannot lie anywhere, which is added to `found`.

    None without a key too, unless the box is a window of frets: the checks are off then and say so.
    """
    key, spec = values.get("key"), box.value
    if key is None and spec is not None and spec.window is None:
        return None
    names = ("tuning", "frets", "capo", "numbering")
    tuning, frets, capo, numbering = (values.get(name, getattr(_DEFAULTS, name)) for name in names)
    try:
        return box_area(spec or BoxSpec(), key, values["scale"], tuning, max(1, frets - capo), numbering)
    except ValueError as e:
        found.append(_contradiction("box", box, title, str(e)))
        return None


_DEFAULTS = Settings()
