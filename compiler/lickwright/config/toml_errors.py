"""TOML read with the standard library, its complaints in a player's words.

In: a text. Out: the values that could be read, the findings, and whether what was left out is whole lines (so that the rest is sure).
"""

from __future__ import annotations

import re
from typing import Any

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source, Span
from lickwright.settings.project_rules import SYNTAX

_DOTS = 200  # in a line: a name of thousands of parts takes the library minutes
ROUNDS = 20  # lines that cannot be read; who has more of them reads the help first
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_GRAMMAR = 'a setting is a name, `=` and a value: `width = 100`, `by = "Mara Quill"`'

# What the library says, by how it begins: what we say, and how it is mended.
_WORDS = (
    ("Expected '=' after a key", "there is no `=` between a name and its value", _GRAMMAR),
    ("Expected newline or end of document", "something stands after the value", "one setting a line"),
    ("Cannot overwrite a value", "this is set twice", "leave one of them"),
    ("Duplicate inline table key", "this is set twice", "leave one of them"),
    ("Cannot declare", "this section begins twice", "put what belongs together under one heading"),
    ("Cannot mutate", "this was written in another way above", "keep to one way"),
    ("Cannot redefine", "this was written in another way above", "keep to one way"),
    ("Expected ']", "the section's name has no closing bracket", "a section is its name in brackets: [make]"),
    ("Unclosed array", "a list has no closing bracket, or a comma is missing in it", 'a list is written `["tab", "midi"]`'),
    ("Unclosed inline table", "a brace has no partner, or a comma is missing", "better write a section: [make]"),
    ("Unterminated string", "a quote has no partner", 'words stand between two straight quotes: `"Mara Quill"`'),
    ("Unescaped", "a `\\` in quotes begins a sign of its own", "write `/` between folders, and `\\\\` for a real one"),
    ("Invalid hex value", "a `\\` in quotes begins a sign of its own", "write `/` between folders, and `\\\\` for a real one"),
    ("Escaped character", "a `\\` in quotes begins a sign that is none", "write the sign itself"),
    ("Illegal character '\\n'", "a quote has no partner", 'words stand between two straight quotes: `"Mara Quill"`'),
    ("Illegal character", "a sign stands here that has no place in a line", "in quotes that end on the same line, write words only"),
    ("Invalid date", "this is no date, and no setting takes one", 'words stand in quotes: `"2026"`'),
    ("Invalid initial character", "no name begins like this", _GRAMMAR),
    ("Invalid statement", "no setting begins like this", _GRAMMAR),
    ("Invalid value", "this is not a value", 'words stand in quotes: `"Mara Quill"`; numbers, true and false do not'),
    ("Found invalid character", "a sign stands here that has no place in a text", "take it out"),
)  # fmt: skip

_OPEN = {message for begin, message, _ in _WORDS if begin.startswith("Unclosed")}


def toml_values(source: Source) -> tuple[dict[str, Any], list[Diagnostic], bool]:
    """What the text says, what is wrong with it, and whether the rest can be relied on."""
    import tomllib

    found: list[Diagnostic] = []
    if any(line.count(".") > _DOTS for line in source.text.split("\n")):
        found.append(
            SYNTAX.at(Span(0, 0), f"a line with more than {_DOTS} dots in it", "no setting's name has so many parts")
        )
        return {}, found, False
    for _ in range(ROUNDS):
        try:
            return tomllib.loads(blank_faulty_lines(source, found)), found, True
        except RecursionError:
            found.append(
                SYNTAX.at(Span(0, 0), "brackets within brackets, far too many", "no setting has more than one pair")
            )
            return {}, found, False
        except ValueError as e:
            place = _PLACE.search(str(e))
            if place is None:  # a number of thousands of digits
                found.append(SYNTAX.at(Span(0, 0), "a number is far too long", "numbers here have a few digits"))
                return {}, found, False
            found.append(_finding(source, str(e), place))
            if _runs_on(source, found[-1]):
                return {}, found, False
    return {}, found, False


def blank_faulty_lines(source: Source, found: list[Diagnostic]) -> str:
    """The text without the lines that findings are about, every place kept."""
    text = source.text
    for d in found:
        start, end = _line(source, d)
        text = text[:start] + " " * (end - start) + text[end:]
    return text


def _line(source: Source, d: Diagnostic) -> tuple[int, int]:
    place = source.position(d.span.start)
    start = d.span.start - place.column + 1
    return start, start + len(source.line(place.line))


def _runs_on(source: Source, d: Diagnostic) -> bool:
    """Whether the trouble may reach past its line, or began before it."""
    start, end = _line(source, d)
    line = source.text[start:end]
    return not line.strip() or d.message in _OPEN or bool(re.search(r"[\[\]{}]|\"\"\"|'''", line))


def _finding(source: Source, error: str, place: re.Match[str]) -> Diagnostic:
    said = next(((message, hint) for begin, message, hint in _WORDS if error.startswith(begin)), None)
    message, hint = said or ("this line cannot be read", _GRAMMAR)
    text = source.text
    at = len(text.rstrip())
    if place[1]:
        at = _offset(source, int(place[1]), int(place[2]))
    if at >= len(text) or text[at] == "\n":  # at a line's end: what is wrong stands before it
        at = max(0, at - 1)
    start, end = _line(source, SYNTAX.at(Span(at, at), message))
    rest = re.match(r"[^\s#,\]}]+(?: +[^\s#,\]}=]+)*", text[at:end])
    stop = at + len(rest[0]) if rest else at + 1
    line = text[start:end]
    curly = re.search("[“”„«»]", line)
    if curly:
        at, stop = start + curly.start(), start + curly.end()
        message, hint = f'`{curly[0]}` is a curly quote, not `"`', "a word processor makes them: write straight quotes"
    elif message == "this is not a value" and (word := text[at:stop]).lower() in (
        "true",
        "false",
        "yes",
        "no",
        "on",
        "off",
    ):
        hint = "true and false are written small, without quotes"
        message = f"`{word}` is not a value"
    elif message == "this is not a value" and re.match(r"[^\W\d]", text[at:stop]):
        message, hint = f"`{text[at:stop][:40]}` is not in quotes", f'write `"{text[at:stop][:40]}"`'
    elif "no `=`" in message:
        at, stop = start + len(line) - len(line.lstrip()), start + len(line.split("#")[0].rstrip())
    elif "partner" in message and (quote := re.search("[\"']", line)):
        at, stop = start + quote.start(), start + quote.end()
    elif "twice" in message:
        at, stop = start + len(line) - len(line.lstrip()), start + len(re.split("[=#]", line)[0].rstrip())
    return SYNTAX.at(Span(at, max(at + 1, stop)), message, hint)


def _offset(source: Source, line: int, column: int) -> int:
    return min(len(source.text), sum(len(source.line(n)) + 1 for n in range(1, line)) + column - 1)
