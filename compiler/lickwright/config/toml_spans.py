"""The spans of the names and values in a TOML text.

In: a text that the standard library has read as TOML without error (which gives values, but no positions). Out: for each name, as the path to
it, the spans of the name and of its value. Only the first levels are kept, since no setting lies deeper; no value is checked here.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from lickwright.core.source import Span

DEPTH = 4  # names in a path that is kept
NamePath = tuple[str | int, ...]  # names, and numbers for the places in a list

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")  # between statements, and inside lists
_BARE_VALUE = re.compile(r"[^,\]}#\n]*")  # a number, a date, true
_STRINGS = (
    re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*""""{0,2}', re.DOTALL),
    re.compile(r"'''(?:[^']|'(?!''))*''''{0,2}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


class NamePlace(NamedTuple):
    """The spans of one name and its value. For a section both are those of its name."""

    name: Span
    value: Span


def toml_names(text: str) -> dict[NamePath, NamePlace]:
    """Return every name of a TOML text within `DEPTH`, in the order of the text. Raises ValueError for text that is no TOML."""
    scan = _Scan(text)
    scan.statements()
    return scan.found


class _Scan:
    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._lists: dict[NamePath, int] = {}  # `[[…]]`: how many so far
        self.found: dict[NamePath, NamePlace] = {}

    def statements(self) -> None:
        section: NamePath = ()
        self._skip(_BLANK)
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                section = self._section()
            else:
                self._setting(section)
            self._skip(_BLANK)

    def _section(self) -> NamePath:
        """`[make]`, or `[[one]]` of a list of sections."""
        many = self._text.startswith("[[", self._at)
        self._at += 2 if many else 1
        parts = self._names()
        self._at += 2 if many else 1
        path: NamePath = ()
        for n, (part, span) in enumerate(parts):
            path = (*path, part)[:DEPTH]
            self._keep(path, span, span)
            if many and n == len(parts) - 1:
                self._lists[path] = self._lists.get(path, 0) + 1
            if path in self._lists:
                path = (*path, self._lists[path] - 1)[:DEPTH]
        return path

    def _setting(self, section: NamePath) -> None:
        """`name = value`."""
        parts = self._names()
        self._spaces()
        if not self._text.startswith("=", self._at):
            raise ValueError("no TOML")
        self._at += 1
        path = section
        new: list[tuple[NamePath, Span]] = []
        for part, span in parts:
            path = (*path, part)[: DEPTH + 1]
            new.append((path, span))
        value = self._value(path)
        for path, span in new[:DEPTH]:
            self._keep(path, span, value)

    def _names(self) -> list[tuple[str, Span]]:
        """`fields.key`, each part bare or in quotes."""
        parts: list[tuple[str, Span]] = []
        while True:
            self._spaces()
            start = self._at
            match = _BARE.match(self._text, start)
            if match is None:
                raw = self._quoted()
                name = _unquoted(raw)
            else:
                self._at, name = match.end(), match[0]
            parts.append((name, Span(start, self._at)))
            self._spaces()
            if not self._text.startswith(".", self._at):
                return parts
            self._at += 1

    def _value(self, path: NamePath) -> Span:
        self._spaces()
        start = self._at
        sign = self._text[start : start + 1]
        if sign == "[":
            self._list(path)
        elif sign == "{":
            self._inline(path)
        elif sign in ('"', "'"):
            self._quoted()
        else:
            self._skip(_BARE_VALUE)
            return Span(start, start + len(self._text[start : self._at].rstrip()))
        return Span(start, self._at)

    def _list(self, path: NamePath) -> None:
        self._at += 1
        number = 0
        while not self._closed("]"):
            inner = (*path, number)[: DEPTH + 1]
            span = self._value(inner)
            self._keep(inner, span, span)
            number += 1

    def _inline(self, path: NamePath) -> None:
        self._at += 1
        while not self._closed("}"):
            self._setting(path)

    def _closed(self, sign: str) -> bool:
        """Skip what is between the values of a list; return True at its end, which is skipped too."""
        self._skip(_BLANK)
        if self._text.startswith(",", self._at):
            self._at += 1
            self._skip(_BLANK)
        if self._at >= len(self._text):
            raise ValueError("no TOML")
        closed = self._text[self._at] == sign
        self._at += closed
        return closed

    def _quoted(self) -> str:
        for string in _STRINGS:
            match = string.match(self._text, self._at)
            if match is not None:
                self._at = match.end()
                return match[0]
        raise ValueError("no TOML")

    def _spaces(self) -> None:
        while self._text[self._at : self._at + 1] in (" ", "\t"):
            self._at += 1

    def _skip(self, what: re.Pattern[str]) -> None:
        match = what.match(self._text, self._at)
        if match is not None:
            self._at = match.end()

    def _keep(self, path: NamePath, name: Span, value: Span) -> None:
        if len(path) <= DEPTH:
            self.found.setdefault(path, NamePlace(name, value))


def _unquoted(raw: str) -> str:
    if raw[0] == "'" or "\\" not in raw:
        return raw[1:-1]
    import tomllib

    return str(tomllib.loads(f"name = {raw}")["name"])
