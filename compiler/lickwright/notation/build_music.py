"""Bars, brackets and words → nodes, and the mistakes in them that a grammar cannot say.

In: the parse tree of one lick's music. Out: its items. Notes are `build_notes.py`'s, the openers of brackets `build_brackets.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.music.rhythm import parse_value
from lickwright.notation import rules
from lickwright.notation.brackets import Token
from lickwright.notation.build_bad import BadRun, BadRuns
from lickwright.notation.build_brackets import BracketBuilder
from lickwright.notation.build_directions import DirectionBuilder
from lickwright.notation.build_notes import ReportFinding, read_runs
from lickwright.notation.fault import shorten
from lickwright.notation.parse_tree import Tree
from lickwright.notation.tree import BarLine, Comment, Item, SameBar, Step, Tuplet, Unknown, Worded

MAX_EVENTS = 10_000  # a lick
MAX_TUPLET_DEPTH = 2
MAX_REPEATS = 10_000
_NUMBERED = re.compile(r"([12]):(?=[ \t])")
_TIMES = re.compile(r"x(\d+)")

Child = Token | Tree


class MusicBuilder:
    """Builds the items of one text's licks, one lick after another."""

    def __init__(
        self,
        text: str,
        report: ReportFinding,
        run_pattern: Callable[[], re.Pattern[str]],
        unseen: Callable[[Span], bool],
        crowded: Callable[[], bool] = lambda: False,
    ) -> None:
        self.text = text
        self.report = report
        self._runs_bad = BadRuns(text, report, run_pattern, unseen, crowded)
        self._directions = DirectionBuilder(text, report, self._runs_bad, crowded)
        self._brackets = BracketBuilder(text, report, self._runs_bad, crowded)
        self._depth = 0  # how deep in tuplets
        self._events = 0  # of the lick, so far
        self._prev_end: int | None = None  # where the item before ended; None before the first of a lick
        self._after_repeat = False
        self._items: dict[str, Callable[[Token], Item | None]] = {
            "BAD": self._bad, "STEP": self._step, "SAY": self._say, "SAME": self._same,
            "ENDING": self._ending, "COMMENT": self.comment, "LATE": self._late,
        }  # fmt: skip

    def music(self, children: list[Child]) -> tuple[Item, ...]:
        """Return the items of one lick."""
        self._prev_end = None
        self._events = 0
        self._runs_bad.begin_lick()
        return self._list(children)

    def comment(self, token: Token) -> Comment:
        """Return a remark, and whether it has its line to itself."""
        before = self.text[self.text.rfind("\n", 0, token.start) + 1 : token.start]
        return Comment(token.text[1:].strip(), not before.strip(), span=span_of(token))

    def _list(self, children: list[Child]) -> tuple[Item, ...]:
        """Return items in order; bar lines that only a line break parts become one."""
        out: list[Item] = []
        last: Item | None = None
        solid = -1  # which is the last that is no remark
        find, before_it = self.text.find, self._prev_end
        for child in children:
            if isinstance(child, Token):
                kind, _, start, end = child
            else:
                kind, (start, end) = child.type, span_of(child)
            # The writer began a new line between the item before and this one.
            new_line = before_it is not None and start != before_it and find("\n", before_it, start) >= 0
            if new_line and isinstance(last, BarLine) and not last.newline:
                out[-1] = replace(last, newline=True)
            count = len(out)
            if kind == "BAR":
                self._bar(out, child, solid, new_line)
            else:
                self._add(out, child, last)
                self._after_repeat = False
            if out:
                last = out[-1]
                if len(out) > count and not isinstance(last, Comment):
                    solid = len(out) - 1
            self._prev_end = before_it = end
        return tuple(out)

    def _add(self, out: list[Item], child: Child, last: Item | None) -> None:
        """Add what is no bar line; a fret that stands apart from its string makes the string unknown."""
        if isinstance(child, Tree):
            out.append(self._bracketed(child))
        elif child[0] == "RUNS":
            self._runs(out, child)
        elif (item := self._items[child.type](child)) is not None:
            out.append(item)
        elif child.type == "BAD" and last is not None and self._runs_bad.is_fret_apart(span_of(child), last):
            out[-1] = Unknown(span=Span(last.span.start, child.end))

    def _runs(self, out: list[Item], token: Token) -> None:
        """Add the events of runs of notes, while there is room for them."""
        if self._events > MAX_EVENTS:
            return
        _, text, start, end = token
        events = read_runs(text, start, self.report)
        if start == self._prev_end and (ending := _NUMBERED.match(text)) and self.text[start - 1] == "|":
            number = "1st" if ending[1] == "1" else "2nd"
            where = Span(start, start + ending.end())
            self.report(rules.ENDING, where, f"`{ending[0]}` is not an ending", f"write `|{number}`")
            events[0] = Unknown(0, span=where)
        self._events += len(events)
        if self._events > MAX_EVENTS:
            self._too_many(events[0].span)
            events = [Unknown(span=Span(start, end))]
        out += events

    def _too_many(self, span: Span) -> None:
        self._events = MAX_EVENTS + 1
        hint = "make it several licks, each with its own `lick` line"
        self.report(
            rules.LIMIT,
            Span(span.start, span.start + 1),
            f"the lick goes on for more than {MAX_EVENTS:,} events from here",
            hint,
        )

    def _bracketed(self, tree: Tree) -> Item:
        """Return what stands in brackets, a tuplet or a word."""
        children, span = tree.children, span_of(tree)
        opener, closer = children[0], children[-1]
        assert isinstance(opener, Token) and isinstance(closer, Token)
        self._prev_end = opener.end
        closed = bool(closer.text)
        if not closed:
            self._brackets.report_open(opener, closer)
        if opener.type == "TUPLET":
            return self._tuplet(opener, children[1:-1], span, closed)
        word = self._brackets.word(opener, closed)
        return Worded(word, self._list(children[1:-1]), span=span)

    def _tuplet(self, opener: Token, inside: list[Child], span: Span, closed: bool) -> Item:
        where, ratio = span_of(opener), self._brackets.ratio(opener)
        count, normal = ratio or (1, 1)
        self._depth += 1
        if self._depth > MAX_TUPLET_DEPTH:
            self.report(rules.TUPLET, where, "a tuplet in a tuplet in a tuplet", "tuplets nest once")
        items = self._list(inside)
        self._depth -= 1
        if ratio is None or not closed:
            items = (*items, Unknown(0, span=where))
        elif count == normal:
            message = f"`{opener.text}` plays its steps as they are: {count} in the time of {count}"
            self.report(rules.SAME_TIME, where, message, "the bracket changes nothing: a triplet is `3[…]`")
        return Tuplet(count, normal, items, span=span)

    def _bar(self, out: list[Item], token: Child, at: int, new_line: bool) -> None:
        """Add a bar line, or make it one with that at `at` (-1: none) if only a line break or remarks part them."""
        assert isinstance(token, Token)
        double, times, starts, wrong = _read_bar(token.text)
        if wrong:
            self._report_times(token, *wrong)
        self._after_repeat = times > 0
        last = out[at] if at >= 0 else None
        empty = False
        if isinstance(last, BarLine):
            if (new_line or (last.repeat_end and starts)) and not last.ending:
                out[at] = self._merged(last, token)
                return
            empty = not (last.ending or last.repeat_end or starts)
        out.append(BarLine(double, times, starts, 0, new_line, empty, span=span_of(token)))

    def _report_times(self, token: Token, first: int, end: int) -> None:
        self.report(
            rules.REPEAT,
            Span(token.start + first, token.start + end),
            f"`{shorten(token.text[first:end])}` is not a number of times",
            "`:|x3` plays it three times in all; from 2 to 10,000",
        )

    def _merged(self, last: BarLine, token: Token) -> BarLine:
        """Return one bar line that says what the last and the next say."""
        double, times, starts, _ = _read_bar(token.text)
        return replace(
            last,
            double=last.double or double,
            repeat_end=last.repeat_end or times,
            repeat_start=last.repeat_start or starts,
            newline=last.newline or "\n" in self.text[last.span.end : token.start],
        )

    def _ending(self, token: Token) -> Item | None:
        text, span = token.text, span_of(token)
        if text not in ("1st", "2nd"):
            self.report(
                rules.ENDING,
                span,
                f"there is no `{shorten(text)}` ending",
                "endings are `1st` and `2nd`; the last time through takes the second",
            )
            return Unknown(0, span=span)
        return BarLine(ending=int(text[0]), span=span)

    def _same(self, token: Token) -> Item:
        return SameBar(span=span_of(token))

    def _step(self, token: Token) -> Item | None:
        try:
            return Step(parse_value(token.text), span=span_of(token))
        except ValueError as e:
            self.report(
                rules.VALUE, span_of(token), str(e), "steps are 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, dotted `1/8.`"
            )
            return Unknown(0, span=span_of(token))

    def _say(self, token: Token) -> Item | None:
        return self._directions.item(token.text, span_of(token))

    def _late(self, token: Token) -> None:
        span = span_of(token)
        name = token.text.split()[0]
        hint = _ALONG_THE_WAY.get(name.lower().rstrip(":="), "a comment begins with `#`")
        hint = f"fields stand between the `lick` line and the first bar line; {hint}"
        self.report(
            rules.LATE,
            Span(span.start, span.start + len(name)),
            f"`{shorten(name)}` comes after the music has begun",
            hint,
        )

    def _bad(self, token: Token) -> Item | None:
        span, text = span_of(token), token.text
        if not text:
            self._too_many(span)
            return Unknown(0, span=span)
        after_bar = self._prev_end == span.start and self.text[span.start - 1] == "|"
        return self._runs_bad.item(BadRun(span, text, self._prev_end, self._after_repeat, after_bar))


