"""Bars, brackets and words → nodes, and the mistakes in them that a grammar cannot say.

In: Lark's tree of one lick's music. Out: its items. Notes are `build_notes.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lark import Token, Tree

from lickwright.core.diagnostics import Fix, nearest_name, replacement_fix
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.music.rhythm import parse_value, usual_time
from lickwright.notation import habits, rules
from lickwright.notation.build_bad import BadRuns
from lickwright.notation.build_notes import ReportFinding, read_runs
from lickwright.notation.build_sayings import Sayings
from lickwright.notation.fault import short
from lickwright.notation.techniques import EVENT_WORDS, WORDS
from lickwright.notation.tree import BarLine, Comment, Item, SameBar, Step, Tuplet, Unknown, Worded

_NUMBERED = re.compile(r"([12]):(?=[ \t])")
MAX_EVENTS = 10_000  # a lick
MAX_TUPLET = 64
MAX_TUPLET_DEPTH = 2
MAX_REPEATS = 10_000

Child = Token | Tree[Token]


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
        self._sayings = Sayings(text, report, self._runs_bad, crowded)
        self._depth = 0  # how deep in tuplets
        self._crowded = crowded  # whether no finding will be kept any more
        self._events = 0  # of the lick, so far
        self._prev_end: int | None = None  # where the item before ended; None before the first of a lick
        self._after_repeat = False
        self._items: dict[str, Callable[[Token], Item | None]] = {
            "BAD": self._bad, "STEP": self._step, "SAY": self._say, "SAME": self._same,
            "ENDING": self._ending, "COMMENT": self.comment, "LATE": self._late,
        }  # fmt: skip

    def music(self, children: list[Child]) -> tuple[Item, ...]:
        """The items of one lick."""
        self._prev_end = None
        self._events = 0
        self._runs_bad.lick()
        return self._list(children)

    def comment(self, token: Token) -> Comment:
        """A remark, and whether it has its line to itself."""
        start = start_of(token)
        before = self.text[self.text.rfind("\n", 0, start) + 1 : start]
        return Comment(str(token)[1:].strip(), not before.strip(), span=span_of(token))

    def _list(self, children: list[Child]) -> tuple[Item, ...]:
        """Items in order; bar lines that only a line break parts become one."""
        out: list[Item] = []
        solid: int | None = None  # which is the last that is no remark
        for child in children:
            span, before = span_of(child), len(out)
            last = out[-1] if out else None
            if isinstance(last, BarLine) and not last.newline and self._new_line(span.start):
                out[-1] = replace(last, newline=True)
            kind = child.data if isinstance(child, Tree) else child.type
            if isinstance(child, Tree):
                out.append(self._tree(child))
            elif kind == "BAR":
                self._bar(out, child, span, solid)
            elif kind == "RUNS":
                self._runs(out, child, span)
            elif (item := self._items[kind](child)) is not None:
                out.append(item)
            elif kind == "BAD" and last is not None and self._runs_bad.apart(span, last):
                out[-1] = Unknown(span=Span(last.span.start, span.end))
            if kind != "BAR":
                self._after_repeat = False
            if len(out) > before and not isinstance(out[-1], Comment):
                solid = len(out) - 1
            self._prev_end = span.end
        return tuple(out)

    def _new_line(self, start: int) -> bool:
        """Whether the writer began a new line between the item before and `start`."""
        return self._prev_end is not None and self.text.find("\n", self._prev_end, start) >= 0

    def _runs(self, out: list[Item], token: Token, span: Span) -> None:
        """Runs of notes, while there is room for their events."""
        if self._events > MAX_EVENTS:
            return
        events = read_runs(token, span.start, self.report)
        if (ending := _NUMBERED.match(token)) and self._prev_end == span.start and self.text[span.start - 1] == "|":
            number = "1st" if ending[1] == "1" else "2nd"
            where = Span(span.start, span.start + ending.end())
            self.report(rules.ENDING, where, f"`{ending[0]}` is not an ending", f"write `|{number}`")
            events[0] = Unknown(0, span=where)
        self._events += len(events)
        if self._events > MAX_EVENTS:
            self._too_many(events[0].span)
            events = [Unknown(span=span)]
        out.extend(events)

    def _too_many(self, span: Span) -> None:
        self._events = MAX_EVENTS + 1
        hint = "make it several licks, each with its own `lick` line"
        self.report(
            rules.LIMIT,
            Span(span.start, span.start + 1),
            f"the lick goes on for more than {MAX_EVENTS:,} events from here",
            hint,
        )

    def _tree(self, tree: Tree[Token]) -> Item:
        opener, *inside, closer = tree.children
        assert isinstance(opener, Token) and isinstance(closer, Token)
        self._prev_end = span_of(opener).end
        tuplet = tree.data == "tuplet"
        if not closer.value:
            hint = f"close it with `{']' if tuplet else ')'}`"
            self.report(
                rules.OPEN,
                span_of(opener),
                f"`{opener.strip()}` is never closed: it is still open at {self._border(closer, opener)}",
                hint,
            )
            if not tuplet and opener[1:].rstrip(" \t:") in EVENT_WORDS:
                self._runs_bad.told = _first_word(self.text, span_of(opener).end)
        return (
            self._tuplet(opener, inside, span_of(closer).end, bool(closer.value))
            if tuplet
            else self._word(opener, inside, span_of(closer).end, bool(closer.value))
        )

    def _tuplet(self, opener: Token, inside: list[Child], end: int, closed: bool) -> Item:
        span, ratio = span_of(opener), self._ratio(opener)
        count, normal = ratio or (1, 1)
        self._depth += 1
        if self._depth > MAX_TUPLET_DEPTH:
            self.report(rules.TUPLET, span, "a tuplet in a tuplet in a tuplet", "tuplets nest once")
        items = self._list(inside)
        self._depth -= 1
        if ratio is None or not closed:
            items = (*items, Unknown(0, span=span))
        elif count == normal:
            message = f"`{opener}` plays its steps as they are: {count} in the time of {count}"
            self.report(rules.SAME_TIME, span, message, "the bracket changes nothing: a triplet is `3[…]`")
        return Tuplet(count, normal, items, span=Span(span.start, end))

    def _border(self, closer: Token, opener: Token) -> str:
        """What a bracket that was never closed is still open at."""
        at = start_of(closer)
        char = self.text[at : at + 1] if at > start_of(opener) else ""
        return {"|": "a bar line", ":": "a bar line", ")": "the `)` after it", "%": "a bar's repeat"}.get(
            char, "the lick's end"
        )

    def _ratio(self, opener: Token) -> tuple[int, int] | None:
        """How many steps in the time of how many; None where the bracket does not say it, which is reported."""
        span = span_of(opener)
        if span.start < self._runs_bad.told:
            return None  # a `t[`, which has been reported
        if opener == "[":
            if ending := re.compile(r"(?<=\|)\[([12])\.?\]").match(self.text, span.start):
                number = "1st" if ending[1] == "1" else "2nd"
                self._runs_bad.told = ending.end()
                self.report(rules.ENDING, Span(*ending.span()), f"`{ending[0]}` is not an ending", f"write `|{number}`")
                return None
            self._runs_bad.told = _first_word(self.text, span.end)
            before = re.search(r"(\d+(?::\d+)?)[ \t]+$", self.text[max(0, span.start - 12) : span.start])
            hint = f"write `{before[1]}[`, touching" if before else "three in the time of two is `3[…]`"
            fix = replacement_fix(span.start - len(before[0]), span.end, f"{before[1]}[") if before else None
            self.report(
                rules.TUPLET, span, "a `[` without its number: how many steps in the time of how many?", hint, fix
            )
            return None
        first, _, second = opener[:-1].partition(":")
        if (
            len(first) > 4
            or len(second) > 4
            or not 2 <= int(first) <= MAX_TUPLET
            or (second and not 1 <= int(second) <= MAX_TUPLET)
        ):
            self.report(
                rules.TUPLET,
                span,
                f"`{short(opener)}` is not a tuplet",
                f"the numbers go from 2 to {MAX_TUPLET}: `3[…]`, `5:4[…]`",
            )
            return None
        count = int(first)
        return count, int(second) if second else usual_time(count)

    def _word(self, opener: Token, inside: list[Child], end: int, closed: bool) -> Item:
        word = opener[1:].strip().removesuffix(":").strip()
        if (word not in WORDS and word not in EVENT_WORDS) or opener != f"({word}:":
            self._wrong_word(opener, span_of(opener), word)
        if not closed and word in EVENT_WORDS:
            word = ""  # nobody knows what belongs to it
        return Worded(word, self._list(inside), span=Span(start_of(opener), end))

    def _wrong_word(self, opener: Token, span: Span, word: str) -> None:
        """A parenthesis without a word, or with one that the notation does not have or that lacks its colon."""
        known = (*WORDS, *EVENT_WORDS)
        if span.start < self._runs_bad.told:
            return  # `3(…`, `tr(…`, which have been reported
        if word in known:
            colon = replacement_fix(*span, f"({word}:")
            self.report(rules.WORD, span, f"`{word}` needs its colon", f"write `({word}: …)`", colon)
            return
        fix: Fix | None = None
        meant = habits.bracketed(self.text, span.start)
        at = self.text.find(word, span.start) if word else span.start
        where = Span(at, at + max(1, len(word)))
        shown = f"there is no word `{short(word)}`"
        if meant is not None:
            hint, sure, end = meant
            said = self.text[span.start + 1 : end].strip().rstrip(":").rstrip()
            where = Span(span.start + 1, span.start + 1 + len(said))
            lacks = habits.plain(said) in known and self.text[end - 1] != ":"
            shown = f"`{short(said)}` needs its colon" if lacks else f"there is no word `{short(said)}`"
            fix = replacement_fix(span.start, end, f"({sure}:") if sure else None
            self._runs_bad.told = end
        elif word:
            near = None if self._crowded() else nearest_name(word, known)
            hint = f"did you mean `({near}: …)`?" if near else f"the words are {', '.join(known)}"
            fix = replacement_fix(*where, word.lower()) if word.lower() in known else None
        else:
            shown = "a `(` without its word"
            hint = _parenthesised(self.text, span)
            self._runs_bad.told = _first_word(self.text, span.end)
        self.report(rules.WORD, where, shown, hint, fix)

    def _bar(self, out: list[Item], token: Token, span: Span, at: int | None) -> None:
        """Adds a bar line, or makes it one with that at `at` if only a line break or remarks part them."""
        sign = str(token)
        times = re.search(r"x(\d+)", sign) if "x" in sign else None
        ends = sign.startswith(":")
        starts = sign.endswith(":") and (sign != ":|")
        count = 2 if ends else 0
        if times:
            count = int(times[1]) if len(times[1]) < 6 else MAX_REPEATS + 1
            if not 2 <= count <= MAX_REPEATS:
                where = Span(span.start + times.start(), span.start + times.end())
                self.report(
                    rules.REPEAT,
                    where,
                    f"`{short(times[0])}` is not a number of times",
                    "`:|x3` plays it three times in all; from 2 to 10,000",
                )
                count = 2
        new_line, double = self._new_line(span.start), "||" in sign
        last = out[at] if at is not None else None
        if (
            at is not None
            and isinstance(last, BarLine)
            and (new_line or (last.repeat_end and starts))
            and not last.ending
        ):
            out[at] = replace(last, double=last.double or double, repeat_end=last.repeat_end or count, repeat_start=last.repeat_start or starts,
                              newline=last.newline or "\n" in self.text[last.span.end : span.start])  # fmt: skip
        else:
            beside = isinstance(last, BarLine) and not (last.ending or last.repeat_end or starts)
            out.append(BarLine(double, count, starts, 0, new_line, beside, span=span))
        self._after_repeat = bool(count)

    def _ending(self, token: Token) -> Item | None:
        span = span_of(token)
        if token not in ("1st", "2nd"):
            self.report(
                rules.ENDING,
                span,
                f"there is no `{short(token)}` ending",
                "endings are `1st` and `2nd`; the last time through takes the second",
            )
            return Unknown(0, span=span)
        return BarLine(ending=int(token[0]), span=span)

    def _same(self, token: Token) -> Item:
        return SameBar(span=span_of(token))

    def _step(self, token: Token) -> Item | None:
        try:
            return Step(parse_value(str(token)), span=span_of(token))
        except ValueError as e:
            self.report(
                rules.VALUE, span_of(token), str(e), "steps are 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, dotted `1/8.`"
            )
            return Unknown(0, span=span_of(token))

    def _say(self, token: Token) -> Item | None:
        return self._sayings.item(str(token), span_of(token))

    def _late(self, token: Token) -> None:
        span = span_of(token)
        name = str(token).split()[0]
        hint = _ALONG_THE_WAY.get(name.lower().rstrip(":="), "a comment begins with `#`")
        hint = f"fields stand between the `lick` line and the first bar line; {hint}"
        self.report(
            rules.LATE,
            Span(span.start, span.start + len(name)),
            f"`{short(name)}` comes after the music has begun",
            hint,
        )

    def _bad(self, token: Token) -> Item | None:
        span, text = span_of(token), str(token)
        if not text:
            self._too_many(span)
            return Unknown(0, span=span)
        after_bar = self._prev_end == span.start and self.text[span.start - 1] == "|"
        return self._runs_bad.item(span, text, self._prev_end, self._after_repeat, after_bar)


# What may change below the first bar line, and how that is written: for fields that come too late.
_ALONG_THE_WAY = {
    "step": "to change the step for a part of a bar, write `1/16` before the notes",
    "tempo": "to change the tempo along the way, write `@tempo=60`",
}


def _first_word(text: str, at: int) -> int:
    """Where what stands first inside a bracket ends, if it is no note: it belongs to the bracket's mistake."""
    match = re.compile(r"[ \t]*[^ \t\n|()\[\]]+").match(text, at)
    return match.end() if match else at


