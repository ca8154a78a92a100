"""Patterns for the names of released files: `{chapter}-{number:02}-{title}`.

In: a pattern, then the values of each lick by the names of `FIELDS`. Out: a `Pattern`, or a ValueError in a player's words with the wrong word in
backticks; then a name that is safe on every system. Braces hold names and widths only: no attribute of an object is ever looked up.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from string import Formatter
from typing import NamedTuple

from lickwright.core.nearest_name import nearest_name
from lickwright.core.slugs import MAX_SLUG, slug

LAYOUTS = ("by-source", "by-format", "flat")  # folders of a release
MOST = 200  # characters of a pattern
NUMBERS = ("number", "file-number", "chapter-number", "book-number", "level", "tempo")
PATTERN_FIELDS: dict[str, str] = {
    "title": "the lick's title, as its files are named",
    "number": "its place in its chapter, from 1",
    "file-number": "its place in its file",
    "book-number": "its place in all that is made",
    "chapter": "the folder of its file; of a file in no folder the file's own name",
    "chapter-number": "the chapter's place in all that is made",
    "source": "the name of its file",
    "key": "its key", "scale": "its scale", "box": "its box", "level": "its level, worked out where none is declared",
    "tempo": "its tempo", "meter": "its meter", "feel": "its feel", "style": "its style", "by": "who wrote it",
}  # fmt: skip
_LITERAL = re.compile(r"[A-Za-z0-9 _.,&+'()-]*")
_WIDTH = re.compile(r"0?[1-9]?")
_SHORT = re.compile(r"(\.[1-9][0-9]?)?")


class Part(NamedTuple):
    """One part of a pattern: words, or a field and its format."""

    literal: str
    field: str = ""  # "" for words
    spec: str = ""


class Pattern(NamedTuple):
    """A pattern as read."""

    text: str
    parts: tuple[Part, ...]

    def name(self, values: Mapping[str, str | int]) -> str:
        """Return the name for a lick. A missing value is left out; the longest words are cut if the whole is too long."""
        pieces = [_written(part, values) for part in self.parts]
        while (over := len("".join(pieces)) - MAX_SLUG) > 0:
            words = [n for n, part in enumerate(self.parts) if part.field not in NUMBERS]
            at = max(words, key=lambda n: len(pieces[n]), default=None)
            if at is None or len(pieces[at]) < 2:
                break  # numbers alone: `slug` cuts them
            pieces[at] = pieces[at][: max(1, len(pieces[at]) - over)]
        whole = "".join(pieces)
        return slug(whole if any(char.isalnum() for char in whole) else str(values["title"]))


class Arrangement(NamedTuple):
    """How the files of a release are named and laid out."""

    pattern: Pattern | None  # None: as in the output folder
    layout: str  # one of `LAYOUTS`

    @property
    def usual(self) -> bool:
        """True if it is that of the output folder itself."""
        return self.pattern is None and self.layout == LAYOUTS[0]


def parse_pattern(text: str) -> Pattern:
    """Return the pattern that a text describes. Raises ValueError."""
    if len(text) > MOST:
        raise ValueError(f"the pattern is longer than {MOST} characters")
    parts: list[Part] = []
    try:
        found = list(Formatter().parse(text))
    except ValueError:
        raise ValueError("a `{` is never closed, or a `}` never opened") from None
    for literal, field, spec, conversion in found:
        _check_literal(literal)
        if literal:
            parts.append(Part(literal))
        if field is not None:
            parts.append(_field(field, spec or "", conversion))
    if not any(part.field for part in parts):
        raise ValueError("every lick would have the same name: write {title} or {number} in it")
    return Pattern(text, tuple(parts))


def _check_literal(literal: str) -> None:
    match = _LITERAL.match(literal)
    end = match.end() if match else 0
    if end == len(literal):
        return
    wrong = literal[end]
    if wrong in "/\\":
        raise ValueError(f"`{wrong}` would make folders, and these are for `layout` under [make] to say")
    raise ValueError(f"`{wrong}` cannot stand in the name of a file")


def _field(field: str, spec: str, conversion: str | None) -> Part:
    if field not in PATTERN_FIELDS:
        near = nearest_name(field, tuple(PATTERN_FIELDS))
        raise ValueError(
            f"there is no field `{field[:30]}`" + (f": {near}?" if near else f": there are {', '.join(PATTERN_FIELDS)}")
        )
    if conversion is not None:
        raise ValueError(f"`!{conversion[:10]}` cannot stand after a field")
    if field in NUMBERS and not _WIDTH.fullmatch(spec):
        raise ValueError(f"`{spec[:10]}` is not a width of a number: {{{field}:02}} writes two digits")
    if field not in NUMBERS and not _SHORT.fullmatch(spec):
        raise ValueError(f"`{spec[:10]}` cannot stand after words: {{{field}:.20}} keeps twenty letters of them")
    return Part("", field, spec)


def _written(part: Part, values: Mapping[str, str | int]) -> str:
    if not part.field:
        return part.literal
    value = values[part.field]
    if value == "":
        return ""
    if isinstance(value, int):
        width = part.spec.lstrip("0") or "0"
        return str(value).rjust(int(width), "0" if part.spec.startswith("0") else " ")
    return slug(value)[: int(part.spec[1:]) if part.spec else None]
