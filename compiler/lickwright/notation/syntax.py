"""Text → tree: the grammar, the brackets, and `parse`.

In: a `Source`. Out: a `Book` and every mistake in it. The lexer is total (what is no run is a BAD run) and brackets are mended before the parser
sees them, so that no text stops it. `build.py` makes the nodes.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from functools import cache

from lark import Lark, Token

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source
from lickwright.notation import parser_tables
from lickwright.notation.build import Builder
from lickwright.notation.rules import RULES
from lickwright.notation.tree import Book

__all__ = ["RULES", "Brackets", "grammar_text", "parse_source", "parser", "run_pattern"]
MAX_NESTING = 16
MAX_TOKENS = 60_000  # a lick: more than its 10,000 events can need with a word and a bar line each
_CLOSER = {"TUPLET": "CLOSE_TUPLET", "WORD": "CLOSE_WORD"}


def grammar_folder() -> str:
    """Where the grammar is: inside the package in an installation, at the top of a checkout."""
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    for folder in (package, os.path.dirname(os.path.dirname(package))):
        if os.path.isfile(os.path.join(folder, "grammar", "lick.lark")):
            return os.path.join(folder, "grammar")
    raise FileNotFoundError("grammar/lick.lark is missing from this installation")


def grammar_text() -> str:
    """The grammar."""
    with open(os.path.join(grammar_folder(), "lick.lark"), encoding="utf-8") as file:
        return file.read()


class Brackets:
    """Between lexer and parser: closes what was left open and sets aside what cannot stand where it is.

    A closer made here has no text, by which `Builder` knows that the opener was never closed; a closer without an opener becomes
    a BAD run, and a BAD run without text stands where a lick passes its limit. After `[` was closed at a bar line, its late `]` is the
    same mistake and is passed over. So is a bracket past the nesting limit.
    """

    always_accept = ("BAR", "ENDING", "SAME", "LICK", "CLOSE_TUPLET", "CLOSE_WORD")

    def process(self, stream: Iterator[Token]) -> Iterator[Token]:
        """The tokens, with brackets that match."""
        open_: list[Token] = []
        forgiven = {"CLOSE_TUPLET": 0, "CLOSE_WORD": 0}
        in_lick = in_music = False
        room = MAX_TOKENS
        for token in stream:
            kind = token.type
            room = MAX_TOKENS if kind == "LICK" else room - 1
            if room < 0:  # the rest of the lick is passed over: nobody reads it, and memory is not endless
                if room == -1 and in_music:
                    yield Token.new_borrow_pos("BAD", "", token)
                continue
            if kind == "LICK":
                yield from self._close(open_, len(open_), token)
                in_lick, in_music = True, False
                forgiven = dict.fromkeys(forgiven, 0)
            elif not in_music and kind in self.always_accept:
                if in_lick and kind == "BAR":
                    in_music = True
                else:
                    token = Token.new_borrow_pos("JUNK", token.value, token)
            elif kind in _CLOSER:
                if len(open_) >= MAX_NESTING:
                    forgiven[_CLOSER[kind]] += 1
                    token = Token.new_borrow_pos("BAD", token.value, token)
                else:
                    open_.append(token)
            elif kind in ("BAR", "ENDING", "SAME"):
                if open_:
                    depth = self._outermost_tuplet(open_)
                    for bracket in open_[depth:]:
                        forgiven[_CLOSER[bracket.type]] += 1
                    yield from self._close(open_, len(open_) - depth, token)
            elif kind in forgiven:
                matching = next((n for n, bracket in enumerate(reversed(open_)) if _CLOSER[bracket.type] == kind), None)
                if matching is not None:
                    for bracket in open_[len(open_) - matching :]:
                        forgiven[_CLOSER[bracket.type]] += 1
                    yield from self._close(open_, matching, token)
                    open_.pop()
                elif forgiven[kind]:
                    forgiven[kind] -= 1
                    continue
                else:
                    token = Token.new_borrow_pos("BAD", token.value, token)
            yield token
        if open_:
            yield from self._close(open_, len(open_), open_[-1])

    @staticmethod
    def _outermost_tuplet(open_: list[Token]) -> int:
        return next((n for n, bracket in enumerate(open_) if bracket.type == "TUPLET"), len(open_))

    @staticmethod
    def _close(open_: list[Token], count: int, at: Token) -> Iterator[Token]:
        for _ in range(count):
            yield Token.new_borrow_pos(_CLOSER[open_.pop().type], "", at)


def built() -> Lark:
    """The parser worked out from the grammar."""
    return Lark(grammar_text(), parser="lalr", lexer="contextual", postlex=Brackets())


@cache
def parser() -> Lark:
    """The one parser; it keeps nothing between texts."""
    return parser_tables.load_parser(grammar_folder(), grammar_text(), Brackets()) or built()


@cache
def run_pattern() -> re.Pattern[str]:
    """What can be read as a run, from the grammar's own terminal."""
    return re.compile(parser().get_terminal("RUNS").pattern.to_regexp())


def parse_source(source: Source) -> tuple[Book, list[Diagnostic]]:
    """The tree of `source` and every mistake in it; never raises on any text."""
    tree = parser().parse(source.text)
    return Builder(source, run_pattern).book(tree)
