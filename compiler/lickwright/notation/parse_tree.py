"""Text → parse tree: a loop that drives Lark's tables with Lark's expressions, without Lark.

In: a text and `ParserTables`. Out: a `Tree` of tokens, the one that Lark's own parser gives. There is no second grammar here: terminals, rules
and states are those that Lark worked out from `grammar/lick.lark`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from lickwright.notation.brackets import BRACKETS, Brackets, Token
from lickwright.notation.parser_tables import END, Match, ParserTables


class Tree(NamedTuple):
    """A rule of the grammar and what it is made of. `type` is the rule's name, as a token's is its terminal's."""

    type: str
    children: list[Token | Tree]


class Unparsable(Exception):
    """The tables say nothing about what stands at an offset. The notation's grammar takes any text, so that this means damaged tables."""


class TreeParser:
    """Parses one text."""

    def __init__(self, text: str, tables: ParserTables) -> None:
        self._text = text
        self._tables = tables
        self._stack = [0]  # numbers of states
        self._values: list[
            Any
        ] = []  # what was read in each but the first: a token, a tree, or the children of an inlined rule

    def parse(self) -> Tree:
        """Return the tree of the whole text. Raises `Unparsable`."""
        text, values, brackets, new = self._text, self._values, Brackets(), tuple.__new__
        match, _, _, appends = self._tables.states[0]
        at, size = 0, len(text)
        while at < size:
            found = match(text, at)
            if found is None:
                break
            kind, group = found.lastgroup or "", found.lastindex or 0
            start, at = found.span(group)
            token = new(Token, (kind, text[start:at], start, at))
            if brackets.room > 0 and (kind not in BRACKETS or (brackets.is_outermost and kind == "BAR")):
                brackets.room -= 1
                if kind in appends:  # what most tokens do
                    values[-1].append(token)
                    match = appends[kind]
                else:
                    match, appends = self._feed(token)
            else:
                for mended in brackets.mend(token):
                    match, appends = self._feed(mended)
        for token in brackets.rest():
            self._feed(token)
        return self._finish(at)

    def _feed(self, token: Token) -> tuple[Match, dict[str, Match]]:
        """Put a token on the stack, after the reductions that it calls for. Return how the next is found, and which of them need not come here.

        The reductions that come after it whatever follows are done at once; the next token is found as if they were not, as Lark does it.
        """
        states, stack = self._tables.states, self._stack
        state = self._reduced(token[0])
        stack.append(state)
        self._values.append(token)
        match, _, action, _ = states[state]
        while action:
            self._reduce(action)
            action = states[stack[-1]].only
        return match, states[stack[-1]].appends

    def _reduced(self, kind: str) -> int:
        """Reduce by what stands before a symbol; return the state that the symbol leads to."""
        while True:
            action = self._tables.states[self._stack[-1]].actions.get(kind)
            if action is None:
                raise Unparsable(kind)
            if action >= 0:
                return action
            self._reduce(action)

    def _reduce(self, action: int) -> None:
        stack, values = self._stack, self._values
        origin, size, is_inlined, spliced = self._tables.rules[-1 - action]
        if size == 1:
            value = values[-1] if spliced else [values[-1]]
            values[-1] = value if is_inlined else Tree(origin, value)
            stack[-1] = self._tables.states[stack[-2]].actions[origin]
            return
        if size == 2 and is_inlined and spliced == (0,):  # a list grows
            values[-2].append(values.pop())
        else:
            first = len(values) - size
            children = _children(values[first:], spliced)
            values[first:] = [children if is_inlined else Tree(origin, children)]
        del stack[len(stack) - size :]
        stack.append(self._tables.states[stack[-1]].actions[origin])

    def _finish(self, at: int) -> Tree:
        """Reduce to the whole tree, if nothing but white space follows `at`."""
        rest = self._tables.ignored(self._text, at)
        if rest is None or rest.end() < len(self._text):
            raise Unparsable(at)
        states, stack = self._tables.states, self._stack
        while stack[-1] != self._tables.end:
            action = states[stack[-1]].actions.get(END, 0)
            if action >= 0:
                raise Unparsable(END)
            self._reduce(action)
        tree = self._values[-1]
        assert isinstance(tree, Tree)
        return tree


def _children(parts: list[Any], spliced: tuple[int, ...]) -> list[Token | Tree]:
    """Return the parts of a rule as one list, in which those that are lists themselves are spliced."""
    children: list[Token | Tree] = []
    for n, part in enumerate(parts):
        if n not in spliced:
            children.append(part)
        elif children:
            children += part
        else:
            children = part  # a list that nobody else holds
    return children
