"""What is set for a lick: what is written, in the order in which one overrides the other.

In: the fields of a file's head and of one lick, as written, and the style of the house. Out: `Settings` and the findings about them. The order: the
lick's own, else the file's, else the house's (`lickwright.toml`), else the default. (The command line's tempo is above all, in `performance/note_events.py`.)
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from lickwright.core.diagnostics import Diagnostic, Fix, RelatedInformation, nearest_name, replacement_fix
from lickwright.core.source import Span
from lickwright.core.version import NOTATION as NOTATION_READ
from lickwright.music.box import Area, BoxSpec, box_area
from lickwright.music.pitch import Key
from lickwright.music.scale import Scale, default_scale, follows_key, parse_scale
from lickwright.notation.rules import LINE
from lickwright.report.console import join_words
from lickwright.settings.fields import (
    BY_NAME,
    MISSING,
    NOTATION,
    OTHER_NAMES,
    TWICE,
    UNKNOWN,
    VALUE,
    FieldRow,
    Settings,
    Suppression,
    WrittenField,
)
from lickwright.settings.project_rules import ProjectRules

_STRAIGHT = str.maketrans("“”„«»‘’–—−♯♭", '"""""\'\'---#b')


class _Read(NamedTuple):
    """A field's value and its place."""

    value: Any
    span: Span  # of the value
    raw: str
    raw_at: int
    of_file: bool
    house: RelatedInformation | None = (
        None  # where it stands, if the house sets it; then `span` is not in the lick's text
    )


class FileHead(NamedTuple):
    """The fields of a file's head and those of its house, read once for all its licks."""

    read: dict[str, _Read]
    many: dict[str, list[_Read]]
    unread: set[str]
    found: list[Diagnostic]
    required: tuple[tuple[str, RelatedInformation], ...]  # fields that the house wants, and where it says so


def read_head(entries: Iterable[WrittenField], house: ProjectRules | None = None) -> FileHead:
    """The fields that apply to every lick of a file, and the findings about them."""
    read: dict[str, _Read] = {}
    unread: set[str] = set()
    required: tuple[tuple[str, RelatedInformation], ...] = ()
    if house is not None:
        for name, given in house.fields.items():
            note = house.note(given.span, f"{name} is set here")
            read[name] = _Read(given.value, given.span, given.text, 0, True, note)
        unread |= house.unread
        required = tuple((name, house.note(at, "it is required here")) for name, at in house.required.items())
    head = FileHead(read, {"note": [], "meant": []}, unread, [], required)
    _read_fields(entries, True, head.read, head.many, head.unread, head.found)
    return head


def resolve_settings(head: FileHead, own: Iterable[WrittenField], title: Span) -> tuple[Settings, list[Diagnostic]]:
    """The settings of a lick from its file's fields and its own, which override them, and the findings about its own.

    A value that cannot be read counts as not written. `title` is where findings stand about what the lick does not write.
    """
    found: list[Diagnostic] = []
    unread = set(head.unread)
    read = dict(head.read)
    many = {name: list(ones) for name, ones in head.many.items()}
    _read_fields(own, False, read, many, unread, found)
    values = {name: one.value for name, one in read.items() if name not in ("notation", "scale", "box")}
    key = values.get("key")
    numbered = False
    if "box" in read:
        values["box"] = read["box"].value
        numbered = bool(read["box"].value.numbers)
    values["scale"] = _scale(read.get("scale"), key, numbered, title, found)
    values["scale_by_key"] = "scale" in read and follows_key(read["scale"].value)
    if "scale" in read and key is not None and values["scale"] is None:
        unread.add("scale")
    missing = [(name, note) for name, note in head.required if name not in {*read, *unread} and not many.get(name)]
    found += _missing(missing, title) if missing else []
    if "box" in read and unread.isdisjoint(("key", "scale", "tuning")):
        values["area"] = _area(values, read["box"], title, found)
    if "from" in values:
        values["origin"] = values.pop("from")
    settings = Settings(
        **values,
        notes=tuple(one.value for one in many["note"]),
        meant=tuple(_intended(one) for one in many["meant"]),
        unread=frozenset(unread),
        written={name: one.span for name, one in read.items() if one.house is None},
        house={name: one.house for name, one in read.items() if one.house is not None},
    )
    return settings, found


def _read_fields(
    entries: Iterable[WrittenField],
    of_file: bool,
    read: dict[str, _Read],
    many: dict[str, list[_Read]],
    unread: set[str],
    found: list[Diagnostic],
) -> None:
    seen: set[str] = set()
    for n, entry in enumerate(entries):
        row = BY_NAME.get(entry.name)
        own = entry.name.startswith("x-")
        if entry.sign and (own or entry.name.lower() in BY_NAME):
            row = BY_NAME.get(entry.name.lower())
            found.append(_signed(entry))
        if row is None:
            if not own:
                near = OTHER_NAMES.get(entry.name.lower()) or nearest_name(entry.name, tuple(BY_NAME))
                unread |= {near} if near else set()
                hint = f"did you mean `{near}`?" if near else "a field of your own begins with x-"
                if entry.name.lower() in ("title", "lick-title", "song"):
                    hint = f'a title begins a lick: `lick "{entry.raw.strip()[:30] or "Porch light"}"`'
                fix = replacement_fix(*entry.name_span, entry.name.lower()) if entry.name.lower() in BY_NAME else None
                found.append(UNKNOWN.at(entry.name_span, f"there is no field `{entry.name[:30]}`", hint, fix=fix))
            continue
        if row.head_only and (n or not of_file):
            found.append(
                NOTATION.at(
                    entry.name_span, f"`{row.name}` is not the file's first line", "move it to the top, or leave it out"
                )
            )
        if row.name in seen and not row.repeats:
            found.append(TWICE.at(entry.name_span, f"`{row.name}` is given twice here", "keep one of them"))
        seen.add(row.name)
        one = _value(row, entry, of_file, found)
        if one is not None and row.repeats:
            many[row.name].append(one)
        elif one is not None:
            read[row.name] = one
            unread.discard(row.name)
        else:
            unread.add(row.name)