def _parenthesised(text: str, span: Span) -> str:
    """What a parenthesis without a word may be meant as, by what stands before and inside."""
    note = re.search(r"([EADGBe])(\d{1,2})\Z", text[max(0, span.start - 4) : span.start])
    number = re.compile(r"\((\d{1,2})\)").match(text, span.start)
    if note and number:
        finger = f"a finger is `{note[0]}'{number[1]}`, " if number[1] in "1234" else ""
        return f"{finger}a bend to the pitch of fret {number[1]} is `{note[0]}^{number[1]}`"
    if re.compile(r"\(\d[ \t]").match(text, span.start):
        return "a triplet is `3[…]`"
    times = re.compile(r"\([x×]?(\d{1,2})[x×]?\)").match(text, span.start)
    if times and not number:
        return f"to play it {times[1]} times in all, end with `:|x{times[1]}`"
    return "a word and a colon say how: `(pm: E0 E0)`; a ghost note is `G7?`, notes together are `e5&B8`"


def start_of(token: Token) -> int:
    """Where a token begins."""
    return token.start_pos or 0


def span_of(child: Child) -> Span:
    """Where a token or tree stands; a closer that was never written has no length."""
    if isinstance(child, Tree):
        return Span(span_of(child.children[0]).start, span_of(child.children[-1]).end)
    start = child.start_pos or 0
    return Span(start, (child.end_pos or 0) if child.value else start)
