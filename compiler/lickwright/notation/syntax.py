"""Text → tree: `parse_source`.

In: a `Source`. Out: a `Book` and every mistake in it. The lexer is total (what is no run is a BAD run) and brackets are mended before the parser
sees them, so that no text stops it. `parse_tree.py` is the parser, `build.py` makes the nodes.
"""

from __future__ import annotations

import os
import re
from functools import cache
from typing import TYPE_CHECKING

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source
from lickwright.notation.build import Builder
from lickwright.notation.parse_tree import Tree, TreeParser, Unparsable
from lickwright.notation.parser_tables import ParserTables, load_tables
from lickwright.notation.rules import RULES
from lickwright.notation.tree import Book

if TYPE_CHECKING:
    from lark import Lark

__all__ = ["RULES", "grammar_text", "lark_parser", "parse_source", "parse_text", "run_pattern"]


@cache
def grammar_folder() -> str:
    """Return where the grammar is: inside the package in an installation, at the top of a checkout. Raises `FileNotFoundError`."""
    package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    for folder in (package, os.path.dirname(os.path.dirname(package))):
        if os.path.isfile(os.path.join(folder, "grammar", "lick.lark")):
            return os.path.join(folder, "grammar")
    raise FileNotFoundError("grammar/lick.lark is missing from this installation")


@cache
def grammar_text() -> str:
    """Return the grammar. Raises `OSError` where it cannot be read."""
    with open(os.path.join(grammar_folder(), "lick.lark"), encoding="utf-8") as file:
        return file.read()


@cache
def lark_parser() -> Lark:
    """Return Lark's own parser of the grammar."""
    from lickwright.notation.lark_parser import make_parser  # imports Lark

    return make_parser(grammar_text())


@cache
def kept_tables() -> ParserTables | None:
    """Return the kept tables of the parser; None where they do not fit the grammar."""
    return load_tables(grammar_folder(), grammar_text())


def parse_text(text: str) -> Tree:
    """Return the parse tree of a text: by the kept tables, or by Lark itself where they do not fit."""
    known = kept_tables()
    if known is not None:
        try:
            return TreeParser(text, known).parse()
        except Unparsable:
            pass  # the tables are damaged
    from lickwright.notation.lark_parser import lark_tree

    return lark_tree(lark_parser(), text)


@cache
def run_pattern() -> re.Pattern[str]:
    """Return what can be read as a run, from the grammar's own terminal."""
    known = kept_tables()
    return re.compile(known.terminals["RUNS"] if known else lark_parser().get_terminal("RUNS").pattern.to_regexp())


def parse_source(source: Source) -> tuple[Book, list[Diagnostic]]:
    """Return the tree of `source` and every mistake in it. Raises nothing on any text."""
    return Builder(source, run_pattern).book(parse_text(source.text))
