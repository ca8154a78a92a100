"""Mend brackets between lexer and parser, so that no text stops the parser.

In: the tokens of one text, one after another. Out: for each, the tokens that the parser is to see in its place. Reports nothing: what was mended
can be told from the tokens, and the builder reports it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar, NamedTuple

MAX_NESTING = 16
MAX_TOKENS = 60_000  # a lick: more than its 10,000 events can need with a word and a bar line each
_CLOSER = {"TUPLET": "CLOSE_TUPLET", "WORD": "CLOSE_WORD"}
_CLOSERS = frozenset(_CLOSER.values())
BRACKETS = frozenset(("LICK", "BAR", "ENDING", "SAME", *_CLOSER, *_CLOSERS))  # kinds of token that `mend` must see


class Token(NamedTuple):
    """A stretch of the text that a terminal of the grammar matches. Offsets are in code points; one that was put in has neither text nor length."""

    type: str
    text: str
    start: int
    end: int


class Brackets:
    """Closes what was left open in one text, and sets aside what cannot stand where it is.

    A closer made here has no text, which tells that its opener was never closed; a closer without an opener becomes a BAD run, and a BAD run
    without text stands where a lick passes its limit. After `[` was closed at a bar line, its late `]` is the same mistake and is passed over. So
    is a bracket past the nesting limit.
    """

    always_accept: ClassVar = ("BAR", "ENDING", "SAME", "LICK", "CLOSE_TUPLET", "CLOSE_WORD")

    def __init__(self) -> None:
        self.room = MAX_TOKENS  # how many more tokens the lick may have; below 0 they are passed over
        self.is_outermost = False  # in music and within no bracket: a bar line stands as it is
        self._open: list[Token] = []
        self._forgiven = dict.fromkeys(_CLOSERS, 0)
        self._in_lick = self._in_music = False

    def mend(self, token: Token) -> Iterable[Token]:
        """Return what stands for `token`: nothing, itself, or closers before it."""
        kind = token.type
        self.room = MAX_TOKENS if kind == "LICK" else self.room - 1
        if self.room < 0:  # the rest of the lick is passed over: nobody reads it, and memory is not endless
            return (_replaced(token, "BAD", ""),) if self.room == -1 and self._in_music else ()
        mended = self._mended(token, kind)
        self.is_outermost = self._in_music and not self._open
        return mended

    def rest(self) -> list[Token]:
        """Return the closers of what is still open at the end of the text."""
        return self._close(0, self._open[-1]) if self._open else []

    def _mended(self, token: Token, kind: str) -> Iterable[Token]:
        if kind == "LICK":
            self._in_lick, self._in_music = True, False
            self._forgiven = dict.fromkeys(_CLOSERS, 0)
            return (*self._close(0, token), token)
        if not self._in_music and kind in self.always_accept:
            if not self._in_lick or kind != "BAR":
                return (_replaced(token, "JUNK", token.text),)
            self._in_music = True
            return (token,)
        if kind in _CLOSER:
            return (self._opened(token),)
        if kind in ("BAR", "ENDING", "SAME"):
            return (*self._closed_at_bar(token), token)
        return self._closed(token) if kind in _CLOSERS else (token,)

    def _opened(self, token: Token) -> Token:
        if len(self._open) >= MAX_NESTING:
            self._forgiven[_CLOSER[token.type]] += 1
            return _replaced(token, "BAD", token.text)
        self._open.append(token)
        return token

    def _closed_at_bar(self, token: Token) -> list[Token]:
        """Close the outermost tuplet and what is open in it: only words cross bar lines."""
        depth = next((n for n, bracket in enumerate(self._open) if bracket.type == "TUPLET"), len(self._open))
        self._forgive(depth)
        return self._close(depth, token)

    def _closed(self, token: Token) -> Iterable[Token]:
        """Close the innermost bracket of the kind, and what was left open in it."""
        kind, innermost = token.type, self._open[-1] if self._open else None
        if innermost and _CLOSER[innermost.type] == kind:
            self._open.pop()
            return (token,)
        depth = next((n for n in reversed(range(len(self._open))) if _CLOSER[self._open[n].type] == kind), None)
        if depth is not None:
            self._forgive(depth + 1)
            closers = self._close(depth + 1, token)
            self._open.pop()
            return (*closers, token)
        if self._forgiven[kind]:
            self._forgiven[kind] -= 1
            return ()
        return (_replaced(token, "BAD", token.text),)

    def _forgive(self, depth: int) -> None:
        for bracket in self._open[depth:]:
            self._forgiven[_CLOSER[bracket.type]] += 1

    def _close(self, depth: int, at: Token) -> list[Token]:
        """Return the closers of all but the outermost `depth` brackets, innermost first; they stand where `at` does."""
        closers = [_replaced(at, _CLOSER[bracket.type], "") for bracket in reversed(self._open[depth:])]
        del self._open[depth:]
        return closers


def _replaced(token: Token, kind: str, text: str) -> Token:
    return Token(kind, text, token.start, token.end if text else token.start)