def _signed(entry: WrittenField) -> Diagnostic:
    """`Key: A minor`: no sign belongs after a field's name, which is written small."""
    name = entry.name.lower() if entry.name.lower() in BY_NAME else entry.name
    sign = Span(entry.name_span.end, entry.name_span.end + 1)
    gap = "" if entry.raw_at > sign.end or entry.raw[:1].isspace() else " "
    hint = f"write `{name} {entry.raw.strip()[:30]}`"
    fix = (
        replacement_fix(*sign, gap)
        if name == entry.name
        else replacement_fix(entry.name_span.start, sign.end, name + gap)
    )
    return LINE.at(sign, f"no `{entry.sign}` after a field's name", hint, fix=fix)


def _value(row: FieldRow, entry: WrittenField, of_file: bool, found: list[Diagnostic]) -> _Read | None:
    raw = entry.raw.rstrip()
    text = " ".join(raw.split())
    span = Span(entry.raw_at, entry.raw_at + len(raw))
    try:
        if not text:
            raise ValueError(f"`{row.name}` has no value")
        value = row.parse(text)
        if row.name == "notation" and value > NOTATION_READ:
            found.append(
                NOTATION.at(
                    span,
                    f"the file is written in notation {value}, this program reads {NOTATION_READ}",
                    "update Lickwright to read it",
                )
            )
    except ValueError as e:
        found.append(_wrong(row, entry, str(e)))
        return None
    return _Read(value, span, entry.raw, entry.raw_at, of_file)


def _wrong(row: FieldRow, entry: WrittenField, message: str) -> Diagnostic:
    """A value that cannot be read; the caret stands under the word that the message names."""
    raw = entry.raw.rstrip()
    apart = re.match(r"([:=])[ \t]*(?=[^ \t\n])", raw)
    if apart and _readable(row, raw[apart.end() :]):
        where = Span(entry.raw_at, entry.raw_at + 1)
        fix = replacement_fix(entry.name_span.start, entry.raw_at + apart.end(), f"{entry.name} ")
        return LINE.at(
            where, f"no `{apart[1]}` after a field's name", f"write `{row.name} {raw[apart.end() :][:30]}`", fix=fix
        )
    named = re.search(r'[`"]([^`"]+)[`"]', message)
    at = raw.find(named[1]) if named else -1
    if named and at >= 0:
        span = Span(entry.raw_at + at, entry.raw_at + at + len(named[1]))
    elif raw:
        span = Span(entry.raw_at, entry.raw_at + len(raw))
    else:
        span = entry.name_span
    return VALUE.at(span, message, f"`{row.name}` is {row.summary}", fix=_mended(row, entry.raw_at, raw))


def _mended(row: FieldRow, at: int, raw: str) -> Fix | None:
    """The value with its quotes straight or its capitals right, where one such spelling can be read."""
    sure = set()
    for text in (raw.translate(_STRAIGHT), raw.lower(), raw[:1].upper() + raw[1:]):
        if _readable(row, text):
            sure.add(text)
    return replacement_fix(at, at + len(raw), sure.pop()) if len(sure) == 1 and "\n" not in raw else None


def _readable(row: FieldRow, text: str) -> bool:
    """Whether the field has such a value."""
    try:
        row.parse(" ".join(text.split()))
    except ValueError:
        return False
    return True


def _intended(read: _Read) -> Suppression:
    code, bar, reason = read.value
    return Suppression(code, bar, reason, read.span, read.of_file)


def _missing(wanted: list[tuple[str, RelatedInformation]], title: Span) -> list[Diagnostic]:
    """One finding for all fields that a lick lacks."""
    names = [f"`{name}`" for name, _ in wanted]
    verb = "are" if len(names) > 1 else "is"
    lines = ", ".join(f"`{name} …` ({BY_NAME[name].summary})" for name, _ in wanted)
    hint = f"write in the lick or at the top of its file: {lines}"
    return [
        MISSING.at(
            title,
            f"{join_words(names)} {verb} missing, which every lick here must have",
            hint,
            tuple(note for _, note in wanted),
        )
    ]


def _about(name: str, read: _Read, title: Span, message: str) -> Diagnostic:
    """A value that makes no sense in this lick, wherever it was set."""
    hint = f"`{name}` is {BY_NAME[name].summary}"
    return VALUE.at(title if read.house else read.span, message, hint, (read.house,) if read.house else ())


def _scale(read: _Read | None, key: Key | None, numbered: bool, title: Span, found: list[Diagnostic]) -> Scale | None:
    if read is None:
        return default_scale(key, numbered) if key else None
    try:
        return parse_scale(read.value, key)
    except ValueError as e:
        found.append(_about("scale", read, title, str(e)))
        return None


def _area(values: Mapping[str, Any], box: _Read, title: Span, found: list[Diagnostic]) -> Area | None:
    """Where the box lies; None without a key, since the checks are off then and say so, and where it cannot lie anywhere."""
    key, spec = values.get("key"), box.value
    if key is None and spec is not None and spec.window is None:
        return None
    names = ("tuning", "frets", "capo", "numbering")
    tuning, frets, capo, numbering = (values.get(name, getattr(_DEFAULTS, name)) for name in names)
    try:
        return box_area(spec or BoxSpec(), key, values["scale"], tuning, max(1, frets - capo), numbering)
    except ValueError as e:
        found.append(_about("box", box, title, str(e)))
        return None


_DEFAULTS = Settings()
