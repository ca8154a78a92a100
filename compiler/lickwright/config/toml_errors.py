"""TOML read with the standard library, its errors in a player's words.

In: a text. Out: the values that could be read, the findings, and whether only whole lines were left out (so that the rest is certain).
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source, Span
from lickwright.settings.project_rules import SYNTAX

_DOTS = 200  # in a line: a name of thousands of parts takes the library minutes
ROUNDS = 20  # lines that cannot be read, before the rest is given up (estimate)
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_GRAMMAR = 'a setting is a name, `=` and a value: `width = 100`, `by = "Mara Quill"`'

_NO_VALUE = "this is not a value"

# How a message of the library begins: what is said instead, and how to fix it.
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
    ("Invalid value", _NO_VALUE, 'words stand in quotes: `"Mara Quill"`; numbers, true and false do not'),
    ("Found invalid character", "a sign stands here that has no place in a text", "take it out"),
)  # fmt: skip

_OPEN = {message for begin, message, _ in _WORDS if begin.startswith("Unclosed")}


def toml_values(source: Source) -> tuple[dict[str, Any], list[Diagnostic], bool]:
    """Return the values of the text, its findings, and True if the values can be relied on."""
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
    """Return the text with the lines that findings are about blanked: every offset stays what it was."""
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
    """True if the trouble may reach past its line, or began before it."""
    start, end = _line(source, d)
    line = source.text[start:end]
    return not line.strip() or d.message in _OPEN or bool(re.search(r"[\[\]{}]|\"\"\"|'''", line))


class _Fault(NamedTuple):
    """A fault in one line: where it is, and what is said about it."""

    line: str
    start: int  # offset of the line in the text
    at: int  # offset of the fault in the line
    stop: int
    message: str
    hint: str

    @property
    def words(self) -> str:
        """The text of the fault."""
        return self.line[self.at : self.stop]


def _finding(source: Source, error: str, place: re.Match[str]) -> Diagnostic:
    """Return the finding for an error of the library, under the smallest part of the line that is at fault."""
    known = ((message, hint) for begin, message, hint in _WORDS if error.startswith(begin))
    message, hint = next(known, ("this line cannot be read", _GRAMMAR))
    fault = _located(source, place, message, hint)
    refined = (refine(fault) for refine in _REFINEMENTS)
    fault = next((one for one in refined if one is not None), fault)
    at = fault.start + fault.at
    return SYNTAX.at(Span(at, max(at + 1, fault.start + fault.stop)), fault.message, fault.hint)


def _located(source: Source, place: re.Match[str], message: str, hint: str) -> _Fault:
    text = source.text
    at = _offset(source, int(place[1]), int(place[2])) if place[1] else len(text.rstrip())
    if at >= len(text) or text[at] == "\n":  # at a line's end: what is wrong stands before it
        at = max(0, at - 1)
    start, end = _line(source, SYNTAX.at(Span(at, at), message))
    words = re.match(r"[^\s#,\]}]+(?: +[^\s#,\]}=]+)*", text[at:end])
    stop = at + (len(words[0]) if words else 1)
    return _Fault(text[start:end], start, at - start, stop - start, message, hint)


def _curly_quote(fault: _Fault) -> _Fault | None:
    curly = re.search("[“”„«»]", fault.line)
    if curly is None:
        return None
    message = f'`{curly[0]}` is a curly quote, not `"`'
    hint = "a word processor makes them: write straight quotes"
    return fault._replace(at=curly.start(), stop=curly.end(), message=message, hint=hint)


def _switch_word(fault: _Fault) -> _Fault | None:
    if fault.message != _NO_VALUE or fault.words.lower() not in {"true", "false", "yes", "no", "on", "off"}:
        return None
    hint = "true and false are written small, without quotes"
    return fault._replace(message=f"`{fault.words}` is not a value", hint=hint)


def _bare_words(fault: _Fault) -> _Fault | None:
    if fault.message != _NO_VALUE or not re.match(r"[^\W\d]", fault.words):
        return None
    words = fault.words[:40]
    return fault._replace(message=f"`{words}` is not in quotes", hint=f'write `"{words}"`')


def _whole_line(fault: _Fault) -> _Fault | None:
    if "no `=`" not in fault.message:
        return None
    return fault._replace(at=_indent(fault.line), stop=len(fault.line.split("#")[0].rstrip()))


def _lone_quote(fault: _Fault) -> _Fault | None:
    quote = re.search("[\"']", fault.line)
    if "partner" not in fault.message or quote is None:
        return None
    return fault._replace(at=quote.start(), stop=quote.end())


def _second_name(fault: _Fault) -> _Fault | None:
    if "twice" not in fault.message:
        return None
    return fault._replace(at=_indent(fault.line), stop=len(re.split("[=#]", fault.line)[0].rstrip()))


# Each returns the fault under a smaller part of the line or in better words, or None; the first that applies counts.
_REFINEMENTS = (_curly_quote, _switch_word, _bare_words, _whole_line, _lone_quote, _second_name)


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _offset(source: Source, line: int, column: int) -> int:
    return min(len(source.text), sum(len(source.line(n)) + 1 for n in range(1, line)) + column - 1)
