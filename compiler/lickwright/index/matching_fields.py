"""Why a lick answers a question: the fields that have its bare words.

In: the terms of a question and a lick's values. Out: names of fields. Letters are folded as the full-text search folds them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from lickwright.index.query_fields import searched_columns
from lickwright.index.query_parser import QueryTerm, Value

_WORDS = re.compile(r"[^\W_]+")


def fields_with_words(terms: Sequence[QueryTerm], facts: Mapping[str, Any]) -> list[str]:
    """Return the names of the fields that hold a bare word of the question, in the order in which they are searched."""
    words = [term.values[0] for term in terms if not term.field and not term.negated]
    names = dict.fromkeys(name for word in words for name in searched_columns(word.text))
    return [
        name
        for name in names
        if any(name in searched_columns(word.text) and _holds(facts[name], word) for word in words)
    ]


def _holds(text: str, word: Value) -> bool:
    """True if the words stand in a row in the text; without quotes the last may go on."""
    wanted, own = _folded(word.text), _folded(text)
    size = len(wanted)
    for at in range(len(own) - size + 1):
        row = own[at : at + size]
        if row[:-1] == wanted[:-1] and (row[-1] == wanted[-1] or (not word.quoted and row[-1].startswith(wanted[-1]))):
            return True
    return False


def _folded(text: str) -> list[str]:
    if text.isascii():
        return _WORDS.findall(text.casefold())
    from unicodedata import combining, normalize  # only needed beyond plain ASCII

    plain = "".join(char for char in normalize("NFKD", text.casefold()) if not combining(char))
    return _WORDS.findall(plain)
