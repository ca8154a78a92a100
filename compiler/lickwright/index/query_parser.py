"""The parser of questions: `bend box:2 key:"A minor" level<=3 not slide`.

In: the text. Out: `QueryTerm` values, or a `QueryError` that says in a player's words what cannot be read, where, and what would be right. Which fields
there are and what they can be compared with is in `query_fields.py` and `query_conditions.py`.

Terms are separated by blanks, and all must hold. A term is a word or "words in quotes" to look for; `field:value`, with several values separated
by commas of which one must hold; or a comparison, `field<=3`. `not` negates the next term.
"""

from __future__ import annotations

import re
from typing import NamedTuple

LONGEST, MOST = 2000, 50  # characters and terms of a question
_STRAIGHT = str.maketrans("“”„«»＂", '""""""')
_FIELD = re.compile(r"([A-Za-z]+)(?::|\s*(<=|>=|=<|=>|!=|<>|<|>|=)\s*)")
_OTHERWISE = {"=": "{}:", "=<": "{}<=", "=>": "{}>=", "!=": "not {}:", "<>": "not {}:"}  # as others write it: as we do
_ITEM = re.compile(r'"([^"]*)"|([^\s,"]+)')
_WORD = re.compile(r'"([^"]*)"|([^\s"]+)')


class QueryError(ValueError):
    """A question that cannot be read."""

    def __init__(self, message: str, start: int, end: int, hint: str = "") -> None:
        super().__init__(message)
        self.start, self.end = start, end  # of the part that it is about, in characters
        self.hint = hint  # what would be right; "" where nobody knows


class Value(NamedTuple):
    """One value as written."""

    text: str
    quoted: bool
    start: int
    end: int


class QueryTerm(NamedTuple):
    """One thing that must hold."""

    field: str  # "": a bare word
    compare: str  # ":", "<", "<=", ">", ">="
    values: tuple[Value, ...]  # one of them must hold
    negated: bool
    start: int
    end: int


def parse_query(text: str) -> tuple[QueryTerm, ...]:
    """Return the terms of a question; none for an empty one, which every lick answers. Raises QueryError."""
    if len(text) > LONGEST:
        raise QueryError(f"the question is longer than {LONGEST:,} characters", 0, len(text), "ask for less at once")
    broken = (
        None if text.isascii() else re.search("[\ud800-\udfff]", text)
    )  # bytes that are no text, as a command line hands them on
    if broken is not None:
        raise QueryError(
            "here stands something that is no letter", broken.start(), broken.end(), "write it as UTF-8 text"
        )
    if '"' not in text:
        text = text.translate(_STRAIGHT)
    terms: list[QueryTerm] = []
    at, turned = _skip(text, 0), None
    while at < len(text):
        if (word := re.compile(r"(?i:not)(?=\s|$)").match(text, at)) is not None:
            turned = None if turned is not None else (at, word.end())
            at = _skip(text, word.end())
            continue
        term = _term(text, at, turned is not None)
        terms.append(term)
        at, turned = _skip(text, term.end), None
        if len(terms) > MOST:
            raise QueryError(f"these are more than {MOST} terms", term.start, term.end, "ask for less at once")
    if turned is not None:
        raise QueryError("`not` stands before nothing", *turned, "write what must not be: not slide")
    return tuple(terms)


def _skip(text: str, at: int) -> int:
    while at < len(text) and text[at].isspace():
        at += 1
    return at


def _term(text: str, at: int, negated: bool) -> QueryTerm:
    field = _FIELD.match(text, at)
    if field is None:
        value = _value(text, at, _WORD)
        return QueryTerm("", ":", (value,), negated, at, value.end)
    compare = field[2] or ":"
    if compare in _OTHERWISE:
        right = _OTHERWISE[compare].format(field[1])
        raise QueryError(f"`{compare}` is not used here", field.start(2), field.end(2), f"write {right}")
    if field.end() == len(text) or text[field.end()].isspace():
        raise QueryError(
            f"`{field[0].strip()}` needs a value",
            at,
            field.end(),
            f'as in {field[1]}{compare}3 or {field[1]}:"A minor"',
        )
    values = [_value(text, field.end(), _ITEM)]
    while text[values[-1].end : values[-1].end + 1] == ",":
        comma = values[-1].end
        if comma + 1 == len(text) or text[comma + 1].isspace():
            raise QueryError("a value is missing after the comma", comma, comma + 1, "no space after it: box:1,2")
        values.append(_value(text, comma + 1, _ITEM))
    return QueryTerm(field[1].lower(), compare, tuple(values), negated, at, values[-1].end)


def _value(text: str, at: int, shape: re.Pattern[str]) -> Value:
    item = shape.match(text, at)
    if item is None and text[at] == '"':
        raise QueryError("a quote is opened and never closed", at, len(text), 'close it: "A minor"')
    if item is None:
        raise QueryError(f"`{text[at]}` stands where a value should", at, at + 1, "as in box:1,2")
    if item[1] is not None:
        return Value(item[1], True, at, item.end())
    return Value(item[2], False, at, item.end())


def refuse_foreign_syntax(value: Value) -> None:
    """Raise QueryError for words and signs of other query languages, which would be looked for in vain."""
    word = value.text.lower()
    if word == "and":
        raise QueryError("`and` goes without saying: all terms must hold", value.start, value.end, "leave it out")
    if word == "or":
        hint = "one of several values stands after a comma: box:1,2 or technique:bend,slide"
        raise QueryError("there is no `or` between terms", value.start, value.end, hint)
    if word[0] in "-!" and len(word) > 1:
        raise QueryError(
            f"`{value.text[0]}` does not turn a term round", value.start, value.end, f"write not {value.text[1:]}"
        )
    if word[0] in "<>:=":
        raise QueryError(f"`{value.text}` has no field before it", value.start, value.end, "as in level<=3 or box:2")