class _BarSign(NamedTuple):
    """What a bar line says."""

    double: bool
    times: int  # how many times in all, where a repeat ends; else 0
    starts: bool  # a repeat begins
    wrong: tuple[int, int] | None  # where in the sign a number of times stands that is none


@lru_cache(maxsize=64)
def _read_bar(sign: str) -> _BarSign:
    ends = sign.startswith(":")
    starts = sign.endswith(":") and sign != ":|"
    number = _TIMES.search(sign)
    if number is None:
        return _BarSign("||" in sign, 2 if ends else 0, starts, None)
    times = int(number[1]) if len(number[1]) < 6 else MAX_REPEATS + 1
    if 2 <= times <= MAX_REPEATS:
        return _BarSign("||" in sign, times, starts, None)
    return _BarSign("||" in sign, 2, starts, number.span())


# What may change below the first bar line, and how that is written: for fields that come too late.
_ALONG_THE_WAY = {
    "step": "to change the step for a part of a bar, write `1/16` before the notes",
    "tempo": "to change the tempo along the way, write `@tempo=60`",
}


def span_of(child: Child) -> Span:
    """Return where a token or tree stands. A tree begins and ends with a token."""
    if isinstance(child, Token):
        return tuple.__new__(Span, child[2:])
    first, last = child.children[0], child.children[-1]
    assert isinstance(first, Token) and isinstance(last, Token)
    return tuple.__new__(Span, (first.start, last.end))
