"""The fields of a file's head or of one lick, read: their values, their places, and what is wrong with them.

In: fields as written, in order. Out: `FieldReader`, which holds the value of each field that could be read, the names of
those that could not, and the findings. Which of several values counts is decided in `resolution.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from lickwright.core.diagnostics import Diagnostic, Fix, RelatedInformation, replacement_fix
from lickwright.core.nearest_name import nearest_name
from lickwright.core.source import Span
from lickwright.core.version import NOTATION as NOTATION_READ
from lickwright.notation.rules import LINE
from lickwright.settings.fields import BY_NAME, NOTATION, TWICE, UNKNOWN, VALUE, FieldRow, WrittenField
from lickwright.settings.other_names import OTHER_NAMES

_STRAIGHT = str.maketrans("“”„«»‘’–—−♯♭", '"""""\'\'---#b')
_TITLE_NAMES = ("title", "lick-title", "song")  # fields that people write for a lick's title


class FieldValue(NamedTuple):
    """A field's value and its place."""

    value: Any  # as the field's row reads it
    span: Span  # of the value
    of_file: bool  # it stands in the file's head
    set_by: RelatedInformation | None = None  # where the project's file sets it; `span` is in that file then


class FieldReader:
    """The fields read so far, later ones over earlier ones."""

    __slots__ = ("_rows", "found", "read", "repeated", "unread")

    def __init__(
        self,
        read: dict[str, FieldValue],
        repeated: dict[str, list[FieldValue]],
        unread: set[str],
        rows: Mapping[str, FieldRow] = BY_NAME,
    ) -> None:
        self._rows = rows  # the fields that there are, by name
        self.read = read  # by name
        self.repeated = repeated  # the fields that may be repeated: all their values, by name
        self.unread = unread  # names of fields whose value could not be read
        self.found: list[Diagnostic] = []

    def copy(self) -> FieldReader:
        """Return a reader that goes on from here, without the findings."""
        repeated = {name: list(values) for name, values in self.repeated.items()}
        return FieldReader(dict(self.read), repeated, set(self.unread), self._rows)

    def read_fields(self, entries: Iterable[WrittenField], of_file: bool) -> None:
        """Read the fields of a file's head (`of_file`) or of one lick."""
        seen: set[str] = set()
        for n, entry in enumerate(entries):
            row = self._row(entry)
            if row is not None:
                self._judge_place(row, entry, n == 0 and of_file, row.name in seen)
                seen.add(row.name)
                self._read_value(row, entry, of_file)

    def _row(self, entry: WrittenField) -> FieldRow | None:
        """Return the row of a field; None where there is none, which is reported unless the writer made the name up."""
        name = entry.name.lower()
        own = entry.name.startswith("x-")
        if entry.sign and (own or name in BY_NAME):
            self.found.append(_signed(entry))
            return self._rows.get(name)
        row = self._rows.get(entry.name)
        if row is None and not own:
            self._report_unknown(entry)
        return row

    def _report_unknown(self, entry: WrittenField) -> None:
        name = entry.name.lower()
        near = OTHER_NAMES.get(name) or nearest_name(entry.name, tuple(BY_NAME))
        if near:
            self.unread.add(near)
        hint = f"did you mean `{near}`?" if near else "a field of your own begins with x-"
        if name in _TITLE_NAMES:
            hint = f'a title begins a lick: `lick "{entry.raw.strip()[:30] or "Porch light"}"`'
        fix = replacement_fix(*entry.name_span, name) if name in BY_NAME else None
        self.found.append(UNKNOWN.at(entry.name_span, f"there is no field `{entry.name[:30]}`", hint, fix=fix))

    def _judge_place(self, row: FieldRow, entry: WrittenField, first_line: bool, again: bool) -> None:
        if row.head_only and not first_line:
            message = f"`{row.name}` is not the file's first line"
            self.found.append(NOTATION.at(entry.name_span, message, "move it to the top, or leave it out"))
        if again and not row.repeats:
            self.found.append(TWICE.at(entry.name_span, f"`{row.name}` is given twice here", "keep one of them"))

    def _read_value(self, row: FieldRow, entry: WrittenField, of_file: bool) -> None:
        value = _value(row, entry, of_file, self.found)
        if value is None:
            self.unread.add(row.name)
        elif row.repeats:
            self.repeated[row.name].append(value)
        else:
            self.read[row.name] = value
            self.unread.discard(row.name)


def _signed(entry: WrittenField) -> Diagnostic:
    """Return the finding for `Key: A minor`: no sign belongs after a field's name, which is written small."""
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


def _value(row: FieldRow, entry: WrittenField, of_file: bool, found: list[Diagnostic]) -> FieldValue | None:
    """Return the value of a field; None for one that cannot be read, which is added to `found`."""
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
    return FieldValue(value, span, of_file)


def _wrong(row: FieldRow, entry: WrittenField, message: str) -> Diagnostic:
    """Return the finding for a value that cannot be read; the caret stands under the word that the message names."""
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
    """Return the fix that makes quotes straight or capitals right, where just one such spelling can be read."""
    sure = set()
    for text in (raw.translate(_STRAIGHT), raw.lower(), raw[:1].upper() + raw[1:]):
        if _readable(row, text):
            sure.add(text)
    return replacement_fix(at, at + len(raw), sure.pop()) if len(sure) == 1 and "\n" not in raw else None


def _readable(row: FieldRow, text: str) -> bool:
    """Return True if the field can have such a value."""
    try:
        row.parse(" ".join(text.split()))
    except ValueError:
        return False
    return True
