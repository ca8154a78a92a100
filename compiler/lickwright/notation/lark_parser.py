"""Lark's own parser of the grammar: makes the kept tables, and serves where they do not fit.

In: the grammar. Out: a `lark.Lark`, and the tree that it gives of a text as our own `Tree`. Importing Lark takes as long as a whole check:
only what needs it loads this module.
"""

from __future__ import annotations

from collections.abc import Iterator

import lark

from lickwright.notation.brackets import Brackets, Token
from lickwright.notation.parse_tree import Tree


class _BracketFilter:
    """Puts `Brackets` between Lark's lexer and its parser."""

    always_accept = Brackets.always_accept

    def process(self, stream: Iterator[lark.Token]) -> Iterator[lark.Token]:
        """Yield the tokens with brackets that match."""
        brackets = Brackets()
        openers: dict[int, lark.Token] = {}
        for token in stream:
            ours = _token(token)
            if ours.type in ("TUPLET", "WORD"):
                openers[ours.start] = token
            for mended in brackets.mend(ours):
                yield token if mended is ours else lark.Token.new_borrow_pos(mended.type, mended.text, token)
        for closer in brackets.rest():
            yield lark.Token.new_borrow_pos(closer.type, closer.text, openers[closer.start])


def make_parser(grammar: str) -> lark.Lark:
    """Return Lark's parser of the grammar, worked out anew: some 40 ms."""
    return lark.Lark(grammar, parser="lalr", lexer="contextual", postlex=_BracketFilter())


def lark_tree(parser: lark.Lark, text: str) -> Tree:
    """Return Lark's tree of a text as one of ours."""
    return _converted(parser.parse(text))


def _converted(tree: lark.Tree[lark.Token]) -> Tree:
    children = [_converted(child) if isinstance(child, lark.Tree) else _token(child) for child in tree.children]
    return Tree(str(tree.data), children)


def _token(token: lark.Token) -> Token:
    start = token.start_pos or 0
    return Token(token.type, str(token), start, (token.end_pos or 0) if token else start)
