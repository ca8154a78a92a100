"""Reading a `lickwright.toml`: all mistakes in it at once, each at its place.

In: its path. Out: a `ProjectConfig`; what cannot be read is a finding and left out. The standard library parses the TOML. A line that it cannot
parse is blanked and parsing goes on, unless a list or long string may run past the line: nothing after it would be certain.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from lickwright.config import toml_errors
from lickwright.config.project_config import ProjectConfig
from lickwright.config.setting_rows import (
    BY_PLACE,
    SECTIONS,
    SETTINGS,
    SEVERITIES,
    SettingRow,
    field_setting,
    toml_type,
)
from lickwright.config.toml_spans import NamePath, NamePlace, toml_names
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.digest import blake2b
from lickwright.core.file_bytes import Unopened, read_file
from lickwright.core.files import NOT_TEXT, UNREADABLE
from lickwright.core.nearest_name import nearest_name
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.export import Album
from lickwright.settings.fields import BY_NAME, rows_with_sounds
from lickwright.settings.other_names import OTHER_NAMES
from lickwright.settings.project_rules import FIXED, SYNTAX, UNKNOWN, VALUE, ProjectField

if TYPE_CHECKING:
    from lickwright.music.instruments import InstrumentRow

MAX_BYTES = 1 << 16  # far more than all settings take; bounds the work on a hostile file
MOST = 100  # findings; reading stops after them


def read_project_config(path: str, shown: str, read: Callable[[str], bytes] = read_file) -> ProjectConfig:
    """Return the project config at `path`; `shown` is the name that the user sees, `read` reads the bytes of a path."""
    try:
        data = read(path)
        if len(data) > MAX_BYTES:
            raise Unreadable(
                f"the file is larger than 64 KiB ({len(data):,} bytes)", "a lickwright.toml is a page at most"
            )
        source = decode_source(shown, data)
    except Unreadable as e:
        rule = UNREADABLE if isinstance(e, Unopened) else NOT_TEXT
        return ProjectConfig(Source(shown, ""), path=shown, findings=(rule.at(Span(0, 0), str(e), e.hint),))
    return parse_project_config(source)


def parse_project_config(source: Source) -> ProjectConfig:
    """Return the project config that a text describes."""
    values, found, sure = toml_errors.toml_values(source)
    reading = _Reading(source, found)
    if sure:
        try:
            reading.read(values, toml_names(toml_errors.blank_faulty_lines(source, found)))
        except (ValueError, RecursionError):
            found.append(SYNTAX.at(Span(0, 0), "it cannot be told where its names stand", "write one setting a line"))
    return reading.project_config()


class _Reading:
    """The settings of one file that have been read so far."""

    def __init__(self, source: Source, found: list[Diagnostic]) -> None:
        self._source = source
        self._found = found
        self._where: dict[NamePath, NamePlace] = {}
        self._fields: dict[str, ProjectField] = {}
        self._unread: set[str] = set()
        self._required: dict[str, Span] = {}
        self._severities: dict[str, Severity | None] = {}
        self._make: dict[str, Any] = {}
        self._album: dict[str, Any] = {}
        self._sounds: dict[str, InstrumentRow] = {}

    def read(self, values: dict[str, Any], where: dict[NamePath, NamePlace]) -> None:
        """Read all names in the order of the text."""
        self._where = where
        for section, name, value in sorted(
            _settings(values), key=lambda one: one[0] != "sounds"
        ):  # [fields] names them
            if len(self._found) >= MOST:
                return
            path = (section, name) if section else (name,)
            row = self._row(section, name)
            if section == "findings":
                self._set_severity(path, name, value)
            elif section == "sounds" and (isinstance(value, dict) or not any(row.name == name for row in SETTINGS)):
                self._set_sound(path, name, value)
            elif row is not None:
                self._set(path, row, value)
            elif not section and name in SECTIONS:
                self._report(
                    VALUE, path, f"`{name}` is a section: it stands in brackets, alone on its line", f"[{name}]", value
                )
            else:
                self._unknown(path, section, name, value)

    def _row(self, section: str, name: str) -> SettingRow | None:
        """Return the row of a setting; a field `sound` may name the sounds of this file."""
        if (section, name) == ("fields", "sound"):
            return field_setting(rows_with_sounds(self._sounds)[name])
        return BY_PLACE.get((section, name))

    def _set(self, path: NamePath, row: SettingRow, value: Any) -> None:
        try:
            read = row.parse(value)
        except ValueError as e:
            if row.section == "fields":
                self._unread.add(row.name)
            self._report(VALUE, path, str(e), f"`{row.name}`: {row.summary}", value)
            return
        if row.section == "fields":
            field, words = read
            self._fields[row.name] = ProjectField(field, words, self._where[path].value)
        elif row.section == "album":
            self._set_tag(path, row.name, read)
        elif row.section == "make" and row.name == "out":
            self._set_out(path, read)
        elif row.section == "make":
            self._make[row.name] = read
        elif row.section == "names":
            self._make["names"] = read
        else:
            self._required = {name: self._word(self._where[path].value, name) for name in read}

    def _set_tag(self, path: NamePath, name: str, value: Any) -> None:
        """Read one line of [album]."""
        if name != "cover":
            self._album[name] = str(value)
            return
        from lickwright.config.cover import read_cover

        try:
            self._album[name] = read_cover(value, os.path.dirname(self._source.name))
        except ValueError as e:
            self._report(VALUE, path, str(e), "name a PNG or JPEG file in this folder or below it", value)

    def _set_out(self, path: NamePath, name: str) -> None:
        """Set the folder to write into: below that of the file by real path too, since a link may have come with the library."""
        here = os.path.dirname(self._source.name)
        out = os.path.join(here, name)
        if "://" not in here:
            real, home = os.path.realpath(out), os.path.realpath(here or ".")
            if real != home and not real.startswith(os.path.join(home, "")):
                message = f"`{name[:60]}` is a link that leads out of this folder: only --out leads there"
                self._report(VALUE, path, message, "name a folder below that of lickwright.toml", name)
                return
        self._make["out"] = out

    def _set_severity(self, path: NamePath, code: str, value: Any) -> None:
        """Read one line of [findings]."""
        from lickwright.compiler.rules import find_rule

        rule = find_rule(code.upper()) if re.fullmatch("[Ll][0-9]{3}", code) else None
        if rule is None:
            hint = (
                "lickwright why lists the codes"
                if re.fullmatch("[Ll][0-9]{3}", code)
                else "a finding is named by its code, such as L203"
            )
            self._report(UNKNOWN, path, f"there is no finding `{code[:30]}`", hint)
        elif not isinstance(value, str) or (value not in SEVERITIES and value != Severity.INFO):
            near = nearest_name(value, list(SEVERITIES)) if isinstance(value, str) else None
            hint = f"did you mean `{near}`?" if near else f"there are {', '.join(SEVERITIES)}"
            shown = f"`{value[:30]}`" if isinstance(value, str) else toml_type(value)
            self._report(VALUE, path, f"{shown} is not a severity", hint, value)
        elif rule.severity is Severity.ERROR and value != Severity.ERROR.value:
            hint = "leave the line out: what cannot be played or read cannot be made, whatever it is called"
            self._report(FIXED, path, f"{rule.code} ({rule.name}) is an error and stays one", hint, value)
        else:
            self._severities[rule.code] = SEVERITIES.get(value, Severity.INFO)

    def _set_sound(self, path: NamePath, name: str, value: Any) -> None:
        """Read one section such as [sounds.mine]."""
        from lickwright.music.custom_sound import read_sound

        if not isinstance(value, dict):
            hint = f"[sounds.mine] begins one, and its settings stand below it: {name[:30]} = …"
            self._report(
                VALUE, path, f"{toml_type(value)} is here, where a sound has a section of its own", hint, value
            )
            return
        sound, mistakes = read_sound(name, value)
        for setting, message, hint, unknown in mistakes:
            code, place = (UNKNOWN if unknown else VALUE), ((*path, setting) if setting else path)
            self._report(code, place, message, hint, value[setting] if setting and not unknown else None)
        self._sounds[name] = sound

    def _unknown(self, path: NamePath, section: str, name: str, value: Any) -> None:
        """Report a name that does not exist, or that belongs elsewhere."""
        shown = name[:30]
        homes = [row.section for row in SETTINGS if row.name == name]
        if isinstance(value, dict):
            near = nearest_name(name, tuple(SECTIONS))
            hint = f"did you mean [{near}]?" if near else f"there are {', '.join(f'[{s}]' for s in SECTIONS)}"
            self._report(UNKNOWN, path, f"there is no section [{shown}]", hint)
            return
        if homes:
            place = " or ".join(f"under [{home}]" if home else "at the top, before the first section" for home in homes)
            here = f"under [{section}]" if section else "at the top"
            self._report(UNKNOWN, path, f"`{shown}` does not stand {here}", f"write it {place}")
            return
        message = f"there is no setting `{shown}`" + (f" under [{section}]" if section else "")
        self._report(UNKNOWN, path, message, _suggest_setting(section, name))

    def _report(self, rule: Any, path: NamePath, message: str, hint: str, value: Any = None) -> None:
        """Add a finding under the name, or under the value that is wrong."""
        where = self._where[path]
        span = where.name
        if value is not None:
            span = where.value
            named = re.search(r"[`\"]([^`\"]+)[`\"]", message)
            span = self._word(span, named[1]) if named else span
        self._found.append(rule.at(span, message, hint))

    def _word(self, span: Span, word: str) -> Span:
        """Return the span of `word` within a value; the whole value if the word is not in it."""
        match = re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", self._source.text[span.start : span.end])
        return span if match is None else Span(span.start + match.start(), span.start + match.end())

    def project_config(self) -> ProjectConfig:
        """Return what was read, with all findings by place."""
        found = sorted(self._found, key=lambda d: d.span)
        return ProjectConfig(
            self._source, self._fields, frozenset(self._unread), self._required, self._severities, self._sounds,
            self._source.name, self._key(), self._make,
            Album(**self._album) if self._album else None, tuple(found),
        )  # fmt: skip

    def _key(self) -> str:
        """Return a hash of all that can change the outputs of a lick or the places that its findings point to."""
        parts = (
            [(name, given.text, tuple(given.span)) for name, given in sorted(self._fields.items())],
            [(name, tuple(span)) for name, span in sorted(self._required.items())],
            [(code, str(weight)) for code, weight in sorted(self._severities.items())],
            sorted(self._unread),
        )
        return blake2b(repr(parts).encode(), digest_size=16).hexdigest()


def _suggest_setting(section: str, name: str) -> str:
    """Return what a setting that does not exist could be: first among those of its section."""
    if section == "fields" and name in BY_NAME:
        return f"`{name}` belongs to a lick or its file"
    here = [row for row in SETTINGS if not section or row.section == section]
    row = _nearest_row(name, here) or _nearest_row(name, SETTINGS)
    if row is None:
        return f"there are {', '.join(dict.fromkeys(row.name for row in here))}"
    elsewhere = f" under [{row.section}]" if row.section not in ("", section) else ""
    return f"did you mean `{row.name}`{elsewhere}?"


def _nearest_row(name: str, rows: Sequence[SettingRow]) -> SettingRow | None:
    known = {row.name: row for row in rows}
    return known.get(OTHER_NAMES.get(name.lower()) or nearest_name(name, tuple(known)) or "")


def _settings(values: dict[str, Any]) -> Iterator[tuple[str, str, Any]]:
    """Yield section, name and value of every setting in the file; an unknown section as a whole."""
    for name, value in values.items():
        if name in SECTIONS and isinstance(value, dict):
            yield from ((name, inner, one) for inner, one in value.items())
        else:
            yield "", name, value
